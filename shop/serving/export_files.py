"""What an export is: one ZIP file that anybody can read without Fayline.

schema.json             each table, and of each column its type, unit and meaning
tables/shop_entry.jsonl one row a line, as a JSON object; the ledger is such tables
files/ab/abcd….jpg      photos and packs, each by the sha256 of its content
manifest.json           what is in it: of each file size and sha256; written last
"""

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from django.db.migrations.loader import MigrationLoader

from shop.ledger.canonical import canonical

FORMAT = "fayline-export/1"
MANIFEST, SCHEMA = "manifest.json", "schema.json"
OURS = ("shop", "qa")
CONTENT = re.compile(r"files/([0-9a-f]{2})/(\1[0-9a-f]{62})\.[a-z0-9]{1,8}")
TABLE = re.compile(r"tables/[a-z0-9_]{1,80}\.jsonl")
BLOCK = 2**20
# The longest row is a trace of a cure, or what an entry says of many rows.
LINE_MOST = 2**26
# Lists of what there is are read whole; nothing else is.
LIST_MOST = 2**26
# What is packed tighter was made to fill a disk: rows shrink to a fiftieth at most.
TIGHTEST = 300
SMALL = 2**26
DAMAGED = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,  # a way to pack that we do not know
    RuntimeError,  # a member with a password
    KeyError,
    ValueError,
    RecursionError,
    TypeError,
)


class NoExport(Exception):
    """Why this is no export, or not as it was written, in words for whoever asked."""


@dataclass(frozen=True)
class Manifest:
    """What one export holds.

    head: position and digest of the newest seal. tables: of each its rows and a digest
    of them all. files: of each member its size and sha256. secrets: whether what lets
    people in is there. lacking: files that records name and that were gone.
    """

    made_at: str
    incarnation: str
    migrations: list[list[str]]
    head: list
    entries: int
    secrets: bool
    tables: dict[str, list]
    files: dict[str, list]
    lacking: list[str]
    format: str = FORMAT

    def text(self) -> str:
        content = asdict(self)
        content["sha256"] = _digest(content)
        return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False)


def _digest(manifest: dict) -> str:
    return hashlib.sha256(canonical(manifest).encode()).hexdigest()


def our_migrations() -> list[list[str]]:
    """Return which schema this version works with."""
    known = MigrationLoader(None).disk_migrations
    return sorted([app, name] for app, name in known if app in OURS)


class Opened:
    """An export that was opened, and whose manifest is as it was written.

    Of any file nothing is unpacked by its name: a name is looked up or refused.
    """

    def __init__(self, path: Path):
        self.path = path
        try:
            self._zip = zipfile.ZipFile(path)
        except FileNotFoundError:
            raise NoExport(f"There is no file {path}.") from None
        except OSError as why:
            raise NoExport(f"{path} cannot be read: {why.strerror}.") from None
        except DAMAGED as why:
            raise NoExport(f"{path} is no whole ZIP file ({why}).") from None
        self._members = {}
        for member in self._zip.infolist():
            if member.filename in self._members:
                raise NoExport(f"{path} has two files {member.filename!r}.")
            self._members[member.filename] = member
        self.manifest = self._read_manifest()

    def __enter__(self):
        return self

    def __exit__(self, *exception):
        self._zip.close()

    def _read_manifest(self) -> Manifest:
        if MANIFEST not in self._members:
            raise NoExport(
                f"{self.path} is no export: it has no {MANIFEST}, which is written "
                "last. It was cut off, or is something else."
            )
        content = self.read_list(MANIFEST)
        try:
            digest = content.pop("sha256")
            if content.get("format") != FORMAT:
                raise NoExport(
                    f"{self.path} is of the format {content.get('format')!r}; this "
                    f"version reads {FORMAT!r}."
                )
            if _digest(content) != digest:
                raise NoExport(f"{MANIFEST} was changed since it was written.")
            return Manifest(**content)
        except (KeyError, TypeError, AttributeError, ValueError) as why:
            raise NoExport(f"{MANIFEST} cannot be read ({why!r}).") from None

    def read_list(self, name: str):
        """Return the content of a small member, read whole."""
        with self.reading(name):
            if self._members[name].file_size > LIST_MOST:
                raise NoExport(f"{name} is larger than any that we write.")
            with self._zip.open(name) as file:
                return json.loads(file.read(LIST_MOST))

    def reading(self, name: str):
        return _Reading(name)

    def size(self) -> int:
        return sum(member.file_size for member in self._members.values())

    def refuse_odd(self) -> None:
        """Raise NoExport where there is more or less than the manifest names, where a
        name is none of ours, or where it would unpack to far more than it is."""
        named = set(self.manifest.files)
        there = set(self._members) - {MANIFEST}
        for name in sorted(there | named):
            ours = name == SCHEMA or TABLE.fullmatch(name) or CONTENT.fullmatch(name)
            if not ours:
                raise NoExport(f"It holds a file that is none of ours: {name!r}.")
            if name not in named:
                raise NoExport(f"{name} is in it and not in its manifest.")
            if name not in there:
                raise NoExport(f"{name} is gone from it.")
        if self.size() > max(SMALL, TIGHTEST * self.path.stat().st_size):
            raise NoExport(
                "It would unpack to more than any export does: it was made to fill a "
                "disk."
            )

    def faults(self) -> Iterator[str]:
        """Read every byte and give what is not as it was written."""
        for name, (size, digest) in self.manifest.files.items():
            digest_read = hashlib.sha256()
            try:
                with self.reading(name):
                    for block in self.blocks(name):
                        digest_read.update(block)
            except NoExport as why:
                yield str(why)
                continue
            whole = self._members[name].file_size == size
            content = CONTENT.fullmatch(name)
            if not whole or digest_read.hexdigest() != digest:
                yield f"{name} is not what was written"
            elif content and content[2] != digest:
                yield f"{name} does not hold what its name says"

    def blocks(self, name: str) -> Iterator[bytes]:
        with self._zip.open(name) as file:
            while block := file.read(BLOCK):
                yield block

    def open(self, name: str):
        return self._zip.open(name)


class _Reading:
    """Tell in our words what is wrong with a member that cannot be read."""

    def __init__(self, name: str):
        self._name = name

    def __enter__(self):
        return self

    def __exit__(self, kind, why, _trace):
        if isinstance(why, OSError):
            raise NoExport(f"{self._name} cannot be read: {why.strerror}.") from None
        if isinstance(why, DAMAGED):
            raise NoExport(f"{self._name} is damaged ({why}).") from None
