"""`manage.py carry_files FOLDER`: photos and packs from a folder into the store."""

import hashlib
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Copy photos and packs out of a folder (the photos of a home, say) into the "
        "store that FAYLINE_FILES names, and read each of them back."
    )
    requires_system_checks = ()

    def add_arguments(self, parser):
        parser.add_argument("source", type=Path, metavar="FOLDER")

    def handle(self, *, source, **_options):
        from shop.ledger import file_store
        from shop.serving.backup_files import CONTENT, content_of

        if not source.is_dir():
            raise CommandError(f"There is no folder {source}.")
        count, wrong = 0, []
        for path in sorted(source.rglob("*.*")):
            name = path.relative_to(source).as_posix()
            if not CONTENT.fullmatch(name):
                continue
            content = path.read_bytes()
            if hashlib.sha256(content).hexdigest() != content_of(name):
                wrong.append(f"{path} is not what its name says: it stays behind")
                continue
            try:
                file_store.keep(name, content)
                if file_store.digest_of(name) != content_of(name):
                    wrong.append(f"{name} is another one in the store")
            except OSError as why:
                raise CommandError(
                    f"{count} files are there, then: {why.strerror or why}. Start "
                    "again: what is there is not sent twice."
                ) from None
            count += 1
        self.stdout.write(f"{count} files are in the store, each read back.")
        if wrong:
            raise CommandError("\n".join(wrong))
