"""`ledger verify` checks everything; `ledger head` prints the digest to note down."""

from django.core.management.base import BaseCommand, CommandError

from shop.ledger import sealer
from shop.ledger.verify import verify


class Command(BaseCommand):
    help = "Verify the ledger, or print its head."

    def add_arguments(self, parser):
        parser.add_argument("what", choices=["verify", "head", "seal"])

    def handle(self, what, **_):
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
