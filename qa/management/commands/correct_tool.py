"""What the fits of several parts say of their mold: `correct_tool JOINT.csv
READINGS.csv`. No database."""

import argparse
import math
from pathlib import Path

from qa.files import joint as joint_file
from qa.files import motions as motions_file
from qa.files import pulled_readings
from qa.files.columns import length_nm, read_file
from qa.files.command_line import add_seam_arguments
from qa.files.joint import JointFile
from qa.numeric.plan.motions import Motion
from qa.numeric.tool.characteristics import free_to_move
from qa.numeric.tool.estimate import (
    LEAST_WORTH_MM,
    Advice,
    PulledReading,
    ToolReport,
    ToolValue,
    TooMuch,
    estimate_tool,
)
from qa.numeric.tool.openings import OpeningValue
from qa.wording import measuring
from qa.wording.openings import opening_lines, opening_word
from qa.wording.tools import advice_text, notes
from shop.files.command_line import Answer, BadInput, FileCommand, reading_file
from shop.numeric.units import to_mm

FREE, HELD = "free", "none"
EXIT_HELP = (
    "As pulled, a gap is the gap read less what had been cut there. tool_mm is how "
    "far the mold makes it from its target (the middle of its limits; with one limit, "
    "half the narrowest width of that kind inside of it) once every part's own "
    "seating is taken out: plus is a gap too wide, or a part too proud. correction_mm "
    "is what doing as advised adds to the reading: minus tool_mm, 0 to leave it. out "
    "and in move the cut line of the part (a gap too small: in). fill and relieve are "
    "for a female mold, whose surface makes the outside of the part: proud wants the "
    "mold filled there; on a plug, or a male mold, do the contrary. Bounds hold for "
    "all of them together with 95 percent. A standard deviation given is that of one "
    "reading between parts, of gap and flushness alike; else each kind has its own, "
    "seen in the parts, and between_parts_sd_mm is their root mean square. "
    "degrees_of_freedom are those behind it; where parts were tried in several "
    "surrounds, those of the residuals times parts per seating, since the same part "
    "tells no more of how parts differ by being tried again. "
    "conforming_share is the expected share of the gaps and flushnesses told that "
    "conform at the first fit of the next part, seated by least squares; the "
    "uncertainty of what was found is in it. Errors that run along the edge of a part "
    "(one that is shrunk or warped) are not random from station to station: with few "
    "parts they pass for the mold's. openings says how each surround differs from the "
    "mean of the surrounds at every station, where parts that were tried in several "
    "link them: minus is a gap that comes tighter there, or a part that sits lower; "
    "its bounds hold for all of them together with 95 percent. Exit code: 0 there is "
    "advice; 2 nothing can be told; 3 bad input."
)


class Command(FileCommand):
    help = "What to correct in a mold, from the first fits of the parts pulled from it."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        parser.add_argument("joint", metavar="JOINT.csv", type=Path)
        parser.add_argument("readings", metavar="READINGS.csv", type=Path)
        add_seam_arguments(parser)
        parser.add_argument(
            "--freedom",
            default=FREE,
            metavar="free|none|MOTIONS.json",
            help="how a part may sit: free (default), none when it is held, or a JSON "
            "file of motions, of which the directions count and not how far",
        )
        parser.add_argument(
            "--between-parts-sd-mm",
            metavar="S",
            type=standard_deviation,
            help="standard deviation between parts at a station, where it is known",
        )
        parser.add_argument(
            "--worth-mm",
            metavar="W",
            type=worth,
            default=LEAST_WORTH_MM,
            help=f"what is less is not worth correcting (default {LEAST_WORTH_MM:g})",
        )
        super().add_arguments(parser)

    def answer(self, options):
        joint, report = estimated(options)
        remarks = notes(report, joint.labels, options["worth_mm"])
        plain = as_plain(report, joint.labels, remarks)
        lines = text_lines(report, joint.labels, remarks)
        return Answer(plain, lines, 0 if report.anything else 2)


def standard_deviation(text: str) -> float:
    """A standard deviation in mm from an option."""
    value = _mm(_option_nm(text))
    if value <= 0:
        raise argparse.ArgumentTypeError(
            f"{text!r}: a standard deviation is more than 0; leave the option out when "
            "it is not known"
        )
    return value


def worth(text: str) -> float:
    """A length of 0 or more in mm from an option."""
    value = _mm(_option_nm(text))
    if value < 0:
        raise argparse.ArgumentTypeError(f"{text!r} is below 0")
    return value


def _option_nm(text: str) -> int:
    try:
        return length_nm(text.strip(), "mm")
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why


