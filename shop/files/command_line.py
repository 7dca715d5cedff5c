"""What commands that work from files have in common, so that each says only its own.

`FileCommand` parses, tells of bad input, prints text or JSON and exits by code. Such a
command ends with 3 on bad input, whether it lies in an option or in a file, after
saying where and why on standard error, and before it has written anything. It ends with
4 when what it was asked for cannot be written (manage.py does the same for what it
prints).
"""

import argparse
import contextlib
import json
import sys
from dataclasses import dataclass
from pathlib import Path

from django.core.management.base import BaseCommand

from shop.files.csv_table import Complaint, FileComplaints, number

BAD_INPUT = 3
CANNOT_WRITE = 4
MOST_COMPLAINTS = 100
LEAST, MOST = 1e-9, 1e9  # no number of a shop comes near them


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
        parser.exit(BAD_INPUT, f"{command}: {message} (--help tells of options)\n")

    parser.error = error


def lines_of(complaints: list[Complaint], file: Path) -> str:
    """One line per complaint, file:line: column: reason; the first hundred."""
    shown = [complaint.located(str(file)) for complaint in complaints[:MOST_COMPLAINTS]]
    if len(complaints) > MOST_COMPLAINTS:
        shown.append(f"{file}: and {len(complaints) - MOST_COMPLAINTS} more")
    return "\n".join(shown)


@dataclass(frozen=True)
class Answer:
    """What a command found out: for programs, for people, and its exit code.

    `notes` are what a person should know that is no part of the answer; they go to
    standard error.
    """

    plain: dict
    lines: list[str]
    code: int = 0
    notes: tuple[str, ...] = ()


class FileCommand(BaseCommand):
    """A command that answers from files alone; needs no database.

    A subclass sets `help` and `exit_help` (its exit codes, printed below the options),
    adds its own options in `add_arguments` after calling super's, which adds --json,
    and says in `answer(options)` what it computes:

        class Command(FileCommand):
            help = "..."
            exit_help = "Exit code: 0 ...; 3 bad input."

            def add_arguments(self, parser):
                super().add_arguments(parser)
                parser.add_argument("holes", metavar="HOLES.csv", type=Path)

            def answer(self, options):
                plan = hole_plan(options["holes"])
                code = 0 if plan.conforms else 1
                return Answer(as_plain(plan), text_lines(plan), code)

    `answer` raises BadInput or CannotWrite; within `reading_file(path)` complaints
    about that file become such an error.
    """

    requires_system_checks = []
    exit_help = ""

    def create_parser(self, prog_name, subcommand, **kwargs):
        parser = super().create_parser(
            prog_name, subcommand, epilog=self.exit_help, **kwargs
        )
        end_with_bad_input(parser, subcommand)
        return parser

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def answer(self, options: dict) -> Answer:
        raise NotImplementedError

    def notes_about(self, options: dict) -> tuple[str, ...]:
        """What a person should know about the options that is not an error."""
        return ()

    def handle(self, *args, **options) -> None:
        try:
            answer = self.answer(options)
        except BadInput as bad:
            self.stderr.write(str(bad), style_func=str)
            sys.exit(bad.code)
        for note in (*self.notes_about(options), *answer.notes):
            self.stderr.write(note, style_func=str)
        if options["json"]:
            self.stdout.write(json.dumps(answer.plain, indent=2))
        else:
            self.stdout.write("\n".join(answer.lines))
        if answer.code:
            sys.exit(answer.code)


def amount(text: str) -> float:
    """The type of an option that is a number of 0 or more."""
    value = any_number(text)
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text!r} must be 0 or more")
    return value


def any_number(text: str) -> float:
    """The type of an option that is a number."""
    try:
        value = float(number(text.strip()))
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if value and not LEAST <= abs(value) <= MOST:
        text = f"{text!r} must be 0, or {LEAST:g} to {MOST:g} in size"
        raise argparse.ArgumentTypeError(text)
    return value


@contextlib.contextmanager
def reading_file(file: Path):
    """Yields the path; raises BadInput with what is complained of about that file."""
    try:
        yield file
    except FileComplaints as bad:
        raise BadInput(lines_of(bad.complaints, file)) from bad


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
