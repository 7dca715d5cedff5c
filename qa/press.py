"""The press: makes the pages of an ordered pack, away from the server's own process.

`begin` starts a subprocess of low priority (`manage.py print_pack`) that reads one
moment of the records, writes files into a folder of the order, and nothing into the
database. When it is done, whoever waits (a thread of the server, the command, or the
next person who looks) issues what lies there (`take`).
"""

import hashlib
import json
import logging
import os
import shutil
import subprocess
import sys
import threading
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

from django.conf import settings
from django.db import connection

from qa.actions.packs import Printed, Signed, issue_pack
from qa.models import IssuedPack, PackOrder
from qa.queries.packs.pack import Pack, pack_of
from qa.rules import pack_record
from shop.ledger import Refused, sealer
from shop.ledger.snapshot import snapshot
from shop.models import Entry, Person, Seal
from shop.numeric.units import PERCENT
from shop.queries.identity import in_shops_zone
from shop.serving import signing

RELATED = ("entry__by", "airframe__type", "joint", "part__design", "bay")
FILES = {
    "record": pack_record.RECORD,
    "table": pack_record.TABLE,
    "issue": pack_record.ISSUE,
}
# Other people's acts may wait for the sealer, which comes every second.
SEALINGS, PAUSE = 20, 0.15
NICE = 10
# Some ten seconds of validation.
MOST_VALIDATED = 1000
MOST_WORDS = 400
# The press shows every so many seconds that it lives; after so many without, it does
# not: the server was stopped, the machine went off, the disk is full.
BEAT, SILENCE = 2, 90
SILENT = "the press was stopped before it was done"

log = logging.getLogger(__name__)


def folder_of(order: PackOrder) -> Path:
    return settings.HOME / "packs" / str(order.entry_id)


@dataclass(frozen=True)
class Progress:
    """How far a pack is: pages done of all (0: not known yet), or why it failed (or,
    where it is printed, why it was not issued at once)."""

    words: str = ""
    done: int = 0
    total: int = 0
    failed: str = ""
    printed: bool = False

    @property
    def percent(self) -> int:
        return PERCENT * self.done // self.total if self.total else 0


def progress_of(order: PackOrder) -> Progress:
    """What the subprocess said last; where it says nothing any more, that it died."""
    folder = folder_of(order)
    try:
        progress = Progress(**json.loads((folder / "progress.json").read_text("utf-8")))
    except (OSError, ValueError, TypeError):
        progress = Progress(words="waiting for the press")
    if (folder / "printed.json").is_file():
        return Progress("printed", 1, 1, failed=progress.failed, printed=True)
    if not progress.failed and _silent(folder, order):
        return replace(progress, failed=SILENT)
    return progress


def _silent(folder: Path, order: PackOrder) -> bool:
    """Whether nothing was heard of the press for so long that it is not there."""
    try:
        heard = (folder / "alive").stat().st_mtime
    except OSError:
        heard = order.entry.received_at.timestamp()
    return time.time() - heard > SILENCE


def _tell(folder: Path, **values) -> None:
    part = folder / "progress.part"
    part.write_text(json.dumps(values), "utf-8")
    part.replace(folder / "progress.json")


def _tell_failed(folder: Path, why: str) -> None:
    """Say why it failed, as far as anything can be written there."""
    with suppress(OSError):
        _tell(folder, failed=why[:MOST_WORDS])


@contextmanager
def _beating(folder: Path):
    """Within it whoever looks knows that the press lives."""
    over = threading.Event()

    def beat() -> None:
        while True:
            with suppress(OSError):
                (folder / "alive").touch()
            if over.wait(BEAT):
                return

    beats = threading.Thread(target=beat, name="alive", daemon=True)
    beats.start()
    try:
        yield
    finally:
        over.set()
        beats.join()


# ------------------------------------------------------------- in the subprocess


def print_pack(order: PackOrder) -> None:
    """Make the pages of an order (with RELATED) and leave them in its folder."""
    folder = folder_of(order)
    folder.mkdir(parents=True, exist_ok=True)
    with _beating(folder):
        try:
            with in_shops_zone():
                _print(order, folder)
        except Exception as why:
            _tell_failed(folder, f"{type(why).__name__}: {why}")
            raise


