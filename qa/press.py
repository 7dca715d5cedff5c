"""The press: makes the pages of an ordered pack, away from the server's own process.

`begin` starts a subprocess of low priority (`manage.py print_pack`) that reads one
moment of the records, writes files into a folder of the order, and nothing into the
database. When it is done, whoever waits (a thread of the server, the command, or the
next person who looks) issues what lies there (`take`).
"""

import json
import os
import shutil
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection

from qa.actions.packs import Printed, Signed, issue_pack
from qa.models import IssuedPack, PackOrder
from qa.queries.packs.pack import Pack, pack_of
from qa.rules import pack_record
from shop.ledger import Refused, sealer
from shop.ledger.snapshot import snapshot
from shop.models import Entry, Seal
from shop.numeric.units import PERCENT
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
MOST_VALIDATED = 60


def folder_of(order: PackOrder) -> Path:
    return settings.HOME / "packs" / str(order.entry_id)


@dataclass(frozen=True)
class Progress:
    """How far a pack is: pages done of all (0: not known yet), or why it failed."""

    words: str = ""
    done: int = 0
    total: int = 0
    failed: str = ""
    printed: bool = False

    @property
    def percent(self) -> int:
        return PERCENT * self.done // self.total if self.total else 0


def progress_of(order: PackOrder) -> Progress:
    """What the subprocess said last."""
    folder = folder_of(order)
    if (folder / "printed.json").is_file():
        return Progress(words="printed", done=1, total=1, printed=True)
    try:
        told = json.loads((folder / "progress.json").read_text("utf-8"))
    except (OSError, ValueError):
        return Progress(words="waiting for the press")
    return Progress(**told)


def _tell(folder: Path, **told) -> None:
    part = folder / "progress.part"
    part.write_text(json.dumps(told), "utf-8")
    part.replace(folder / "progress.json")


# ------------------------------------------------------------- in the subprocess


def print_pack(order: PackOrder) -> None:
    """Make the pages of an order (with RELATED) and leave them in its folder."""
    folder = folder_of(order)
    folder.mkdir(parents=True, exist_ok=True)
    try:
        _tell(folder, words="reading the records")
        pack = read(order)
        data, pages = _render(pack, folder)
    except Exception as why:
        _tell(folder, failed=f"{type(why).__name__}: {why}"[:400])
        raise
    (folder / "pack.pdf").write_bytes(data)
    (folder / "record.json").write_bytes(pack.record)
    told = {"pages": pages, "head": pack.head, "unsealed": pack.unsealed}
    told["archival"] = _archival(data, pages)
    part = folder / "printed.part"
    part.write_text(json.dumps(told), "utf-8")
    part.replace(folder / "printed.json")


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
    folder.mkdir(parents=True, exist_ok=True)
    _tell(folder, words="waiting for the press")
    # Past manage.py: the environment is the one that this process runs in.
    command = [sys.executable, "-m", "django", "print_pack", str(order.entry_id)]
    told = {"DJANGO_SETTINGS_MODULE": "shop.settings"}
    told["FAYLINE_HOME"] = str(settings.HOME)
    options = {"env": {**os.environ, **told}}
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
    try:
        if process.wait():
            folder = folder_of(order)
            if not progress_of(order).failed:
                _tell(folder, failed="the press ended before it was done")
            return
        take(order)
    except Refused:
        pass  # somebody else took it
    finally:
        connection.close()


def take(order: PackOrder) -> IssuedPack:
    """Issue what the press left for an order, by whom it was ordered."""
    folder = folder_of(order)
    told = json.loads((folder / "printed.json").read_text("utf-8"))
    pdf = (folder / "pack.pdf").read_bytes()
    printed = Printed(
        pdf=pdf,
        record=(folder / "record.json").read_bytes(),
        pages=told["pages"],
        head=tuple(told["head"]),
        unsealed=told["unsealed"],
        archival=told["archival"],
    )
    signed = Signed(*signing.sign(pdf))
    pack = issue_pack(by=order.entry.by, order=order, printed=printed, signed=signed)
    shutil.rmtree(folder, ignore_errors=True)
    return pack


def file_of(pack: IssuedPack) -> Path:
    return settings.MEDIA_ROOT / pack.file_name


def signature_of(pack: IssuedPack) -> bytes:
    return (settings.MEDIA_ROOT / pack.signature_name).read_bytes()
