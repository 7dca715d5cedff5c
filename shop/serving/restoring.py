"""A backup becomes the records of an empty home, and says so ever after."""

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import Error as DatabaseFails
from django.db import connection, connections
from django.db.migrations.loader import MigrationLoader
from django.db.models import Max

from shop.atomic_files import sync_folder
from shop.ledger import file_store
from shop.ledger.verify import verify
from shop.models import Entry, Incarnation, Session

from . import server, table_copies
from .backup_files import Backup, NoBackup, keep_file, open_backup, passed_over
from .backups import damage_of, told_of
from .database import LaterVersion, holds_data, keep_private, refuse_later
from .other_databases import COPY, of_file, opened_as, records_in

RESTORED = "restored"
# What is being made of it lies beside the records until it holds.
PARTS = ("restoring.sqlite3", "restoring-files")


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

    The home must hold nothing, and nobody may work on it. despite: also where something
    does not hold, or where it is a plain copy. Nothing stays behind where it raises
    CannotRestore, but for what a lost answer of PostgreSQL leaves.
    """
    try:
        with server.hold_home(settings.HOME):
            refuse_full_home()
            if source.is_file():
                if not despite:
                    raise CannotRestore(plain_copy_words(source))
                return _restore(source, None, despite, say)
            backup = open_backup(source)
            for words in passed_over(source, backup):
                say(f"Passed over: {words}")
            return _restore_backup(backup, despite, say)
    except (NoBackup, server.CannotServe, LaterVersion) as why:
        raise CannotRestore(str(why)) from None
    except table_copies.NotEqual as why:
        raise CannotRestore(f"It did not arrive as it was: {why}.") from None
    except OSError as why:
        raise CannotRestore(f"Nothing was restored: {why.strerror}.") from None
    except DatabaseFails as why:
        raise CannotRestore(f"{source} cannot be restored ({why}).") from None


def _restore_backup(backup: Backup, despite: bool, say) -> Restored:
    known = set(MigrationLoader(None).disk_migrations)
    if unknown := sorted({tuple(key) for key in backup.manifest.migrations} - known):
        app, name = unknown[-1]
        raise CannotRestore(
            f"It is of a later release: it has the change {app} {name}, which this "
            "version does not know. Restore it with that version."
        )
    say(f"Checking {backup.folder} …")
    # Its ledger is verified where it arrives, as this version reads it.
    faults = damage_of(backup, lambda what: say(f"  {what}"))
    if faults and not despite:
        raise CannotRestore(_with_faults("It does not hold", faults))
    return _restore(backup.database, backup, despite, say)


def _with_faults(words: str, faults: list[str]) -> str:
    fault_lines = "\n".join(f"  {fault}" for fault in faults)
    return (
        f"{words}:\n{fault_lines}\nTake another backup, or restore what there is with "
        "--despite-faults."
    )


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
    # In a bucket what is there already is what its name says, and does no harm.
    if not settings.BUCKET and photos.is_dir() and any(photos.iterdir()):
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


def _restore(database: Path, backup: Backup | None, despite, say) -> Restored:
    part, files = (Path(settings.HOME) / name for name in PARTS)
    with contextlib.ExitStack() as ends:
        ends.callback(drop_parts)
        drop_parts()
        files.mkdir(mode=0o700)
        _copy_with_log(database, part)
        say("Restoring the files …")
        faults = _restore_files(backup, files) if backup else []
        with records_in(of_file(part), files):
            say("Checking what came …")
            # What a migration puts on record now is none of what came.
            last = Entry.objects.aggregate(last=Max("pk"))["last"] or 0
            faults += become_ours(faults)
            if faults and not despite:
                raise CannotRestore(_with_faults("What came does not hold", faults))
            acts = Entry.objects.filter(pk__lte=last)
            newest = acts.select_related("by").order_by("-pk").first()
            restored = Restored(acts.count(), told_of(newest), faults)
        move_in(part, files, say)
    return restored


def move_in(part: Path, files: Path, say) -> None:
    """Let what came be the records; the database last, which makes it a home. Where
    that fails the files are taken away again."""
    refuse_full_home()
    names = [path.relative_to(files).as_posix() for path in files.rglob("*.*")]
    try:
        _move_files_in(files, names)
        if connection.vendor != "sqlite":
            say("Copying into PostgreSQL …")
            with opened_as(COPY, of_file(part)):
                table_copies.copy_all(COPY, "default")
        else:
            connection.close()
            os.replace(part, connection.settings_dict["NAME"])
    except BaseException as why:
        if not _are_there():
            _take_away(names)
        elif isinstance(why, DatabaseFails):
            raise CannotRestore(
                "The database left before it said whether all came in. Look at the "
                "site: the records may be there, and the files were left for them."
            ) from why
        raise
    keep_private()
    sync_folder(Path(settings.HOME))


def _are_there() -> bool:
    """Whether the records came in all the same: the answer to a commit may be lost, and
    a hand may stop what is done already. Where nobody can tell, their files stay."""
    if connection.vendor == "sqlite":
        return Path(connection.settings_dict["NAME"]).exists()
    connection.close()
    try:
        return holds_data()
    except DatabaseFails:
        return True


def _move_files_in(files: Path, names: list[str]) -> None:
    root = settings.MEDIA_ROOT
    if not settings.BUCKET and root.parent == Path(settings.HOME):
        with contextlib.suppress(OSError):  # a mounted disk stays, and is filled below
            root.rmdir()
        if not root.exists():
            shutil.move(files, root)
            return
    for name in names:
        file_store.keep(name, (files / name).read_bytes())


def _take_away(names: list[str]) -> None:
    """Remove files from where nothing was before. What a bucket has does no harm."""
    root = settings.MEDIA_ROOT
    for name in names:
        with contextlib.suppress(OSError):
            (root / name).unlink()
    for folder in {(root / name).parent for name in names}:
        with contextlib.suppress(OSError):
            folder.rmdir()


def drop_parts() -> None:
    """What a restore that was cut off left, or this one leaves; nothing else."""
    part, files = (Path(settings.HOME) / name for name in PARTS)
    for end in ("", "-wal", "-shm", "-journal"):
        part.with_name(part.name + end).unlink(missing_ok=True)
    if files.is_dir():
        shutil.rmtree(files)


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


def _restore_files(backup: Backup, files: Path) -> list[str]:
    faults = []
    for name, _size, digest in backup.manifest.files:
        if why_not := keep_file(backup.store / name, files / name, digest):
            faults.append(f"{name} {why_not}")
    return faults


def become_ours(faults: list[str], reason: str = RESTORED) -> list[str]:
    """Bring the records up to this version, check them, and start a new incarnation."""
    refuse_later(MigrationLoader(connections["default"]))
    call_command("migrate", interactive=False, verbosity=0)
    new_faults = [fault for fault in verify().faults if fault not in faults]
    Session.objects.all().delete()
    Incarnation.objects.create(reason=reason)
    return new_faults
