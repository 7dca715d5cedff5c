"""A disk that fills while people save: nothing that was acknowledged is lost."""

import contextlib
import http.client
import json
import os
import shutil
import signal
import subprocess
import sys
import uuid
from pathlib import Path

import pytest
from django.db import connection

from qa.models import Reading
from shop.ledger.verify import verify
from shop.models import Entry
from shop.serving import other_databases
from tests.around import Site
from tests.browser.at_the_tablet import a_check
from tests.conftest import make_people
from tests.faults.test_outbox_faults import sign_in_by_hand
from tests.faults.test_several_servers import reading_of

DISK = "200m"
STATIONS = 60


class OnSmallDisk(Site):
    """A server whose home is a disk of its own, which nobody but it and we see."""

    def run(self, command, environment):
        mounted = (
            f'mount -t tmpfs -o size={DISK},mode=700 none "$PWD"; cd "$PWD"; '
            'cp "$1"/* .; shift; exec "$@"'
        )
        server = [sys.executable, "-m", "django", *command]
        seed = str(self.home.with_name("seed"))
        with self.log.open("ab") as log:
            return subprocess.Popen(
                ["unshare", "--mount", "sh", "-ec", mounted, "sh", seed, *server],
                env=environment,
                cwd=self.home,
                stdout=log,
                stderr=log,
            )

    @property
    def disk(self) -> Path:
        return Path(f"/proc/{self.process.pid}/root{self.home}")


@pytest.fixture
def site(committed_db, tmp_path):
    if sys.platform != "linux" or os.geteuid():
        pytest.skip("needs a mount of its own")
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL's disk is its own")
    make_people()
    check = a_check(STATIONS)
    connection.close()
    home, seed = tmp_path / "home", tmp_path / "seed"
    for folder in (home, seed):
        folder.mkdir()
    for file in tmp_path.glob("fayline.sqlite3*"):
        shutil.copy(file, seed)
    site = OnSmallDisk(home, {})
    try:
        site.start()
    except RuntimeError:
        if "unshare:" in site.words() or "mount:" in site.words():
            pytest.skip("this machine lets nobody mount")
        raise
    yield site, check
    site.kill()


def fill(disk: Path) -> Path:
    filler = disk / "holiday films"
    with filler.open("wb", buffering=0) as file:
        for size in (1 << 20, 1 << 12):
            with contextlib.suppress(OSError):
                while file.write(b"\0" * size):
                    pass
    return filler


def test_on_a_full_disk_nothing_is_acknowledged_that_is_not_kept(site, tmp_path):
    site, check = site
    cookies, token = sign_in_by_hand(site.port)
    headers = {"Cookie": cookies, "X-CSRFToken": token}
    link = http.client.HTTPConnection("127.0.0.1", site.port, timeout=60)

    def save(station):
        act = str(uuid.uuid4())
        said = reading_of(check, str(station))
        body = {"form": "reading/1", "by": "builder", "said": said}
        body["made_at"] = "2026-11-25T09:00:00Z"
        link.request("PUT", f"/api/acts/{act}", json.dumps(body), headers)
        answer = link.getresponse()
        told = json.loads(answer.read())
        if answer.status == 201:
            acknowledged.add(act.replace("-", ""))
        return answer.status, told

    def health():
        link.request("GET", "/health")
        answer = link.getresponse()
        return answer.status, answer.read()

    acknowledged, station = set(), 1
    assert save(station)[0] == 201 and health() == (200, b"ok")
    filler = fill(site.disk)
    assert health() == (507, b"full")
    refused = None
    while refused is None:
        station += 1
        assert station < STATIONS, "the log beside the database has room for all"
        status, told = save(station)
        if status != 201:
            refused = (status, told["error"]["code"], told["error"]["short"])
    assert refused == (507, "no_room", "server's disk full")
    filler.unlink()
    assert save(station)[0] == 201 and health() == (200, b"ok")
    link.close()
    kept = tmp_path / "kept"
    kept.mkdir()
    site.process.send_signal(signal.SIGSTOP)
    for file in site.disk.glob("fayline.sqlite3*"):
        shutil.copy(file, kept)
    site.kill()
    database = other_databases.of_file(kept / "fayline.sqlite3")
    with other_databases.records_in(database, tmp_path / "photos"):
        acts = set(Entry.objects.values_list("act", flat=True))
        assert acknowledged <= {act.hex for act in acts}
        assert Reading.objects.count() == len(acknowledged)
        assert verify().faults == ()
