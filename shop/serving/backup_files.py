"""What a backup is on disk: a folder for each, and one store of files for all.

    DIR/files/ab/abcd….jpg                   photos, each once, by content
    DIR/backup-20261129T061500Z/
        fayline.sqlite3                      the database, whole
        manifest.json                        what it holds; written last

A folder without a manifest is none: it was cut off while it was made.
"""

import hashlib
import json
import re
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from itertools import takewhile
from pathlib import Path

from shop.atomic_files import sync_folder, write_durably
from shop.ledger.canonical import canonical

FORMAT = "fayline-backup/1"
DATABASE = "fayline.sqlite3"
MANIFEST = "manifest.json"
FILES = "files"
NAME = re.compile(r"backup-(\d{8}T\d{6}Z)(-\d+)?")
STAMP = "%Y%m%dT%H%M%SZ"
# How a file that is kept by its content is named; nothing else is copied or removed.
CONTENT = re.compile(r"([0-9a-f]{2})/(\1[0-9a-f]{62})\.[a-z0-9]+")


class NoBackup(Exception):
    """Why this is no backup, or not a whole one."""


@dataclass(frozen=True)
class Manifest:
    """What one backup holds, as it was found when it was written.

    sealed: position and digest of the newest seal. newest: form, author and time of the
    newest act ("" in an empty shop). files: path in the store, size in bytes, sha256.
    faults: what `ledger verify` said of the copy; nothing where all holds.
    """

    made_at: str
    incarnation: str
    migrations: list[list[str]]
    database_sha256: str
    entries: int
    sealed: list
    newest: dict
    files: list[list]
    faults: list[str] = field(default_factory=list)
    format: str = FORMAT

    @property
    def when(self) -> datetime:
        return datetime.strptime(self.made_at, STAMP).replace(tzinfo=UTC)


def stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime(STAMP)


def write_manifest(folder: Path, manifest: Manifest) -> None:
    content = asdict(manifest)
    content["sha256"] = hashlib.sha256(canonical(content).encode()).hexdigest()
    text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False)
    write_durably(folder / MANIFEST, text.encode())


def read_manifest(folder: Path) -> Manifest:
    """Return what a backup says of itself; NoBackup where it is damaged or none."""
    path = folder / MANIFEST
    try:
        content = json.loads(path.read_text("utf-8"))
        digest = content.pop("sha256")
    except FileNotFoundError:
        raise NoBackup(f"{folder} is no backup: it has no {MANIFEST}.") from None
    except (OSError, ValueError, KeyError, AttributeError) as why:
        raise NoBackup(f"{path} cannot be read ({why}).") from None
    if content.get("format") != FORMAT:
        known = f"{content.get('format')!r}, this version knows {FORMAT!r}"
        raise NoBackup(f"{path} is of the format {known}.")
    if hashlib.sha256(canonical(content).encode()).hexdigest() != digest:
        raise NoBackup(f"{path} was changed since it was written.")
    manifest = Manifest(**content)
    if odd := [name for name, *_ in manifest.files if not CONTENT.fullmatch(name)]:
        raise NoBackup(f"{path} names a file that is none of ours: {odd[0]!r}.")
    return manifest


@dataclass(frozen=True)
class Backup:
    folder: Path
    manifest: Manifest

    @property
    def store(self) -> Path:
        return self.folder.parent / FILES

    @property
    def database(self) -> Path:
        return self.folder / DATABASE


def open_backup(folder: Path) -> Backup:
    """Return the backup in a folder, or the newest of those in it; NoBackup if none."""
    if not folder.is_dir():
        raise NoBackup(f"There is no folder {folder}.")
    if not (folder / MANIFEST).exists() and (inside := every_backup(folder)):
        whole = [backup for backup in inside if isinstance(backup, Backup)]
        if not whole:
            raise inside[0]
        return whole[0]
    return Backup(folder, read_manifest(folder))


def passed_over(place: Path, backup: Backup) -> list[str]:
    """What is to be said of the newer ones in a place that cannot be read, where its
    newest backup was asked for."""
    if backup.folder == place:
        return []
    newer = takewhile(lambda other: isinstance(other, NoBackup), every_backup(place))
    return [str(why) for why in newer]


def whole_backups(place: Path) -> list[Backup]:
    """Return the backups in a place that can be read, the newest first."""
    return [backup for backup in every_backup(place) if isinstance(backup, Backup)]


def every_backup(place: Path) -> list[Backup | NoBackup]:
    """Return the backups in a place, the newest first; for one that is damaged, why."""
    backups = []
    for folder in sorted(_folders(place), key=lambda folder: folder.name, reverse=True):
        try:
            backups.append(Backup(folder, read_manifest(folder)))
        except NoBackup as why:
            backups.append(why)
    return backups


def _folders(place: Path) -> Iterator[Path]:
    for folder in place.iterdir() if place.is_dir() else ():
        if NAME.fullmatch(folder.name) and folder.is_dir():
            yield folder


def file_digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def content_of(name: str) -> str:
    """The digest that a file says by its name to have."""
    return CONTENT.fullmatch(name)[2]


def is_whole(path: Path, digest: str) -> bool:
    """Whether a file is there and holds what its name says."""
    try:
        return file_digest(path) == digest
    except OSError:
        return False


GONE, UNREAD, CHANGED = "is gone", "cannot be read", "is not what was written"


def explained(faults: Iterable[str], left_out: dict[str, str]) -> list[str]:
    """What does not hold in a copy, where it says that a file is gone that was there
    and could not be copied: why not. left_out: that, by name of the file."""
    explained_faults, named = [], set()
    for fault in faults:
        whose, _, name = fault.removesuffix(f" {GONE}").rpartition(" ")
        if fault.endswith(GONE) and name in left_out:
            named.add(name)
            fault = f"{whose} {name} {left_out[name]}"
        explained_faults.append(fault)
    # Of a disk that fails all is told, also of what no act names.
    unread = {name: why for name, why in left_out.items() if why.startswith(UNREAD)}
    return [
        f"{name} {unread[name]}" for name in unread if name not in named
    ] + explained_faults


def unsaid(faults: Iterable[str], explanations: list[str]) -> list[str]:
    """Those of which nothing was told yet: not that a file is gone from a copy, where
    it was told why it could not be copied."""
    return [
        fault
        for fault in faults
        if fault not in explanations
        and not (
            fault.endswith(GONE)
            and any(
                words.startswith(fault.removesuffix(GONE)) for words in explanations
            )
        )
    ]


def fault_of_file(path: Path, size: int, digest: str) -> list[str]:
    """What is wrong with a copied file, in words; nothing where it is whole."""
    try:
        if path.stat().st_size == size and file_digest(path) == digest:
            return []
    except FileNotFoundError:
        return [f"{path} {GONE}"]
    except OSError as why:
        return [f"{path} cannot be read ({why.strerror})"]
    return [f"{path} {CHANGED}"]


def keep_file(source: Path, target: Path, digest: str) -> str:
    """Copy a file durably if it holds what it should; say why it does not, else "".

    What does not is not copied: the target may be the only good one there is. Raises
    OSError where the target cannot be written.
    """
    try:
        data = source.read_bytes()
    except FileNotFoundError:
        return GONE
    except OSError as why:
        return f"{UNREAD} ({why.strerror})"
    if hashlib.sha256(data).hexdigest() != digest:
        return CHANGED
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    write_durably(target, data)
    return ""


def remove(backup: Backup) -> None:
    """Take a backup away: first what makes it one, so that no half of it counts."""
    (backup.folder / MANIFEST).unlink()
    sync_folder(backup.folder)
    shutil.rmtree(backup.folder)
