"""Commands that answer from one file of measured values, without a database.

They end with 0 when they answered, 2 when the file does not tell (the JSON object is
there, null where nothing can be had, and standard error says why), 3 on bad input.
"""

import argparse
import json
import sys
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from django.core.management.base import BaseCommand

from qa.files.columns import Complaint, FileComplaints, read_file
from qa.files.command_line import BadInput, end_with_bad_input, lines_of, say_and_end
from qa.files.measured_values import measured

CANNOT_TELL = 2
EXIT_HELP = "Exit code: 0 answered; 2 cannot tell; 3 bad input."


@dataclass(frozen=True)
class Answer:
    """One JSON object, the same in lines for people, and why it tells nothing."""

    plain: dict
    lines: list[str]
    why: str | None = None


class FileCommand(BaseCommand):
    """FILE.csv and --json; a command adds its options and `answer`."""

    requires_system_checks = []

    def create_parser(self, prog_name, subcommand, **kwargs):
        parser = super().create_parser(
            prog_name, subcommand, epilog=EXIT_HELP, **kwargs
        )
        end_with_bad_input(parser, subcommand)
        return parser

    def add_arguments(self, parser):
        parser.add_argument("file", metavar="FILE.csv", type=Path)
        self.add_options(parser)
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def add_options(self, parser):
        """Options of this command."""

    def answer(self, data: bytes, options: dict) -> Answer:
        """What the file says. FileComplaints or ValueError for what it cannot use."""
        raise NotImplementedError

    def handle(self, *args, **options):
        path = options["file"]
        try:
            answer = self._answered(path, options)
        except BadInput as bad:
            say_and_end(self, bad)
        if options["json"]:
            self.stdout.write(json.dumps(answer.plain, indent=2, allow_nan=False))
        else:
            self.stdout.write("\n".join(answer.lines))
        if answer.why:
            self.stderr.write(f"{path}: cannot tell: {answer.why}", style_func=str)
            sys.exit(CANNOT_TELL)

    def _answered(self, path: Path, options: dict) -> Answer:
        try:
            try:
                return self.answer(read_file(path), options)
            except FileComplaints:
                raise
            except ValueError as why:
                raise FileComplaints([Complaint(str(why))]) from why
        except FileComplaints as bad:
            raise BadInput(lines_of(bad.complaints, path)) from bad


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
