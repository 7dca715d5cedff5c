"""`ledger verify` checks everything; `ledger head` prints the digest to note down."""

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from shop.ledger import sealer
from shop.ledger.verify import verify


class Command(BaseCommand):
    help = "Verify the ledger, or print its head."

    def add_arguments(self, parser):
        parser.add_argument("what", choices=["verify", "head", "seal"])

    def handle(self, what, **_):
        try:
            self._answer(what)
        except DatabaseError as why:
            raise CommandError(
                f"The records cannot be read: {why}. `manage.py serve` makes an empty "
                "shop; FAYLINE_HOME or DATABASE_URL says where another one is."
            ) from why

    def _answer(self, what):
        if what == "verify":
            report = verify()
            if report.fault:
                raise CommandError(f"The ledger does not hold: {report.fault}.")
            self.stdout.write(
                f"{report.entries} entries and {report.facts} facts hold. "
                f"Head {report.head}"
            )
        elif what == "head":
            position, digest = sealer.head()
            self.stdout.write(f"{position} {digest}")
        else:
            self.stdout.write(f"{sealer.seal()} entries sealed")
