"""What the database or the disk refused, in words, with the status that says it."""

import errno
import shutil
from dataclasses import dataclass

from django.conf import settings
from django.db import DataError, IntegrityError, InterfaceError, OperationalError
from django.db import Error as DatabaseFails
from django.utils.translation import gettext as _

# With less left on the disk an act may still fit and its photo no longer.
LEAST_FREE = 50_000_000
NO_ROOM = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
# What SQLite says of a file that is not whole any more, and of one that is not the one.
DAMAGED = ("malformed", "not a database", "disk i/o")
OTHER = ("no such table", "no such column")
# PostgreSQL: undefined table, undefined column.
OTHER_STATES = ("42P01", "42703")
# PostgreSQL: connection exceptions, and what ends a connection or lets none begin.
NO_CONNECTION = ("08", "57P")


@dataclass(frozen=True)
class Failing:
    """status and code for programs, title and message for people, short where there is
    little room: at the tablet. certain: whether nothing was saved; where the answer to
    a commit was lost nobody knows."""

    status: int
    code: str
    title: str
    message: str
    short: str
    certain: bool = True


def what_failed(error: BaseException) -> Failing | None:
    """Return what is wrong with database or disk; None for a fault of the program."""
    if isinstance(error, DatabaseFails):
        return _of_database(error)
    number = error.errno if isinstance(error, OSError) else None
    if number in NO_ROOM:
        return full()
    if number == errno.EROFS:
        return read_only()
    return _disk_fails() if number == errno.EIO else None


def _of_database(error: DatabaseFails) -> Failing | None:
    # What it says of values repeats them, and they may read as anything.
    if isinstance(error, IntegrityError | DataError):
        return None
    message = str(error).lower()
    if "disk is full" in message or "no space left" in message or _is_disk_full(error):
        return full()
    if "readonly" in message or "read-only" in message:
        return read_only()
    if any(words in message for words in DAMAGED):
        return damaged()
    if any(words in message for words in OTHER) or _state(error) in OTHER_STATES:
        return of_another_version()
    if not isinstance(error, OperationalError | InterfaceError):
        return None
    if _has_no_connection(error) or "unable to open" in message:
        return away()
    return busy()


def _has_no_connection(error: BaseException) -> bool:
    """Whether PostgreSQL is not there, or left: of anything else it says a state."""
    if not hasattr(error.__cause__, "sqlstate"):
        return isinstance(error, InterfaceError)
    return (error.__cause__.sqlstate or NO_CONNECTION[0]).startswith(NO_CONNECTION)


def _is_disk_full(error: BaseException) -> bool:
    # PostgreSQL: class 53, insufficient resources; 53100 disk full.
    return _state(error) == "53100"


def _state(error: BaseException) -> str:
    """What PostgreSQL calls an error; "" where it says nothing."""
    return getattr(error.__cause__, "sqlstate", "") or ""


def full() -> Failing:
    return Failing(
        507,
        "no_room",
        _("The disk is full"),
        _("The disk of the server is full: nothing more can be saved. Tell the lead."),
        _("server's disk full"),
    )


def read_only() -> Failing:
    return Failing(
        503,
        "read_only",
        _("Nothing can be saved"),
        _("What the server keeps cannot be written. Tell the shop lead."),
        _("server cannot save"),
    )


def damaged() -> Failing:
    return Failing(
        503,
        "damaged",
        _("The database is damaged"),
        _("Stop the server and restore a copy. Tell the shop lead at once."),
        _("database damaged"),
    )


def of_another_version() -> Failing:
    return Failing(
        503,
        "other",
        _("The database is not the one that this version knows"),
        _(
            "Tell the shop lead: stop the server. If a new version was put in, run "
            "manage.py migrate; if the file of the database is gone, restore a copy."
        ),
        _("database of another version"),
    )


def away() -> Failing:
    return Failing(
        503,
        "away",
        _("The database does not answer"),
        _("The database does not answer: try again soon, or tell the shop lead."),
        _("database does not answer"),
        certain=False,
    )


def busy() -> Failing:
    return Failing(
        503,
        "busy",
        _("The database is busy"),
        _("The database is busy: try again."),
        _("server busy"),
    )


def _disk_fails() -> Failing:
    return Failing(
        503,
        "disk",
        _("The disk of the server fails"),
        _("A file cannot be read or written. Tell the shop lead at once."),
        _("server's disk fails"),
    )


def has_room() -> bool:
    """Whether the disk that holds the data has room for more than a few acts."""
    return shutil.disk_usage(settings.HOME).free >= LEAST_FREE
