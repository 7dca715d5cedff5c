"""Making a backup while people work, checking it, and which ones are kept."""

import contextlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from shop.atomic_files import sync_folder
from shop.environment import try_lock
from shop.ledger import file_store, perform
from shop.ledger.verify import Report, verify
from shop.models import Entry, Incarnation, Seal
from shop.models.backups import MADE
from shop.secret import private_folder

from . import table_copies
from .backup_files import (
    CHANGED,
    CONTENT,
    DATABASE,
    FILES,
    GONE,
    Backup,
    Manifest,
    content_of,
    every_backup,
    explained,
    fault_of_file,
    file_digest,
    is_whole,
    keep_file,
    remove,
    stamp,
    unsaid,
    whole_backups,
    write_manifest,
)
from .database import of_another_release, unreadable
from .other_databases import copy_database, of_file, records_in

OURS = ("shop", "qa")
LOCK = "making.lock"
BROKEN = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
MAKING = ".making-"


class CannotBackUp(Exception):
    """Why no backup was made, in words for whoever asked for one."""


# ---------------------------------------------------------------- making one


def make(
    place: Path,
    *,
    rule: tuple[int, int, int] | None = None,
    now: datetime | None = None,
) -> Backup:
    """Write a backup beside people who save, check it, and return it.

    Until all of it is on disk and was read back it does not count as one. What does
    not hold in the records is said in its manifest; it is kept all the same. rule: what
    is kept of those before it. Raises CannotBackUp.
    """
    try:
        refuse_useless(place)
        private_folder(place)
        with _alone(place):
            made = _make(place, now or datetime.now(UTC))
            if rule:
                _tidy(place, rule)
            return made
    except (OSError, sqlite3.Error, table_copies.NotEqual) as why:
        # Primary codes: the file of the records is cut off, or is none.
        broken = getattr(why, "sqlite_errorcode", 0) & 0xFF in BROKEN
        if broken or (isinstance(why, sqlite3.Error) and of_another_release()):
            raise CannotBackUp(unreadable(why)) from None
        words = getattr(why, "strerror", None) or why
        raise CannotBackUp(f"No backup in {place}: {words}.") from None


def refuse_useless(place: Path) -> None:
    """Raise CannotBackUp for a folder of the records, or of somebody else's things."""
    # A copy in the same folder, on the same disk, is lost with what it copies.
    if place.resolve().is_relative_to(settings.HOME):
        raise CannotBackUp(
            f"{place} lies inside of {settings.HOME}, which it would copy: name a "
            "folder on another disk."
        )
    if not place.is_dir() or (place / LOCK).exists() or whole_backups(place):
        return
    if any(place.iterdir()):
        raise CannotBackUp(f"{place} holds other things: name an empty folder.")


@contextlib.contextmanager
def _alone(place: Path):
    with (place / LOCK).open("a+b") as file:
        if not try_lock(file):
            raise CannotBackUp(f"Another backup is just being made in {place}.")
        yield


def is_being_made(place: Path) -> bool:
    """Whether somebody makes one there at this moment."""
    try:
        if not any(place.glob(f"{MAKING}*")):
            return False
        with (place / LOCK).open("r+b") as file:
            return not try_lock(file)
    except OSError:
        return False


def _make(place: Path, now: datetime) -> Backup:
    for cut_off in place.glob(f"{MAKING}*"):
        shutil.rmtree(cut_off, ignore_errors=True)
    store = place / FILES
    with tempfile.TemporaryDirectory(prefix=MAKING, dir=place) as part:
        folder = Path(part) / "whole"
        folder.mkdir(mode=0o700)
        copy_database(folder / DATABASE)
        # Files come first, acts that name them after: all that the copy names is here.
        files, left_out = _keep_files(store)
        manifest = _examine(folder / DATABASE, store, files, now)
        if manifest.faults and _heal(store, files):
            manifest = _examine(folder / DATABASE, store, files, now)
        manifest.faults[:] = explained(manifest.faults, left_out)
        write_manifest(folder, manifest)
        target = _free_name(place, stamp(now))
        os.replace(folder, target)
    sync_folder(place)
    return Backup(target, manifest)


def _free_name(place: Path, moment: str) -> Path:
    target, number = place / f"backup-{moment}", 1
    while target.exists():
        number += 1
        target = place / f"backup-{moment}-{number}"
    return target


def _keep_files(store: Path) -> tuple[list[list], dict[str, str]]:
    """Copy what the store lacks; return path, size and digest of all that it has, and
    of files that could not be copied why, by name: the others are kept.

    What is in the store is never written over but by what its name says: a picture that
    was damaged at home must not take the place of the good one.
    """
    kept, left_out = [], {}
    for name, size in file_store.names():
        if not CONTENT.fullmatch(name):
            continue
        target, digest = store / name, content_of(name)
        same = target.is_file() and target.stat().st_size == size
        why_not = "" if same else _copied(name, store)
        if not why_not or is_whole(target, digest):
            kept.append([name, target.stat().st_size, digest])
        elif why_not != GONE:
            left_out[name] = why_not
    return kept, left_out


def _copied(name: str, store: Path) -> str:
    """Why a file was not copied into the store, "" where it was. One that went
    meanwhile is named by no act."""
    try:
        with file_store.at_hand(name) as path:
            return keep_file(path, store / name, content_of(name))
    except FileNotFoundError:
        return GONE


def _heal(store: Path, files: list[list]) -> bool:
    """Write again what was damaged in the store; say whether anything was."""
    healed = False
    for name, _size, digest in files:
        if not is_whole(store / name, digest):
            with contextlib.suppress(OSError):
                healed |= not _copied(name, store)
    return healed


