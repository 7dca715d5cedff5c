"""What commands that work from files have in common: bad input and how it is told.

Such a command ends with 3 on bad input, whether it lies in an option or in a file,
after saying where and why on standard error, and before it has written anything.
"""

import argparse
import sys
from pathlib import Path

from shop.forms.table import Complaint

BAD_INPUT = 3
MOST_COMPLAINTS = 100


class BadInput(Exception):
    """Its text is what standard error should say."""


def end_with_bad_input(parser: argparse.ArgumentParser, command: str) -> None:
    """Let wrong options end with 3, since 2 has a meaning of its own."""

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
    """Tell bad input on the standard error of a Django command, and end with 3."""
    command.stderr.write(str(bad), style_func=str)
    sys.exit(BAD_INPUT)
