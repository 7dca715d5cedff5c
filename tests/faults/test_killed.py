"""Server and database are killed at any moment: what was acknowledged is there.

Tablets send readings, each again and again until it is acknowledged, while the server
gets SIGKILL and is started again, or PostgreSQL does: one of its processes, or all. The
server is left alone then and finds back by itself. FAYLINE_KILLS says how often: 200 in
a long run.
"""

import contextlib
import http.client
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import threading
import uuid
from pathlib import Path
from urllib.parse import urlencode

import dj_database_url
import psycopg
import pytest
from django.core.management import call_command
from django.db import OperationalError, connection
from django.urls import reverse
from django.utils import timezone

from qa.models import Reading
from shop.actions import tablets
from shop.ledger.verify import verify
from shop.models import Entry, Person, Proof
from shop.serving.other_databases import records_in
from tests.around import (
    Cluster,
    NoPostgresql,
    Site,
    find_postgresql_programs,
    who_may_run_it,
)
from tests.browser.at_the_tablet import a_check
from tests.conftest import make_people
from tests.faults.test_outbox_faults import sign_in_by_hand

KILLS = int(os.environ.get("FAYLINE_KILLS", "4"))
TABLETS, STATIONS = 4, 40
# Between two readings of a tablet: the point is when it is killed, not how many.
PAUSE_S = 0.01
PATIENCE_S = 60
MADE_AT = "2026-11-25T09:00:00Z"


class Tablet(threading.Thread):
    """Sends one reading after another until it is told to stop; the last one too is
    sent until it is acknowledged."""

    def __init__(self, port: int, check: str, token: str, kind: str):
        super().__init__(daemon=True)
        self.port, self.check, self.kind = port, check, kind
        self.headers = {"Authorization": f"Bearer {token}"}
        self.acknowledged, self.sent_again, self.odd = [], 0, []
        self.over = threading.Event()

    def run(self):
        station = 0
        while not self.over.wait(PAUSE_S) and not self.odd:
            station = station % STATIONS + 1
            self.deliver(str(uuid.uuid4()), str(station))

    def deliver(self, act, station):
        said = {"check": self.check, "station": station, "kind": self.kind}
        said |= {"outcome": "value", "value": "2.2", "unit": "mm"}
        body = {"form": "reading/1", "by": "builder", "device": "", "seq": 1}
        body = json.dumps({**body, "made_at": MADE_AT, "said": said})
        while not self.odd:
            status, answer = self.put(act, body)
            if status in (200, 201):
                self.acknowledged.append(uuid.UUID(act))
                return
            # 503: the database is not there. Anything else would put the act aside.
            if status not in (None, 503):
                self.odd.append((status, answer))
            self.sent_again += 1
            threading.Event().wait(PAUSE_S * 5)

    def put(self, act, body):
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            link.request("PUT", f"/api/acts/{act}", body, self.headers)
            answer = link.getresponse()
            return answer.status, answer.read()
        except (OSError, http.client.HTTPException):
            return None, b""
        finally:
            link.close()


def tablets_of(site, count=TABLETS) -> list[Tablet]:
    """Tablets on which the builder has proven a PIN, two on a check."""
    lead, builder = (Person.objects.get(username=n) for n in ("lead", "builder"))
    made = []
    for number in range(count):
        if number % 2 == 0:
            check = str(a_check(STATIONS).entry_id)
        tablet, token = tablets.enroll(by=lead, name=f"Tablet {number}")
        until = timezone.now() + tablets.SHIFT
        Proof.objects.create(tablet=tablet, person=builder, until=until)
        kind = ("gap", "flush")[number % 2]
        made.append(Tablet(site.port, check, token, kind))
    return made


def strike(sending: list[Tablet], kills, dice) -> None:
    """Kill again and again while tablets send; look each time for what they were told,
    and in the end whether all of it is there once and holds."""
    for tablet in sending:
        tablet.start()
    seen = 0
    for number in range(KILLS):
        wait_for_more(sending, dice.randrange(1, 12))
        threading.Event().wait(dice.random() / 30)
        kills[number % len(kills)]()
        told = [act for one in sending for act in list(one.acknowledged)]
        wait_for_more(sending, 1)
        assert there(told[seen:]) == len(told) - seen
        seen = len(told)
    for tablet in sending:
        tablet.over.set()
    for tablet in sending:
        tablet.join(PATIENCE_S)
    assert [fault for one in sending for fault in one.odd] == []
    told = [act for one in sending for act in one.acknowledged]
    assert len(set(told)) == len(told) == Reading.objects.count() == there(told)
    assert verify().faults == ()
    again = sum(one.sent_again for one in sending)
    sys.stdout.write(f"{KILLS} kills, {len(told)} readings, sent again {again} times\n")
    assert again > KILLS / 2  # they do meet what is being done


def wait_for_more(sending, count) -> None:
    """Until so many more were acknowledged; that is how one knows that it works."""
    wanted = sum(len(one.acknowledged) for one in sending) + count
    for _turn in range(int(PATIENCE_S / PAUSE_S)):
        odd = [fault for one in sending for fault in one.odd]
        assert odd == []
        if sum(len(one.acknowledged) for one in sending) >= wanted:
            return
        threading.Event().wait(PAUSE_S)
    pytest.fail("the server did not come back")