def _print(order: PackOrder, folder: Path) -> None:
    _tell(folder, words="reading the records")
    pack = read(order)
    data, pages = _render(pack, folder)
    (folder / "pack.pdf").write_bytes(data)
    record = pack.record.encode()
    (folder / "record.json").write_bytes(record)
    printed = {"pages": pages, "head": pack.head, "unsealed": pack.unsealed}
    printed["sha256"] = [_sha256(data), _sha256(record)]
    printed["archival"] = _archival(data, pages)
    part = folder / "printed.part"
    part.write_text(json.dumps(printed), "utf-8")
    part.replace(folder / "printed.json")


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _render(pack: Pack, folder: Path) -> tuple[bytes, int]:
    # reportlab is slow to import, and only the press needs it.
    from qa.paper import pack as paper  # noqa: PLC0415

    def tell(done: int, total: int) -> None:
        if done % 10 == 0 or done == total:
            _tell(folder, words="drawing", done=done, total=total)

    return paper.render(pack, FILES, tell)


def _archival(data: bytes, pages: int) -> str:
    """What the file is validated as; a large one is not: it would take many seconds."""
    if pages > MOST_VALIDATED:
        return ""
    from shop.paper import archival  # noqa: PLC0415

    return "" if archival.validated(data) else archival.FLAVOUR


def read(order: PackOrder) -> Pack:
    """Everything that the pages tell, at one moment that the ledger's head covers.

    Acts of the last second may not be chained yet; the sealer of the server comes, or
    whoever ordered it has sealed. If some are there each time it is tried, the pack
    says how many the head does not cover.
    """
    for left in reversed(range(SEALINGS)):
        with snapshot():
            unsealed = Entry.objects.filter(seal__isnull=True).count()
            if not unsealed or not left:
                last = Seal.objects.order_by("-position").first()
                return pack_of(order, (last.position, last.digest), unsealed)
        time.sleep(PAUSE)
    raise AssertionError("the last try always reads")


# ------------------------------------------------------------- in the server


def begin(order: PackOrder) -> threading.Thread:
    """Start the press for an order, and issue what it made when it is done."""
    sealer.seal()
    folder = folder_of(order)
    # Where nothing can be written the press will say why, or nothing: then it died.
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        _tell(folder, words="waiting for the press")
    # Past manage.py: the environment is the one that this process runs in.
    command = [sys.executable, "-m", "django", "print_pack", str(order.entry_id)]
    environment = {"DJANGO_SETTINGS_MODULE": "shop.settings"}
    environment["FAYLINE_HOME"] = str(settings.HOME)
    options = {"env": {**os.environ, **environment}}
    if os.name == "nt":
        options["creationflags"] = subprocess.BELOW_NORMAL_PRIORITY_CLASS
    process = subprocess.Popen(  # noqa: S603 -- our own command
        command,
        cwd=settings.BASE_DIR,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        **options,
    )
    waiter = threading.Thread(
        target=_wait, args=(process, order), name="press", daemon=True
    )
    waiter.start()
    return waiter


def _wait(process: subprocess.Popen, order: PackOrder) -> None:
    """Issue what was printed; whatever is in the way is said on the page of the order,
    where somebody else may issue it."""
    folder = folder_of(order)
    try:
        if process.wait():
            if not progress_of(order).failed:
                _tell_failed(folder, "the press ended before it was done")
            return
        take(order, by=order.entry.by)
    except Exception as why:
        log.exception("%s was not issued", order.label)
        # Where somebody else took it there is no folder any more.
        _tell_failed(folder, getattr(why, "message", "") or str(why))
    finally:
        connection.close()


def take(order: PackOrder, *, by: Person) -> IssuedPack:
    """Issue what the press left for an order. Refused where that is not what it made,
    OSError where it left nothing."""
    folder = folder_of(order)
    values = json.loads((folder / "printed.json").read_text("utf-8"))
    pdf = (folder / "pack.pdf").read_bytes()
    record = (folder / "record.json").read_bytes()
    if values["sha256"] != [_sha256(pdf), _sha256(record)]:
        message = "What lies there is not what the press made. Order it again."
        raise Refused(message, code="altered")
    printed = Printed(
        pdf=pdf,
        record=record,
        pages=values["pages"],
        head=tuple(values["head"]),
        unsealed=values["unsealed"],
        archival=values["archival"],
    )
    signed = Signed(*signing.sign(pdf))
    pack = issue_pack(by=by, order=order, printed=printed, signed=signed)
    shutil.rmtree(folder, ignore_errors=True)
    return pack
