"""`ledger verify` checks everything; `ledger head` prints the digest to note down."""

import re
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, ProgrammingError

from shop.ledger import read_only, sealer
from shop.ledger.verify import Report, verify
from shop.queries import heads
from shop.queries.identity import in_shops_zone, the_shop
from shop.serving.database import of_another_release, unreadable
from shop.wording.times import zoned


def _told(why: DatabaseError) -> str:
    """Without tables an empty shop may be meant; else what is there is damaged."""
    if words := of_another_release():
        return words
    words = " ".join(str(why).split())
    if "no such table" not in words and not isinstance(why, ProgrammingError):
        return unreadable(why)
    return (
        f"The records cannot be read: {words}. `manage.py serve` makes an empty shop; "
        "FAYLINE_HOME or DATABASE_URL says where another one is."
    )


class Command(BaseCommand):
    help = "Verify the ledger, or print its head."

    def add_arguments(self, parser):
        parser.add_argument("what", choices=["verify", "head", "seal"])
        parser.add_argument("--pdf", help="head: a sheet of it, to keep elsewhere")
        parser.add_argument(
            "--expect",
            nargs="+",
            metavar="HEAD",
            help="verify: a head noted down before: position, then the digest, which "
            "may be cut short and stand in groups",
        )

    def handle(self, what, expect, pdf, **_):
        try:
            read_only.open_what_cannot_be_written()
            self._answer(what, expect and _head(*expect), pdf)
        except DatabaseError as why:
            raise CommandError(_told(why)) from why

    def _answer(self, what, expect, pdf):
        if what == "verify":
            self._tell(verify(expect=expect), expect)
        elif what == "head":
            sealer.seal()
            self._tell_head(heads.newest(), pdf)
        else:
            self.stdout.write(f"{sealer.seal()} entries sealed")

    def _tell_head(self, head: heads.Head, pdf: str | None):
        with in_shops_zone():
            when = zoned(head.at, "seconds")
        self.stdout.write(f"{head.position} {head.digest} {when}".strip())
        if not pdf:
            return
        if not head.at:
            raise CommandError("Nothing is on record yet: there is no head to print.")
        from shop.paper.head import head_sheet

        shop = the_shop()
        sheet = head_sheet(head, owner=shop.name, when=when, paper=shop.paper)
        try:
            Path(pdf).write_bytes(sheet)
        except OSError as why:
            raise CommandError(f"{pdf} cannot be written: {why.strerror}.") from why

    def _tell(self, report: Report, expect):
        if report.faults:
            lines = "\n".join(f"  {fault}" for fault in report.faults[1:])
            more = f"\nNor do these:\n{lines}" if lines else ""
            raise CommandError(f"The ledger does not hold: {report.fault}.{more}")
        noted = f", seal {expect[0]} as noted" if expect else ""
        self.stdout.write(
            f"{report.entries} entries, {report.facts} facts and {report.rows} rows "
            f"hold{noted}. Head {report.position} {report.head}"
        )
        if report.unsealed:
            self.stdout.write(
                f"{report.unsealed} of the entries are not sealed yet: the head does "
                "not cover them."
            )


def _head(position: str, *digest: str) -> tuple[int, str]:
    """Return a head as typed from paper; CommandError when it is none."""
    digest = re.sub(r"[\s-]", "", "".join(digest)).lower()
    if not (position.isascii() and position.isdigit() and int(position)):
        raise CommandError(f"--expect: {position!r} is no position: a number from 1.")
    if not re.fullmatch(r"[0-9a-f]{8,64}", digest):
        raise CommandError(
            "--expect: a digest is 64 signs 0 to 9 and a to f; at least its first 8."
        )
    return int(position), digest