def there(acts) -> int:
    """How many of these acts are on record, once the database answers again."""
    chunks = [acts[at : at + 500] for at in range(0, len(acts), 500)]
    for _turn in range(int(PATIENCE_S / PAUSE_S)):
        connection.close()
        with contextlib.suppress(OperationalError):
            return sum(Entry.objects.filter(act__in=some).count() for some in chunks)
        threading.Event().wait(PAUSE_S)
    pytest.fail("the database did not come back")


def test_a_server_that_is_killed_has_lost_nothing_that_it_acknowledged(
    live_site, tmp_path
):
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL of its own: the next test")

    def kill_server():
        live_site.kill()
        live_site.start()

    strike(tablets_of(live_site), [kill_server], random.Random(17))


# ------------------------------------------------------------------- PostgreSQL


class Killable(Cluster):
    def kill(self) -> None:
        """End all of it as a power cut would; Linux tells what that is."""
        held = self.data / "postmaster.pid"
        master = int(held.read_text().splitlines()[0])
        # It forks no more while it is read what it has forked.
        os.kill(master, signal.SIGSTOP)
        while state_of(master) not in "TZX":
            threading.Event().wait(PAUSE_S)
        forked = Path(f"/proc/{master}/task/{master}/children").read_text()
        killed = [master, *map(int, forked.split())]
        for pid in killed:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        while any(map(works, killed)):
            threading.Event().wait(PAUSE_S)
        # In a container nobody may gather the dead, and it would take a dead one for
        # itself at work.
        for left in (held, *held.parent.parent.glob(".s.PGSQL.*.lock")):
            left.unlink()


def works(pid: int) -> bool:
    """Whether a process is there and not dead, waiting to be gathered."""
    return state_of(pid) not in "ZX"


def state_of(pid: int) -> str:
    """As Linux tells it: T stopped, Z dead; X: not there."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0]
    except (FileNotFoundError, ProcessLookupError):
        return "X"


@pytest.fixture
def cluster():
    """A PostgreSQL that writes durably, and may be killed."""
    programs = find_postgresql_programs()
    if programs is None or sys.platform != "linux":
        pytest.skip("no PostgreSQL here that could be killed")
    try:
        as_owner = who_may_run_it()
    except NoPostgresql as why:
        pytest.skip(str(why))
    folder = Path(tempfile.mkdtemp(prefix="fayline-killed-"))
    if as_owner:
        shutil.chown(folder, "postgres")
    made = Killable(programs, folder, as_owner)
    made.start()
    try:
        yield made
    finally:
        made.stop()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def site(cluster, django_db_blocker, tmp_path):
    """A server on that PostgreSQL, and this test's own connection to it."""
    database = dj_database_url.parse(cluster.address)
    with django_db_blocker.unblock(), records_in(database, tmp_path / "photos"):
        call_command("migrate", verbosity=0)
        make_people()
        home = tmp_path / "home"
        home.mkdir()
        settings = {"DATABASE_URL": cluster.address}
        site = Site(home, settings, warm=True).start()
        try:
            yield site
        finally:
            site.kill()


def pages_say_so(port, cookies, token):
    """While there is no database each page says so, and keeps what was typed."""
    headers = {"Cookie": cookies, "X-CSRFToken": token}
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    typed = urlencode({"name": "Mara <b> Tolle", "password": "violet-Spar-44"})
    asked = (
        ("GET", "/checks/", None, {}),
        ("GET", "/tablet/", None, {}),
        ("GET", "/api/session", None, {}),
        ("GET", "/api/1/parts", None, {"Authorization": "Bearer x"}),
        ("POST", reverse("add_person"), typed, form),
        ("GET", "/health", None, {}),
    )
    told = [ask(port, *one[:3], {**headers, **one[3]}) for one in asked]
    assert [status for status, _ in told] == [503, 200, 503, 503, 503, 503]
    page, _shell, session, script, kept, health = (words for _, words in told)
    assert "The database does not answer" in page and "Open it again" in page
    codes = [json.loads(said)["error"]["code"] for said in (session, script)]
    assert codes == ["away", "away"] and health == "database"
    assert 'name="name" value="Mara &lt;b&gt; Tolle"' in kept
    assert "Most likely nothing was saved" in kept and "violet" not in kept


def ask(port, method, path, body, headers):
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    link.request(method, path, body, headers)
    answer = link.getresponse()
    said = answer.read().decode()
    link.close()
    return answer.status, said


@pytest.mark.slow
def test_a_server_finds_back_by_itself_to_a_postgresql_that_was_killed(site, cluster):
    dice = random.Random(18)

    def kill_one_process():
        with psycopg.connect(cluster.address) as look:
            mine = "SELECT pid FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
            rows = look.execute(f"{mine} AND backend_type = 'client backend'")
            pids = [pid for (pid,) in rows]
        with contextlib.suppress(ProcessLookupError):  # it may have ended by itself
            os.kill(dice.choice(pids), signal.SIGKILL)

    signed_in = sign_in_by_hand(site.port)

    def kill_database():
        cluster.kill()
        pages_say_so(site.port, *signed_in)
        cluster.start()

    def kill_both():
        site.kill()
        cluster.kill()
        cluster.start()
        site.start()

    def kill_server():
        site.kill()
        site.start()

    strike(
        tablets_of(site),
        [kill_database, kill_one_process, kill_server, kill_both],
        dice,
    )
