"""`manage.py import_all FILE.zip`: an export, in an empty site."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Make an export the records of an empty site (FAYLINE_HOME and DATABASE_URL "
        "say which), and prove that they are equal."
    )
    requires_system_checks = ()

    def add_arguments(self, parser):
        parser.add_argument("source", type=Path, metavar="FILE.zip")
        parser.add_argument(
            "--despite-faults",
            action="store_true",
            help="also where its ledger does not verify or files were gone; say what",
        )

    def handle(self, *, source, despite_faults, **_options):
        from shop.actions.people import somebody_can_sign_in
        from shop.models import Person
        from shop.serving.export_files import NoExport
        from shop.serving.importing import import_all
        from shop.serving.restoring import CannotRestore

        say = self.stdout.write
        try:
            came = import_all(source, despite=despite_faults, say=say)
        except (NoExport, CannotRestore) as why:
            raise CommandError(str(why)) from None
        newest = came.newest
        say(
            f"Imported: every row is as it was exported, and the ledger has the same "
            f"head. {came.entries} acts, this import among them."
            + (
                f" The newest before: {newest['form']}, {newest['at']}."
                if newest
                else ""
            )
        )
        if Person.objects.exists() and not somebody_can_sign_in():
            say(
                "Passwords, PINs and tokens are not in it. Give a lead a password: "
                "python3 manage.py first_lead --username NAME; the lead gives the "
                "others theirs, and tablets are enrolled anew."
            )
        if came.faults:
            lines = "\n".join(f"  {fault}" for fault in came.faults)
            raise CommandError(f"These do not hold:\n{lines}")
