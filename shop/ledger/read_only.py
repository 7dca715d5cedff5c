"""Records on media that cannot be written: read as they lie."""

import os
from pathlib import Path

from django.db import DatabaseError, connection

# PostgreSQL: a write in a transaction, or a server, that only reads.
READ_ONLY_TRANSACTION = "25006"


def open_what_cannot_be_written() -> bool:
    """Let the connection only read when the database file, or its folder, is read-only.

    SQLite wants to make files beside a database even to read it. Where a log file lies
    beside it the newest acts are in there: then it is not told that nothing changes.
    """
    if connection.vendor != "sqlite":
        return False
    path = Path(connection.settings_dict["NAME"])
    if not path.is_file() or all(os.access(p, os.W_OK) for p in (path, path.parent)):
        return False
    log = path.with_name(f"{path.name}-wal")
    alone = "" if log.is_file() and log.stat().st_size else "&immutable=1"
    connection.close()
    connection.settings_dict["NAME"] = f"{path.as_uri()}?mode=ro{alone}"
    options = {**connection.settings_dict["OPTIONS"], "uri": True}
    # Both write: the mode of the journal, and a transaction that is to.
    options.pop("init_command", None)
    connection.settings_dict["OPTIONS"] = options
    return True


def refuses_writes(why: DatabaseError) -> bool:
    """Whether a statement failed because nothing can be written here."""
    state = getattr(why.__cause__, "sqlstate", "")
    return state == READ_ONLY_TRANSACTION or "readonly database" in str(why)
