"""Which shims level a part: `plan_shims JOINT.csv READINGS.csv POINTS.csv --stock ...`.

No database.
"""

import argparse
from pathlib import Path

from qa.files import attach_points
from qa.files.columns import read_file
from qa.files.command_line import JointCommand, read_joint_files
from qa.numeric.shims.stacks import AttachPoint, ShimError, ShimPlan, plan_shims
from qa.numeric.verdict.deviation import drawn_in, scales
from qa.wording.shims import judged
from shop.files.command_line import Answer, BadInput, reading_file
from shop.numeric.units import to_mm

LOOSE_MM = 0.0005
NOT_ALL = "Very many stacks come into question; not all were tried."
EXIT_HELP = (
    "Exit code: 0 flushness conforms with these stacks; 1 it does not, even with the "
    "best stacks; 3 bad input. A thicker shim raises the part."
)


class Command(JointCommand):
    help = "The stacks of shims that level a part best, from CSV files."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("points", metavar="POINTS.csv", type=Path)
        parser.add_argument(
            "--stock",
            required=True,
            type=stock,
            metavar="MM,MM,...",
            help="thicknesses that there are, in mm; each may be used again and again",
        )
        parser.add_argument(
            "--most",
            type=whole,
            default=3,
            metavar="N",
            help="shims a stack (default 3)",
        )

    def answer(self, options):
        points, plan = shim_plan(options)
        code = 0 if plan.conforms else 1
        return Answer(as_plain(points, plan), text_lines(points, plan), code)


def whole(text: str) -> int:
    """A whole number from an option."""
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number") from None


def stock(text: str) -> tuple[float, ...]:
    """Thicknesses from an option."""
    try:
        return attach_points.stock_mm(text)
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why


def shim_plan(options: dict) -> tuple[tuple[AttachPoint, ...], ShimPlan]:
    """The attach points and the best stacks. Raises BadInput."""
    file, readings = read_joint_files(options)
    with reading_file(options["points"]) as path:
        points = attach_points.parse(read_file(path)).points
    u_nm, joint = options["uncertainty_mm"], file.joint
    u_mm = None if u_nm is None else to_mm(u_nm)
    every = scales(
        [
            drawn_in(station.flush, u_mm, options["rule"], options["edition"])
            for station in joint.stations
        ]
    )
    flush = [reading.flush_nm for reading in readings.readings]
    rows = [
        row
        for row, value in enumerate(flush)
        if value is not None and every.limited[row]
    ]
    try:
        plan = plan_shims(
            joint.places[rows],
            joint.faces[rows],
            [to_mm(flush[row]) for row in rows],
            every.take(rows),
            points,
            options["stock"],
            options["most"],
        )
    except ShimError as why:
        raise BadInput(f"plan_shims: {why}") from why
    return points, plan


def as_plain(points: tuple[AttachPoint, ...], plan: ShimPlan) -> dict:
    """The plan as documented for other programs.

    `judged` says of what `worst_after` and `conforms` are: the ways in which the part
    can rest on three of the new stacks, each by its points, and the worst of them.
    """
    return {
        "points": [
            {
                "point": point.label,
                "shim_now_mm": point.shim_now_mm,
                "shim_mm": stack.shim_mm,
                "stack": list(stack.shims),
                "loose_mm": round(stack.loose_mm, 6) + 0.0,
            }
            for point, stack in zip(points, plan.stacks, strict=True)
        ],
        "worst_before": plan.worst_before,
        "worst_after": plan.worst_after,
        "conforms": plan.conforms,
        "shims_used": plan.shims_used,
        "judged": {
            "rests_on": [list(three) for three in plan.rests],
            "governing": list(plan.governing),
            "all_choices_tried": plan.proven,
        },
    }


def text_lines(points: tuple[AttachPoint, ...], plan: ShimPlan) -> list[str]:
    """The plan for people: stacks, what to fetch, what to expect."""
    width = max(5, *(len(point.label) for point in points))
    lines = [f"{'point':<{width}}      now      new  stack"]
    for stack in plan.stacks:
        made_of = " + ".join(f"{shim:g}" for shim in stack.shims) or "none"
        lines.append(
            f"{stack.label:<{width}}  {stack.shim_now_mm:7.3f}  {stack.shim_mm:7.3f}  "
            f"{made_of}"
        )
    fetch = ", ".join(f"{count} x {mm:g}" for mm, count in plan.to_fetch.items())
    return [
        *lines,
        "",
        f"To fetch: {fetch or 'nothing'} (mm).",
        f"Worst deviation before {plan.worst_before:.3f}, after {plan.worst_after:.3f} "
        "(1 is the limit).",
        f"Judged: {judged(plan)}.",
        *_loose(plan),
        _verdict(plan),
        *(() if plan.proven else (NOT_ALL,)),
    ]


def _loose(plan: ShimPlan):
    """Which stacks may bear nothing."""
    for stack in plan.stacks:
        if stack.loose_mm > LOOSE_MM:
            yield (
                f"{stack.label}: the part may stay {stack.loose_mm:.3f} mm above its "
                "stack; do not draw it down."
            )


def _verdict(plan: ShimPlan) -> str:
    if plan.conforms:
        return "Flushness conforms with these stacks, however the part settles on them."
    if plan.worst_ideal > 1:
        return (
            "Flushness does not conform: the edge is not flat enough, and no height or "
            f"tilt brings it below {plan.worst_ideal:.3f}. Shims cannot cure that."
        )
    return (
        "Flushness does not conform with this stock: the right height and tilt would "
        f"reach {plan.worst_ideal:.3f}. Allow thinner shims or higher stacks."
    )
