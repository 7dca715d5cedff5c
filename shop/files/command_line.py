"""What commands that work from files have in common: bad input and how it is told.

Such a command ends with 3 on bad input, whether it lies in an option or in a file,
after saying where and why on standard error, and before it has written anything. It
ends with 4 when what it was asked for cannot be written (manage.py does the same for
what it prints).
"""

import argparse
import contextlib
import sys
from pathlib import Path

from shop.files.csv_table import Complaint

BAD_INPUT = 3
CANNOT_WRITE = 4
MOST_COMPLAINTS = 100


class BadInput(Exception):
    """Its text is what standard error should say."""

    code = BAD_INPUT


class CannotWrite(BadInput):
    """A file that was asked for cannot be written."""

    code = CANNOT_WRITE


def end_with_bad_input(parser: argparse.ArgumentParser, command: str) -> None:
    """Let wrong options end with 3, since 2 has a meaning of its own; tell of 4."""
    parser.epilog += f" Ends with {CANNOT_WRITE} if the answer cannot be written."

    def error(message: str):
        parser.exit(BAD_INPUT, f"{parser.format_usage()}{command}: {message}\n")

    parser.error = error


def lines_of(complaints: list[Complaint], file: Path) -> str:
    """One line per complaint, file:line: column: reason; the first hundred."""
    shown = [complaint.located(str(file)) for complaint in complaints[:MOST_COMPLAINTS]]
    if len(complaints) > MOST_COMPLAINTS:
        shown.append(f"{file}: and {len(complaints) - MOST_COMPLAINTS} more")
    return "\n".join(shown)


def say_and_end(command, bad: BadInput) -> None:
    """Tell it on the standard error of a Django command, and end with its code."""
    command.stderr.write(str(bad), style_func=str)
    sys.exit(bad.code)


def write_whole(target: Path, data: bytes) -> None:
    """Write a file whole, or leave what was there. Raises CannotWrite."""
    if not target.name:
        raise CannotWrite(f"{target}: cannot be written: this names no file")
    part = target.with_name(f"{target.name}.part")
    try:
        part.write_bytes(data)
        part.replace(target)
    except OSError as why:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise CannotWrite(f"{target}: cannot be written: {why.strerror}") from why
