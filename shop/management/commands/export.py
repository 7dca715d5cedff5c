"""`manage.py export FILE.zip`: all that is on record in one file that others read."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from shop.numeric.units import BYTES_PER_MB


class Command(BaseCommand):
    help = (
        "Write all records (JSON lines, with a schema that says each column's unit and "
        "meaning), photos, packs and the ledger into one ZIP file, while people work."
    )

    def add_arguments(self, parser):
        parser.add_argument("target", type=Path, metavar="FILE.zip")
        parser.add_argument(
            "--with-secrets",
            action="store_true",
            help="also hashes of passwords, PINs and tokens: whoever can sign in here "
            "can there. Keep such a file as you keep a key.",
        )

    def handle(self, *, target, with_secrets, **_options):
        from shop.serving import database
        from shop.serving.exporting import CannotExport, export

        database.refuse_absent()
        try:
            made = export(target, secrets=with_secrets)
        except CannotExport as why:
            raise CommandError(str(why)) from None
        except DatabaseError as why:
            raise CommandError(database.unreadable(why)) from None
        rows = sum(count for count, _digest in made.tables.values())
        size = target.stat().st_size / BYTES_PER_MB
        self.stdout.write(
            f"{target}: {rows} rows of {len(made.tables)} tables, {made.entries} acts, "
            f"{size:.1f} MB. Seal {made.head[0]} {made.head[1]}"
        )
        if made.lacking:
            names = "\n".join(f"  {name}" for name in made.lacking)
            raise CommandError(
                "It was written without these files, which are gone, cannot be read or "
                f"hold something else (manage.py ledger verify says which):\n{names}"
            )