def _examine(database: Path, store: Path, files: list, now: datetime) -> Manifest:
    """Read the copy as if it were restored, and say what is in it."""
    # Only read: entries that wait for a seal get it where they live, in that order.
    with records_in(of_file(database, read_only=True), store):
        report = _verified()
        entry = Entry.objects.select_related("by").order_by("-pk").first()
        about = {
            "made_at": stamp(now),
            "incarnation": str(Incarnation.objects.latest("started_at").pk),
            "migrations": sorted(
                list(key)
                for key in MigrationRecorder(connection).applied_migrations()
                if key[0] in OURS
            ),
            "entries": report.entries,
            "sealed": [report.position, report.head],
            "newest": told_of(entry),
            "faults": list(report.faults),
        }
    return Manifest(database_sha256=file_digest(database), files=files, **about)


def told_of(entry: Entry | None) -> dict:
    if entry is None:
        return {}
    at = entry.received_at.astimezone(UTC).isoformat(timespec="seconds")
    return {"number": entry.pk, "form": entry.form, "by": entry.author, "at": at}


def _verified() -> Report:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA integrity_check(20)")
        rows = [row[0] for row in cursor.fetchall() if row[0] != "ok"]
    if rows:
        # SQLite names page after page, under a heading of its own.
        first = rows[0].splitlines()[-1]
        wrong = [f"the file of the database is damaged ({first})"]
        seal = Seal.objects.order_by("-position").first()
        at = (seal.position, seal.digest) if seal else (0, "")
        return Report(Entry.objects.count(), 0, 0, *at, 0, tuple(wrong))
    return verify()


def said_of(backup: Backup) -> dict:
    """What goes on record of a backup."""
    manifest = backup.manifest
    return {
        "folder": backup.folder.name,
        "made_at": manifest.made_at,
        "sealed": manifest.sealed,
        "acts": manifest.entries,
        "files": len(manifest.files),
        "faults": len(manifest.faults),
    }


def record_backup(*, place: str, **made) -> None:
    """Put a backup on record, or why there is none; nobody need have asked for it.

    made: problem, or folder, made_at, sealed, acts, files and faults of the backup.
    """
    with perform(MADE, by=None, said={"place": place, "problem": "", **made}):
        pass


# ---------------------------------------------------------------- checking one


def faults_of(backup: Backup, look: Callable[[str], None] = str) -> list[str]:
    """Read all of a backup and return what is wrong with it; nothing is changed."""
    faults = damage_of(backup, look)
    if backup.database.is_file() and not is_of_another_release(backup.manifest):
        look("the ledger")
        with records_in(of_file(backup.database, read_only=True), backup.store):
            try:
                report = _verified()
            except Exception as why:
                return [*faults, f"{backup.database} cannot be read ({why})"]
        faults += unsaid(report.faults, faults)
    return faults


def damage_of(backup: Backup, look: Callable[[str], None]) -> list[str]:
    """What was wrong with it when it was made, and what is no more what was written
    then: the records were verified as they are in what was written."""
    manifest, faults = backup.manifest, list(backup.manifest.faults)
    look("the database")
    if not backup.database.is_file():
        return [*faults, f"{backup.database} {GONE}"]
    if file_digest(backup.database) != manifest.database_sha256:
        faults.append(f"{backup.database} {CHANGED}")
    look("the files")
    for name, size, digest in manifest.files:
        faults += fault_of_file(backup.store / name, size, digest)
    return faults


def is_of_another_release(manifest: Manifest) -> bool:
    """Whether its tables are others than those that this version works with."""
    known = MigrationLoader(None).disk_migrations
    ours = {key for key in known if key[0] in OURS}
    return {tuple(key) for key in manifest.migrations} != ours


# ---------------------------------------------------------------- which are kept


def outlived(backups: list[Backup], rule: tuple[int, int, int]) -> list[Backup]:
    """Return the backups that no rule keeps any more.

    rule: how many days, weeks and months to keep the newest of. All of the last 24
    hours are kept, and the newest that holds, whatever its age.
    """
    ordered = sorted(backups, key=lambda backup: backup.manifest.when, reverse=True)
    if not ordered:
        return []
    newest = ordered[0].manifest.when
    stays = {backup.folder for backup in ordered if newest - backup.manifest.when < DAY}
    stays |= {*[backup.folder for backup in ordered if not backup.manifest.faults][:1]}
    for count, period in zip(rule, PERIODS, strict=True):
        newest_of = {}
        for backup in ordered:
            newest_of.setdefault(backup.manifest.when.strftime(period), backup.folder)
        stays |= set(list(newest_of.values())[:count])
    return [backup for backup in ordered if backup.folder not in stays]


DAY = timedelta(hours=24)
PERIODS = ("%Y-%m-%d", "%G-%V", "%Y-%m")


def _tidy(place: Path, rule: tuple[int, int, int]) -> None:
    """Remove what no rule keeps, and files of ours that no backup names."""
    gone = outlived(whole_backups(place), rule)
    for backup in gone:
        remove(backup)
    left = every_backup(place)
    # One that cannot be read may name any of the files.
    if gone and all(isinstance(backup, Backup) for backup in left):
        named = {name for backup in left for name, *_ in backup.manifest.files}
        for path in (place / FILES).glob("*/*"):
            name = path.relative_to(place / FILES).as_posix()
            if CONTENT.fullmatch(name) and name not in named:
                path.unlink()
