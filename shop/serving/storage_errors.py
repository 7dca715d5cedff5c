"""What the database or the disk refused, in words, with the status that says it."""

import errno
import shutil
from dataclasses import dataclass

from django.conf import settings
from django.db import DatabaseError, InterfaceError, OperationalError
from django.utils.translation import gettext as _

# With less left on the disk an act may still fit and its photo no longer.
LEAST_FREE = 50_000_000
NO_ROOM = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))


@dataclass(frozen=True)
class Failing:
    """status and code for programs, title and message for people."""

    status: int
    code: str
    title: str
    message: str


def what_failed(error: BaseException) -> Failing | None:
    """Return what is wrong with database or disk; None for a fault of the program."""
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        return full()
    if not isinstance(error, DatabaseError):
        return None
    message = str(error).lower()
    if "disk is full" in message or "no space left" in message or _is_disk_full(error):
        return full()
    if "readonly" in message or "read-only" in message:
        return Failing(
            503,
            "read_only",
            _("Nothing can be saved"),
            _("The database cannot be written. Tell the shop lead."),
        )
    if "malformed" in message or "not a database" in message or "disk i/o" in message:
        return Failing(
            503,
            "damaged",
            _("The database is damaged"),
            _("Stop the server and restore a copy. Tell the shop lead at once."),
        )
    if isinstance(error, OperationalError | InterfaceError):
        return Failing(
            503,
            "busy",
            _("The database is busy"),
            _("The database is busy: try again."),
        )
    return None


def _is_disk_full(error: BaseException) -> bool:
    # PostgreSQL: class 53, insufficient resources; 53100 disk full.
    return getattr(error.__cause__, "sqlstate", "") == "53100"


def full() -> Failing:
    return Failing(
        507,
        "no_room",
        _("The disk is full"),
        _("The disk of the server is full: nothing more can be saved. Tell the lead."),
    )


def has_room() -> bool:
    """Whether the disk that holds the data has room for more than a few acts."""
    return shutil.disk_usage(settings.HOME).free >= LEAST_FREE
