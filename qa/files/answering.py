"""Commands that answer from one file of measured values, without a database.

They end with 0 when they answered, 2 when the file does not tell (the JSON object is
there, null where nothing can be had, and standard error says why), 3 on bad input.
"""

import argparse
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from qa.files.measured_values import measured
from shop.files.command_line import Answer, FileCommand, reading_file
from shop.files.csv_table import Complaint, FileComplaints, read_file

CANNOT_TELL = 2


@dataclass(frozen=True)
class ValuesAnswer:
    """One JSON object, the same in lines for people, and why it tells nothing."""

    plain: dict
    lines: list[str]
    why: str | None = None


class ValuesCommand(FileCommand):
    """FILE.csv and --json; a command adds its options and `answer_from`."""

    exit_help = "Exit code: 0 answered; 2 cannot tell; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("file", metavar="FILE.csv", type=Path)

    def answer_from(self, data: bytes, options: dict) -> ValuesAnswer:
        """What the file says. FileComplaints or ValueError for what it cannot use."""
        raise NotImplementedError

    def answer(self, options):
        path = options["file"]
        with reading_file(path):
            try:
                values_answer = self.answer_from(read_file(path), options)
            except FileComplaints:
                raise
            except ValueError as why:
                raise FileComplaints([Complaint(str(why))]) from why
        if values_answer.why is None:
            return Answer(values_answer.plain, values_answer.lines)
        note = f"{path}: cannot tell: {values_answer.why}"
        return Answer(values_answer.plain, values_answer.lines, CANNOT_TELL, (note,))


def a_number(text: str) -> Decimal:
    """The type of an option that is a number."""
    try:
        return measured(text.strip())
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why


def shown(value: float | None, digits: int = 4) -> str:
    """A number for people: so many digits that count; a dash for none."""
    return "-" if value is None else f"{value + 0.0:z.{digits}g}"


def span(ends: tuple[float, float] | None) -> str:
    """ "1.2 to 1.9" for people; a dash for none."""
    return "-" if ends is None else f"{shown(ends[0])} to {shown(ends[1])}"


def pair(ends: tuple[float, float] | None) -> list[float] | None:
    """An interval for other programs."""
    return None if ends is None else list(ends)
