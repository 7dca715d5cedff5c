"""Databases beside the one that is served: a file read as if it were that one, and a
copy of all of it at one moment."""

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.db import ConnectionHandler, connection, connections

from shop.ledger.snapshot import snapshot

from . import table_copies

COPY = "backup"
PAGES = 1000  # that are copied at a time: 4 MB
LONGEST_PAUSE = 0.2  # s, between them


def of_file(path: Path, *, read_only: bool = False) -> dict:
    """Return the settings of a database in an SQLite file; one file and no log."""
    options = {"timeout": 20, "transaction_mode": "IMMEDIATE"}
    name = str(path)
    if read_only:
        options = {"uri": True}
        name = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    return {"ENGINE": "django.db.backends.sqlite3", "NAME": name, "OPTIONS": options}


@contextlib.contextmanager
def opened_as(alias: str, database: dict) -> Iterator[None]:
    """Let a second database be known by an alias, and close it in the end."""
    made = ConnectionHandler({"default": {}, alias: database})
    connections.settings[alias] = made.settings[alias]
    try:
        yield
    finally:
        connections[alias].close()
        del connections[alias], connections.settings[alias]


@contextlib.contextmanager
def records_in(database: dict, files: Path) -> Iterator[None]:
    """Let this process read other records than its own: a command, never a server."""
    mine, media = connections["default"], (settings.MEDIA_ROOT, settings.BUCKET)
    connections["default"] = ConnectionHandler({"default": database})["default"]
    settings.MEDIA_ROOT, settings.BUCKET = files, ""
    try:
        yield
    finally:
        connections["default"].close()
        connections["default"] = mine
        settings.MEDIA_ROOT, settings.BUCKET = media


def copy_database(target: Path) -> None:
    """Write all of the database at one moment; nobody waits for it."""
    target.touch(mode=0o600)
    if connection.vendor != "sqlite":
        with snapshot(), opened_as(COPY, of_file(target)):
            table_copies.copy_all("default", COPY)
    else:
        # With a connection of its own, which reads one moment: beside the writers.
        source = f"{Path(connection.settings_dict['NAME']).resolve().as_uri()}?mode=ro"
        with (
            target.open("r+b") as file,
            contextlib.closing(sqlite3.connect(source, uri=True, timeout=20)) as here,
            contextlib.closing(sqlite3.connect(target)) as there,
        ):
            here.isolation_level = None
            here.execute("BEGIN")
            here.execute("SELECT 1 FROM sqlite_master").fetchone()
            here.backup(there, pages=PAGES, progress=lambda *_: _settle(file), sleep=0)
            here.execute("ROLLBACK")
            there.execute("PRAGMA journal_mode=DELETE")
            # The key of a session is all that it takes to be that person.
            there.execute("PRAGMA secure_delete=ON")
            there.execute("DELETE FROM shop_session")
            there.commit()
    with target.open("rb") as file:
        os.fsync(file.fileno())


def _settle(file) -> None:
    """Have what was copied on disk, and leave the disk to others for as long: all of a
    large copy at once would keep everybody's saves waiting."""
    start = time.monotonic()
    os.fsync(file.fileno())
    time.sleep(min(time.monotonic() - start, LONGEST_PAUSE))
