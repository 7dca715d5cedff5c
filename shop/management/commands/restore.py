"""`manage.py restore FROM`: the records of a backup, in an empty home."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Restore a backup (or the newest one in a folder of them) into an empty home. "
        "FAYLINE_HOME and DATABASE_URL say which."
    )
    requires_system_checks = ()

    def add_arguments(self, parser):
        parser.add_argument("source", type=Path, metavar="FROM")
        parser.add_argument(
            "--despite-faults",
            action="store_true",
            help="also where something does not hold, and say what",
        )

    def handle(self, *, source, despite_faults, **_options):
        from shop.serving.restoring import CannotRestore, restore

        say = self.stdout.write
        try:
            came = restore(source, despite=despite_faults, say=say)
        except CannotRestore as why:
            raise CommandError(str(why)) from None
        newest = came.newest
        say(
            f"Restored: {came.entries} acts."
            + (
                f" The newest is number {newest['number']}, {newest['form']}"
                f"{' by ' + newest['by'] if newest['by'] else ''}, of {newest['at']}."
                if newest
                else ""
            )
        )
        say(
            "Whoever was signed in signs in again. Tablets learn that this is a "
            "restored copy, and send again what they have and it lacks."
        )
        if came.faults:
            lines = "\n".join(f"  {fault}" for fault in came.faults)
            raise CommandError(f"These do not hold:\n{lines}")
