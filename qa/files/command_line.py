"""What commands that judge a joint from files have in common: files and options.

Bad input ends them as shop.files.command_line says, where `Answer` and how a command is
written stand too.
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
from shop.files.command_line import BadInput, FileCommand, reading_file


class JointCommand(FileCommand):
    """A command that reads JOINT.csv and READINGS.csv; a subclass is written as one of
    FileCommand, and reads both files with `read_joint_files(options)`."""

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        add_joint_arguments(parser)
        super().add_arguments(parser)

    def notes_about(self, options: dict) -> tuple[str, ...]:
        if options["open"] and options["part"]:
            return (
                "note: --part says nothing of an open seam; its surround is on the "
                "right when walking the rows",
            )
        return ()


def add_joint_arguments(parser: argparse.ArgumentParser) -> None:
    """The two files, how the seam lies, and how results are judged."""
    parser.add_argument("joint", metavar="JOINT.csv", type=Path)
    parser.add_argument("readings", metavar="READINGS.csv", type=Path)
    add_seam_arguments(parser)
    add_judging_arguments(parser)


def add_seam_arguments(parser: argparse.ArgumentParser) -> None:
    """How the seam lies."""
    parser.add_argument("--open", action="store_true", help="the seam is not closed")
    parser.add_argument(
        "--round",
        action="store_true",
        help="the edge has no sharp corners but those marked: where it turns by more "
        "than 60 degrees, and 120 at most, it is round",
    )
    parser.add_argument(
        "--part",
        choices=("inside", "outside"),
        help="where the fitted part is on a closed seam (default inside)",
    )


def add_judging_arguments(parser: argparse.ArgumentParser) -> None:
    """How results are judged."""
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
    with reading_file(options["joint"]) as file:
        joint = joint_file.parse(
            read_file(file),
            closed=not options["open"],
            part_inside=options["part"] != "outside",
            rounded=options["round"],
        )
        _refuse_narrow_limits(joint, options)
    with reading_file(options["readings"]) as file:
        readings = readings_file.parse(
            read_file(file), joint.labels, closing_label=joint.closing_label
        )
    return joint, readings


def _refuse_narrow_limits(joint: JointFile, options: dict) -> None:
    narrow = narrow_limits(
        joint.limits, options["rule"], options["uncertainty_mm"], options["edition"]
    )
    complaints = [
        joint.complaint(row, name, f"too narrow for guarded acceptance: {why}")
        for row, name, why in narrow
    ]
    if complaints:
        raise FileComplaints(complaints)
