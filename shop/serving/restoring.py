"""A backup becomes the records of an empty home, and says so ever after."""

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection, connections

from shop.ledger.verify import verify
from shop.models import Entry, Incarnation

from . import table_copies
from .backup_files import Backup, NoBackup, keep_file, open_backup
from .backups import COPY, faults_of, of_file, opened_as, records_in, told_of
from .database import holds_data, keep_private, refuse_later

RESTORED = "restored"


class CannotRestore(Exception):
    """Why nothing was restored, in words for whoever asked for it."""


@dataclass(frozen=True)
class Restored:
    """What came back: how many acts, which is the newest, what does not hold."""

    entries: int
    newest: dict
    faults: list[str]


def restore(source: Path, *, despite: bool, say: Callable[[str], None]) -> Restored:
    """Make a backup, or a plain copy of a database file, the records of this home.

    The home must hold nothing. despite: also where something in it does not hold, or
    where it is a plain copy. Nothing is changed where it raises CannotRestore.
    """
    refuse_full_home()
    try:
        if source.is_file():
            if not despite:
                raise CannotRestore(plain_copy_words(source))
            return _restore(source, None, say)
        backup = open_backup(source)
    except NoBackup as why:
        raise CannotRestore(str(why)) from None
    say(f"Checking {backup.folder} …")
    faults = faults_of(backup, lambda what: say(f"  {what}"))
    if faults and not despite:
        told = "\n".join(f"  {fault}" for fault in faults)
        raise CannotRestore(
            f"It does not hold:\n{told}\nTake another backup, or restore what there is "
            "with --despite-faults."
        )
    return _restore(backup.database, backup, say)


def refuse_full_home() -> None:
    """Raise CannotRestore unless there is nothing that could be overwritten."""
    if connection.vendor == "sqlite":
        path = Path(connection.settings_dict["NAME"])
        if path.exists():
            raise CannotRestore(
                f"{path} is there already. Restore into an empty home: let "
                "FAYLINE_HOME name another folder, or move that one away."
            )
    elif holds_data():
        raise CannotRestore(
            "That database holds records already. Restore into an empty one."
        )
    photos = settings.MEDIA_ROOT
    if photos.is_dir() and any(photos.iterdir()):
        raise CannotRestore(f"{photos} holds files already. Move that folder away.")


def plain_copy_words(path: Path) -> str:
    """What is to be said of a database file that no backup wrote."""
    with path.open("rb") as file:
        head = file.read(20)
    if not head.startswith(b"SQLite format 3\0"):
        return f"{path} is neither a backup nor a database."
    log = path.with_name(f"{path.name}-wal")
    lost = (
        f"Its log {log.name} lies beside it and is taken along."
        if log.exists()
        else "There is no log beside it: what was saved last stood in there and is "
        "lost, if the copy was made while the site was in use."
        if head[18:20] == b"\x02\x02"
        else "It was closed in good order."
    )
    return (
        f"{path} is a plain copy of a database, not a backup: nothing says what it "
        f"should hold, and photos are not in it. {lost} To restore it all the same: "
        "--despite-faults."
    )


def _restore(database: Path, backup: Backup | None, say) -> Restored:
    home = Path(settings.HOME)
    part = home / "restoring.sqlite3"
    with contextlib.ExitStack() as ends:
        ends.callback(_drop, part)
        _drop(part)
        _copy_with_log(database, part)
        say("Restoring the files …")
        faults = _restore_files(backup) if backup else []
        with records_in(of_file(part), settings.MEDIA_ROOT):
            say("Checking what came …")
            faults += _become_ours(faults)
            entry = Entry.objects.select_related("by").order_by("-pk").first()
            told = Restored(Entry.objects.count(), told_of(entry), faults)
        if connection.vendor == "sqlite":
            connection.close()
            os.replace(part, connection.settings_dict["NAME"])
            keep_private()
        else:
            say("Copying into PostgreSQL …")
            with opened_as(COPY, of_file(part)):
                table_copies.copy_all(COPY, "default")
    return told


def _drop(part: Path) -> None:
    for path in part.parent.glob(f"{part.name}*"):
        path.unlink()


def _copy_with_log(source: Path, target: Path) -> None:
    """Copy a database file and what its log holds, and leave the source as it is."""
    target.touch(mode=0o600)
    shutil.copyfile(source, target)
    log = source.with_name(f"{source.name}-wal")
    if log.exists():
        shutil.copyfile(log, target.with_name(f"{target.name}-wal"))
    try:
        with contextlib.closing(sqlite3.connect(target)) as copy:
            copy.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.Error as why:
        raise CannotRestore(f"{source} cannot be read ({why}).") from None


def _restore_files(backup: Backup) -> list[str]:
    faults = []
    for name, _size, digest in backup.manifest.files:
        try:
            _, found = keep_file(backup.store / name, settings.MEDIA_ROOT / name)
        except OSError as why:
            faults.append(f"{name}: {why.strerror}")
            continue
        if found != digest:
            faults.append(f"{name} is not what was written")
    return faults


def _become_ours(faults: list[str]) -> list[str]:
    """Bring the records up to this version, check them, and start a new incarnation."""
    from django.db.migrations.loader import MigrationLoader  # noqa: PLC0415

    refuse_later(MigrationLoader(connections["default"]))
    call_command("migrate", interactive=False, verbosity=0)
    found = [fault for fault in verify().faults if fault not in faults]
    Session.objects.all().delete()
    Incarnation.objects.create(reason=RESTORED)
    return found
