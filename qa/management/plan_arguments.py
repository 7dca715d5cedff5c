"""Options that say what a plan may do: those of plan_fit, and of plan_assembly."""

import argparse
from pathlib import Path

from qa.files import adjusters as adjusters_file
from qa.files import motions as motions_file
from qa.files.columns import length_nm, number, read_file
from qa.numeric.plan.result import PlanOptions
from shop.files.command_line import BadInput, reading_file
from shop.numeric.units import to_mm

LENGTHS = (
    ("max-move-mm", 3.0, "how far it may go in its plane, along x and y each"),
    ("max-raise-mm", 3.0, "how far it may be raised or lowered"),
    ("max-trim-mm", 3.0, "greatest trim at a station"),
    ("build-up-mm", 0.0, "greatest build-up at a station (0: not allowed)"),
    ("aim-mm", 0.0, "where it must be cut, cut this far inside the limit"),
    ("floor-mm", 0.1, "least next bite"),
    (
        "cut-scatter-mm",
        None,
        "standard deviation of what comes off about what is "
        "asked, from earlier cuts: bites then go as far as is safe",
    ),
    (
        "common-u-mm",
        0.0,
        "part of --uncertainty-mm that all readings of a kind have in common, the zero "
        "of the gauge",
    ),
    (
        "least-cut-mm",
        0.0,
        "thinnest cut worth making: none is told thinner that may be "
        "as thick, and no move is told to save less",
    ),
)
NUMBERS = (
    ("max-turn-deg", 1.0, "how far it may turn in its plane"),
    ("max-tilt-deg", 1.0, "how far it may tilt, about x and y each"),
    ("fairness", None, "greatest change of trim per mm along an edge"),
    (
        "bite",
        0.6,
        "next bite as a fraction of the trim, where the scatter of cuts is not known",
    ),
    (
        "over-cut-risk",
        0.05,
        "chance that a bite may come out deeper than the limits "
        "allow, where the scatter of cuts is known",
    ),
)


def add_plan_arguments(parser: argparse.ArgumentParser) -> None:
    """How far a part may go and what may be cut."""
    for names, read in ((LENGTHS, length_mm), (NUMBERS, plain_number)):
        for name, default, what in names:
            shown = what if default is None else f"{what} (default {default:g})"
            parser.add_argument(
                f"--{name}", type=read, default=default, metavar="N", help=shown
            )
    parser.add_argument(
        "--trim",
        choices=("part", "surround", "none"),
        help="what may be cut, whatever the stations state; one that says none "
        "stays uncut (default: as they state, else part)",
    )


def add_motion_arguments(parser: argparse.ArgumentParser) -> None:
    """How the one part of plan_fit may go: what it can do, or how it is set."""
    parser.add_argument(
        "--motions",
        type=Path,
        metavar="FILE",
        help="JSON file of the motions that it can make, instead of free motion",
    )
    parser.add_argument(
        "--adjusters",
        type=Path,
        metavar="FILE.csv",
        help="what holds it and can be set, in whole steps, instead of free motion and "
        "how far that may go",
    )
    parser.add_argument(
        "--slack-mm",
        type=length_mm,
        default=0.02,
        metavar="N",
        help="how far each place may be from its whole step where the adjusters "
        "over-determine the part (default 0.02)",
    )


def length_mm(text: str) -> float:
    """A length of 0 or more from an option in mm."""
    try:
        nm = length_nm(text.strip(), "mm")
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if nm < 0:
        raise argparse.ArgumentTypeError(f"{text!r} is below 0")
    return to_mm(nm)


def plain_number(text: str) -> float:
    """A number of 0 or more from an option."""
    try:
        value = float(number(text.strip()))
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if not 0 <= value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be finite and 0 or more")
    return value


def plan_options(options: dict) -> PlanOptions:
    """Checked options of the command. Raises BadInput."""
    taken = ("rule", "edition", "trim", "fairness", "bite", "max_turn_deg")
    taken += ("over_cut_risk",)
    lengths = [name.replace("-", "_") for name, _, _ in LENGTHS]
    more = {}
    for name, parse in (
        ("motions", motions_file.parse),
        ("adjusters", lambda data: adjusters_file.parse(data).adjusters),
    ):
        if options.get(name):
            with reading_file(options[name]) as path:
                more[name] = parse(read_file(path))
    if more.get("adjusters"):
        more["slack_mm"] = options["slack_mm"]
    try:
        return PlanOptions(
            uncertainty_mm=mm(options["uncertainty_mm"]),
            wish=options.get("wish"),
            max_tilt_deg=options["max_tilt_deg"],
            **{name: options[name] for name in (*taken, *lengths)},
            **more,
        )
    except ValueError as why:
        option = getattr(why, "option", "").replace("_", "-")
        raise BadInput(f"--{option}: {why}") from why


def mm(nm: int | None) -> float | None:
    """Nanometers in mm."""
    return None if nm is None else to_mm(nm)
