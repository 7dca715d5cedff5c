"""What commands that judge a joint from files have in common: files and options.

Bad input ends them as shop.files.command_line says.
"""

import argparse
from pathlib import Path

from qa.files import joint as joint_file
from qa.files import readings as readings_file
from qa.files.columns import FileComplaints, length_nm, read_file
from qa.files.joint import JointFile
from qa.files.readings import ReadingsFile
from qa.numeric.verdict.acceptance import EDITIONS, Rule
from qa.numeric.verdict.report import narrow_limits
from shop.files.command_line import (
    BAD_INPUT,
    BadInput,
    end_with_bad_input,
    lines_of,
    say_and_end,
    write_whole,
)

__all__ = [
    "BAD_INPUT",
    "BadInput",
    "add_joint_arguments",
    "end_with_bad_input",
    "lines_of",
    "note_about_options",
    "read_joint_files",
    "say_and_end",
    "write_whole",
]


def add_joint_arguments(parser: argparse.ArgumentParser) -> None:
    """The two files, how the seam lies, and how results are judged."""
    parser.add_argument("joint", metavar="JOINT.csv", type=Path)
    parser.add_argument("readings", metavar="READINGS.csv", type=Path)
    parser.add_argument("--open", action="store_true", help="the seam is not closed")
    parser.add_argument(
        "--part",
        choices=("inside", "outside"),
        help="where the fitted part is on a closed seam (default inside)",
    )
    parser.add_argument(
        "--rule",
        choices=[str(rule) for rule in Rule],
        default=str(Rule.SIMPLE),
        help="simple: within limits; guarded: proven at this uncertainty "
        "(default simple)",
    )
    parser.add_argument(
        "--uncertainty-mm",
        metavar="U",
        type=uncertainty,
        help="standard uncertainty of the readings in mm",
    )
    parser.add_argument(
        "--edition",
        choices=EDITIONS,
        default=EDITIONS[0],
        help="guard band by ISO 14253-1: 2017, 95 %% probability (default); 1998, 2 u",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def uncertainty(text: str) -> int:
    """A standard uncertainty in nm, from an option in mm."""
    try:
        nm = length_nm(text.strip(), "mm")
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if nm <= 0:
        raise argparse.ArgumentTypeError(
            f"{text!r}: a standard uncertainty is more than 0; leave the option out "
            "when it is not known"
        )
    return nm


def read_joint_files(options: dict) -> tuple[JointFile, ReadingsFile]:
    """Joint and readings named by the options of add_joint_arguments.

    Raises BadInput with all that is wrong with the joint (limits that the guard bands
    close count), else with the readings.
    """
    if options["rule"] == Rule.GUARDED and options["uncertainty_mm"] is None:
        raise BadInput("--rule guarded needs --uncertainty-mm")
    file = options["joint"]
    try:
        joint = joint_file.parse(
            read_file(file),
            closed=not options["open"],
            part_inside=options["part"] != "outside",
        )
        _refuse_narrow_limits(joint, options)
        file = options["readings"]
        readings = readings_file.parse(
            read_file(file), joint.labels, closing_label=joint.closing_label
        )
    except FileComplaints as bad:
        raise BadInput(lines_of(bad.complaints, file)) from bad
    return joint, readings


def note_about_options(options: dict) -> str | None:
    """What a person should know about the options that is not an error."""
    if options["open"] and options["part"]:
        return (
            "note: --part says nothing of an open seam; its surround is on the right "
            "when walking the rows"
        )
    return None


def _refuse_narrow_limits(joint: JointFile, options: dict) -> None:
    narrow = narrow_limits(
        joint.limits, options["rule"], options["uncertainty_mm"], options["edition"]
    )
    found = [
        joint.complaint(row, name, f"too narrow for guarded acceptance: {why}")
        for row, name, why in narrow
    ]
    if found:
        raise FileComplaints(found)