def estimated(options: dict) -> tuple[JointFile, ToolReport]:
    """The joint, and what is told of its tool. Raises BadInput."""
    with reading_file(options["joint"]) as path:
        file = joint_file.parse(
            read_file(path),
            closed=not options["open"],
            part_inside=options["part"] != "outside",
            rounded=options["round"],
        )
    with reading_file(options["readings"]) as path:
        rows = pulled_readings.parse(
            read_file(path), file.labels, closing_label=file.closing_label
        )
    readings = [
        PulledReading(
            row.part, row.row, _mm(row.gap_nm), _mm(row.flush_nm), row.surround
        )
        for row in rows
    ]
    try:
        return file, estimate_tool(
            file.joint,
            readings,
            _motions(options["freedom"], file),
            options["between_parts_sd_mm"],
            options["worth_mm"],
        )
    except TooMuch as why:
        raise BadInput(f"{options['joint']}: {why}") from why


def _motions(freedom: str, file: JointFile) -> tuple[Motion, ...]:
    if freedom == FREE:
        return free_to_move(file.joint)
    if freedom == HELD:
        return ()
    with reading_file(Path(freedom)) as path:
        return motions_file.parse(read_file(path))


def as_plain(report: ToolReport, labels: list[str], remarks: list[str]) -> dict:
    """The report as documented for other programs: mm, null where it cannot be had."""
    share = report.share
    return {
        "parts": len(report.parts),
        "stations": [
            {"station": label, "gap": _plain(gap), "flush": _plain(flush)}
            for label, gap, flush in zip(labels, report.gap, report.flush, strict=True)
        ],
        "between_parts_sd_mm": _round(report.scatter.sd_mm),
        "degrees_of_freedom": _whole(report.scatter.degrees),
        "conforming_share": {
            "now": _share(share and share.now),
            "after": _share(share and share.after),
        },
        "notes": remarks,
        "openings": [
            {"surround": station.name, "station": label}
            | {kind: _opening(value, kind) for kind, value in both.items()}
            for station in report.apart.each
            for label, both in zip(labels, station.by_kind, strict=True)
        ],
    }


def _plain(value: ToolValue) -> dict:
    names = ("tool_mm", "standard_error_mm", "low_mm", "high_mm", "correction_mm")
    numbers = {name: _round(getattr(value, name)) for name in names}
    return numbers | {"advice": str(value.advice)}


def _opening(value: OpeningValue, kind: str) -> dict:
    names = ("opening_mm", "standard_error_mm", "low_mm", "high_mm")
    numbers = {name: _round(getattr(value, name)) for name in names}
    untold = value.low_mm is None
    does = str(Advice.CANNOT_TELL) if untold else opening_word(value, kind)
    return numbers | {"does": does}


def text_lines(report: ToolReport, labels: list[str], remarks: list[str]) -> list[str]:
    """The report for people: a table, what to expect, what to know."""
    count = len(report.parts)
    lines = [f"{count} part{'' if count == 1 else 's'}, {len(labels)} stations.", ""]
    lines += _table(report, labels)
    if report.share:
        now, after = (
            measuring.share(value, 1)
            for value in (report.share.now, report.share.after)
        )
        lines += [
            "",
            f"Expected to conform at first fit: {now} of gaps and flushnesses now, "
            f"{after} after the corrections.",
        ]
    if report.apart.each:
        lines += ["", "Openings, from the mean of all:"]
        lines += [f"  {line}." for line in opening_lines(report, labels)]
    lines += ["", *(f"Note: {remark}." for remark in remarks)]
    return (
        lines if report.anything else [*lines, "Nothing can be told of the tool yet."]
    )


def _table(report: ToolReport, labels: list[str]) -> list[str]:
    rows = [("station", "gap", "bounds", "advice", "flush", "bounds", "advice")]
    for label, gap, flush in zip(labels, report.gap, report.flush, strict=True):
        rows.append((label, *_cells(gap), *_cells(flush)))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    left = (0, 3, 6)
    return [
        "  ".join(
            cell.ljust(width) if number in left else cell.rjust(width)
            for number, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def _cells(value: ToolValue) -> tuple[str, str, str]:
    tool = "" if value.tool_mm is None else f"{value.tool_mm:+z.2f}"
    bounds = (
        "" if value.low_mm is None else f"{value.low_mm:+z.2f} {value.high_mm:+z.2f}"
    )
    return tool, bounds, advice_text(value)


def _mm(nm: int | None) -> float | None:
    return None if nm is None else to_mm(nm)


def _round(value: float | None) -> float | None:
    """To a nanometer (or a millionth): finer digits differ between machines."""
    return None if value is None else round(float(value), 6) + 0.0


def _share(value: float | None) -> float | None:
    """Whole as it was found where rounding would make none or all of it."""
    rounded = _round(value)
    if rounded not in (0.0, 1.0):
        return rounded
    return min(max(float(value), math.ulp(0.0)), math.nextafter(1.0, 0.0))


def _whole(value: float | None) -> float | int | None:
    """A whole number as one."""
    return int(value) if value is not None and value == int(value) else _round(value)
