"""`manage.py backup DIR`: everything the shop has on record, while it is in use."""

import json
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from shop.numeric.units import BYTES_PER_MB


class Command(BaseCommand):
    help = (
        "Write a backup of database and photos into a folder while people work, and "
        "check it; or check one that is there."
    )

    def add_arguments(self, parser):
        parser.add_argument("place", type=Path, metavar="DIR")
        parser.add_argument(
            "--check",
            action="store_true",
            help="write nothing: check the backup DIR, or the newest one in DIR",
        )
        parser.add_argument(
            "--keep",
            metavar="DAYS,WEEKS,MONTHS",
            help="remove older ones, but the newest of so many days, weeks and months",
        )
        parser.add_argument(
            "--keys",
            type=Path,
            metavar="DIR",
            help="copy the server's secret and its certificates too, to another place",
        )
        parser.add_argument(
            "--json",
            action="store_true",
            help="say what was made as one line of JSON, and put nothing on record",
        )

    def handle(self, *, place, check, keep, keys, **options):
        from shop.serving import backup_files, backups, database

        rule = _rule(keep) if keep else None
        if check and (keep or keys or options["json"]):
            raise CommandError("--check writes nothing: leave the other options out.")
        try:
            if check:
                backup = backup_files.open_backup(place)
                return self._check(backup, backup_files.passed_over(place, backup))
            database.refuse_moved()
            database.refuse_absent()
            return self._make(place.resolve(), rule, keys, options["json"])
        except (backups.CannotBackUp, backup_files.NoBackup) as why:
            raise CommandError(str(why)) from None
        except DatabaseError as why:
            raise CommandError(database.unreadable(why)) from None

    def _check(self, backup, passed_over):
        from shop.serving.backups import faults_of, is_of_another_release

        if faults := faults_of(backup):
            lines = "\n".join(f"  {fault}" for fault in faults)
            raise CommandError(f"{backup.folder} does not hold:\n{lines}")
        self.stdout.write(f"{backup.folder} holds. {_content(backup.manifest)}")
        if is_of_another_release(backup.manifest):
            self.stdout.write(
                "It is of another release: its ledger was checked when it was made, "
                "and is again when it is restored."
            )
        if passed_over:
            newer = "\n".join(f"  {words}" for words in passed_over)
            raise CommandError(f"Of what is newer there, these do not hold:\n{newer}")

    def _make(self, place, rule, keys, as_json):
        from shop.serving.backups import make, record_backup, said_of

        if keys:
            _copy_keys(keys, place)
        backup = make(place, rule=rule)
        if as_json:
            # For the server: it alone writes its database.
            self.stdout.write(json.dumps(said_of(backup)))
            return
        self.stdout.write(f"{backup.folder}\n{_content(backup.manifest)}")
        faults = list(backup.manifest.faults)
        try:
            record_backup(place=str(place), **said_of(backup))
        except DatabaseError as why:  # a disk that is full, or only read any more
            faults.append(f"it could not be put on record ({why})")
        if faults:
            lines = "\n".join(f"  {fault}" for fault in faults)
            raise CommandError(f"It was written, but:\n{lines}")


def _content(manifest) -> str:
    size = sum(size for _name, size, _digest in manifest.files) / BYTES_PER_MB
    newest = manifest.newest
    last = f"; the newest: {newest['form']} at {newest['at']}" if newest else ""
    return (
        f"{manifest.entries} acts, {len(manifest.files)} files ({size:.1f} MB){last}. "
        f"Seal {manifest.sealed[0]} {manifest.sealed[1]}"
    )


def _rule(text: str) -> tuple[int, int, int]:
    parts = text.split(",")
    if len(parts) != 3 or not all(p.isascii() and p.isdigit() for p in parts):
        raise CommandError("--keep: three numbers, as in 7,5,12.")
    return tuple(int(part) for part in parts)


def _copy_keys(keys: Path, place: Path) -> None:
    """Copy what nobody but the server may have; never into the place of backups."""
    from shop.serving.key_copies import copy_keys

    taken = (place, settings.HOME.resolve())
    if any(keys.resolve().is_relative_to(folder) for folder in taken):
        raise CommandError("--keys: another place than the backups and the records.")
    try:
        copy_keys(keys)
    except OSError as why:
        raise CommandError(f"--keys: {why.strerror}.") from None
