"""The log of the server: JSON, a line each, in files that never grow beyond a limit.

FAYLINE_LOG says where to: a folder, `-` for standard error, `none`; without it the
folder `log` of the home. `errors.log` beside it holds only what went wrong: the lead is
told of it.
"""

import json
import logging
import os
import stat
import sys
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path

from django.conf import settings

from shop.environment import try_lock
from shop.request_log import hide, present_id

# 30 MB and 3 MB at most, of each server that works on this home.
ALL, ERRORS = ("fayline", 5_000_000, 5), ("errors", 1_000_000, 2)
NONE, STANDARD_ERROR = "none", "-"
# What is told at all times; others only from a warning on.
OURS = ("fayline.requests", "fayline.acts", "fayline.server")
MOST_SERVERS = 64
log = logging.getLogger("fayline.server")
# Of this process: what it writes with, and what keeps its number.
_open: list[logging.Handler] = []
_held: list = []


class Lines(logging.Formatter):
    """One JSON object a line: at, level, name, message, request, and what was told."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC)
        line = {
            "at": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "name": record.name,
            "message": hide(record.getMessage()),
        }
        if request := present_id():
            line["request"] = request
        line |= getattr(record, "fields", {})
        if record.exc_info:
            line["error"] = hide(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False, default=str)


class Kept(RotatingFileHandler):
    """A file for its owner only; a full disk loses lines and nothing else.

    Each line is put together once; the usual handler does so twice, to weigh it first.
    """

    def _open(self):
        handle = os.open(
            self.baseFilename, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600
        )
        return os.fdopen(handle, self.mode, encoding=self.encoding, errors="replace")

    def emit(self, record):
        try:
            line = f"{self.format(record)}\n"
            if self.stream is None:  # no other file could take its place before
                self.stream = self._open()
            there = os.fstat(self.stream.fileno())
            more = len(line.encode(errors="replace"))
            # A device takes no other place.
            if there.st_size + more > self.maxBytes and stat.S_ISREG(there.st_mode):
                self.doRollover()
            self.stream.write(line)
            self.flush()
        except Exception:
            self.handleError(record)

    def handleError(self, record):
        """Say nothing: standard error may lie on the same disk."""


def start() -> None:
    """Write the log of this process from now on, where the shop wants it."""
    root = logging.getLogger()
    for handler in _handlers():
        handler.setFormatter(Lines())
        root.addHandler(handler)
        _open.append(handler)
    for name in OURS:
        logging.getLogger(name).setLevel(logging.INFO)
    log.info("started", extra={"fields": {"process": os.getpid()}})


def stop() -> None:
    """Write the last line, and let another server have this one's number."""
    log.info("stopped", extra={"fields": {"process": os.getpid()}})
    for name in OURS:
        logging.getLogger(name).setLevel(logging.NOTSET)
    for handler in _open:
        logging.getLogger().removeHandler(handler)
        handler.close()
    for file in _held:
        file.close()
    _open.clear()
    _held.clear()


def _handlers() -> list[logging.Handler]:
    if settings.LOG == NONE:
        return []
    if settings.LOG == STANDARD_ERROR:
        for usual in logging.getLogger().handlers:  # or it says all of it twice
            usual.setLevel(logging.CRITICAL + 1)
        return [logging.StreamHandler(sys.stderr)]
    try:
        folder = Path(settings.LOG)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        number = _own_number(folder)
        handlers = [_kept(folder, number, *which) for which in (ALL, ERRORS)]
    except OSError as why:
        logging.getLogger(__name__).warning("no log is kept: %s", why)
        return []
    handlers[1].setLevel(logging.ERROR)
    return handlers


def _kept(folder: Path, number: int, name: str, size: int, count: int) -> Kept:
    path = folder / (f"{name}.log" if number == 1 else f"{name}-{number}.log")
    return Kept(path, maxBytes=size, backupCount=count, encoding="utf-8", delay=False)


def _own_number(folder: Path) -> int:
    """A number that no other server here has: two would rotate each other's files."""
    for number in range(1, MOST_SERVERS):
        file = (folder / f".log-{number}.lock").open("a+b")
        if try_lock(file):
            _held.append(file)
            return number
        file.close()
    raise OSError("too many servers write their log here")
