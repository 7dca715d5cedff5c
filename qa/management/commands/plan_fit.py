"""What to do so that a part fits: `plan_fit JOINT.csv READINGS.csv`. No database."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from qa.files import motions as motions_file
from qa.files.columns import length_nm, number, read_file
from qa.files.command_line import JointCommand, read_joint_files
from qa.files.joint import JointFile
from qa.numeric.plan.motions import DIGITS_DEG, DIGITS_MM, NothingSeen
from qa.numeric.plan.planner import METHOD, plan_fit
from qa.numeric.plan.result import (
    CANNOT,
    CUT,
    FITS,
    Fit,
    Move,
    NothingToJudge,
    Plan,
    PlanOptions,
)
from qa.numeric.plan.seat import NoFeasibleMotion
from qa.wording.plans import held, plan_notes
from shop.files.command_line import Answer, BadInput, reading_file, write_whole
from shop.numeric.units import NM_PER
from shop.wording import states

EXIT_HELP = (
    "Exit code: 0 all that has limits was measured and conforms, as it is or by "
    "seating and levelling; 1 the same with trim; 2 not possible as allowed (a step "
    "that levelling cannot cure counts), not all that has limits was measured, or "
    "nothing to judge; 3 bad input. Judged after the exact move, in whole nanometers, "
    "as check_fit judges readings. Lengths in mm, angles in degrees."
)

# Files carry no time of issue, and a PDF wants one: the same for all, none printed.
UNDATED = datetime(2000, 1, 1, tzinfo=UTC)

OUTCOMES = {
    FITS: "It fits by the move above, with nothing cut.",
    CUT: "It fits with the move and the trim above.",
    CANNOT: "It cannot be made to fit as allowed; see the notes above.",
}
OF_WHAT_WAS_MEASURED = {
    FITS: "What was measured fits by the move above, with nothing cut.",
    CUT: "What was measured fits with the move and the trim above.",
    CANNOT: "What was measured cannot be made to fit as allowed; see the notes above.",
}
NOTHING_TO_JUDGE = "nothing to judge"

LENGTHS = (
    ("max-move-mm", 3.0, "how far it may go in its plane, along x and y each"),
    ("max-raise-mm", 3.0, "how far it may be raised or lowered"),
    ("max-trim-mm", 3.0, "greatest trim at a station"),
    ("build-up-mm", 0.0, "greatest build-up at a station (0: not allowed)"),
    ("aim-mm", 0.0, "where it must be cut, cut this far inside the limit"),
    ("floor-mm", 0.1, "least next bite"),
)
NUMBERS = (
    ("max-turn-deg", 1.0, "how far it may turn in its plane"),
    ("max-tilt-deg", 1.0, "how far it may tilt, about x and y each"),
    ("fairness", None, "greatest change of trim per mm along an edge"),
    ("bite", 0.6, "next bite as a fraction of the trim"),
)


class Command(JointCommand):
    help = "Seat, level and trim of a part from two CSV files; needs no database."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        super().add_arguments(parser)
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
        parser.add_argument(
            "--motions",
            type=Path,
            metavar="FILE",
            help="JSON file of the motions that it can make, instead of free motion",
        )
        parser.add_argument(
            "--template",
            type=Path,
            metavar="OUT.pdf",
            help="write the trim template at true size here as well",
        )
        parser.add_argument(
            "--paper", choices=("a4", "letter"), default="a4", help="(default a4)"
        )

    def answer(self, options):
        try:
            joint, plan = planned(options)
        except NothingToJudge as why:
            return nothing_to_judge(str(why), options)
        unwritten = options["template"] and write_template(options, joint, plan)
        return Answer(
            as_plain(plan, options),
            text_lines(plan),
            plan.exit_code,
            notes=(unwritten,) if unwritten else (),
        )


def nothing_to_judge(why: str, options: dict) -> Answer:
    """The answer where nothing that was measured has limits."""
    plain = {"method": METHOD, "rule": options["rule"], "outcome": NOTHING_TO_JUDGE}
    return Answer(plain | {"notes": [why]}, [f"Nothing to judge: {why}."], code=2)


def length_mm(text: str) -> float:
    """A length of 0 or more from an option in mm."""
    try:
        nm = length_nm(text.strip(), "mm")
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if nm < 0:
        raise argparse.ArgumentTypeError(f"{text!r} is below 0")
    return nm / NM_PER["mm"]


def plain_number(text: str) -> float:
    """A number of 0 or more from an option."""
    try:
        value = float(number(text.strip()))
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if not 0 <= value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be finite and 0 or more")
    return value


def planned(options: dict) -> tuple[JointFile, Plan]:
    """The joint and its plan. Raises BadInput, NothingToJudge."""
    chosen = plan_options(options)
    file, readings = read_joint_files(options)
    gaps = [_mm(reading.gap_nm) for reading in readings.readings]
    flushes = [_mm(reading.flush_nm) for reading in readings.readings]
    try:
        return file, plan_fit(file.joint, gaps, flushes, chosen)
    except NothingToJudge:
        raise
    except (NothingSeen, NoFeasibleMotion) as why:
        name = options["readings"] if isinstance(why, NothingSeen) else "plan_fit"
        raise BadInput(f"{name}: {why}") from why


def plan_options(options: dict) -> PlanOptions:
    """Checked options of the command. Raises BadInput."""
    taken = ("rule", "edition", "trim", "fairness", "bite", "max_turn_deg")
    lengths = [name.replace("-", "_") for name, _, _ in LENGTHS]
    motions, path = None, options["motions"]
    if path:
        with reading_file(path):
            motions = motions_file.parse(read_file(path))
    try:
        return PlanOptions(
            uncertainty_mm=_mm(options["uncertainty_mm"]),
            max_tilt_deg=options["max_tilt_deg"],
            motions=motions,
            **{name: options[name] for name in (*taken, *lengths)},
        )
    except ValueError as why:
        option = getattr(why, "option", "").replace("_", "-")
        raise BadInput(f"--{option}: {why}") from why


def write_template(options: dict, joint: JointFile, plan: Plan) -> str:
    """Write the trim template of the plan as a PDF, 1:1; returns a note, "" if none.

    A plan that cuts nothing has no template, and nothing is written. Raises BadInput.
    """
    # Only those who want paper wait for what makes it.
    from qa.paper import plan_template, trim_template

    target, name = options["template"], options["joint"].stem
    drawn = plan_template.templates(
        joint.joint,
        plan,
        shop=settings.SHOP_NAME,
        number=options["readings"].stem,
        joint_number="",
        joint_name=name,
        names={"part": "fitted part", "surround": "surround"},
        issued_at=UNDATED,
    )
    if not drawn:
        return f"plan_fit: nothing is to be cut, so that {target} was not written"
    try:
        data = trim_template.render(drawn, options["paper"])
    except ValueError as why:
        raise BadInput(f"{target}: {why}") from why
    write_whole(target, data)
    return ""


def as_plain(plan: Plan, options: dict) -> dict:
    """The plan as documented for other programs: mm, mm2 and degrees."""
    plain = {
        "method": METHOD,
        "rule": options["rule"],
        "seat": _fit(plan.seat, "x_mm", "y_mm", "turn_deg"),
        "level": _fit(plan.level, "z_mm", "tilt_x_deg", "tilt_y_deg"),
        "held": list(map(held, plan.held)),
        "probability": plan.probability,
        "trim": _trim(plan),
        "flush": [
            {
                "station": station.label,
                "flush_now_mm": _round(station.flush_now),
                "flush_after_mm": _round(station.flush_after),
            }
            for station in plan.stations
            if station.flush_now is not None
        ],
        "outcome": plan.outcome,
        "judged": {
            "with_limits": plan.limited,
            "measured": plan.measured,
            "complete": plan.complete,
            "by": "the readings after the exact move, in whole nanometers",
        },
        "move": _move(plan.move),
        "settled": plan.settled,
        "notes": plan_notes(plan),
    }
    if options["motions"]:
        plain["motion"] = _amounts(plan.move)
        for part, fit in (("seat", plan.seat), ("level", plan.level)):
            if fit:
                plain[part]["motion"] = _amounts(fit.move)
        if plan.trim:
            plain["trim"]["motion"] = _amounts(plan.trim.move)
    return plain


def _fit(fit: Fit | None, *names: str) -> dict | None:
    if fit is None:
        return None
    return {name: _told(name, getattr(fit.move, name)) for name in names} | {
        "worst_before": _round(fit.worst_before),
        "worst_after": _round(fit.worst_after),
        "conforms": fit.conforms,
    }


def _trim(plan: Plan) -> dict | None:
    trim = plan.trim
    if trim is None:
        return None
    names = ["x_mm", "y_mm", "turn_deg"]
    if any(name in ("z", "tilt_x", "tilt_y") for name, _ in trim.move.amounts):
        names += ["z_mm", "tilt_x_deg", "tilt_y_deg"]  # planned together
    return {
        "needed": trim.needed,
        "possible": trim.possible,
        **{name: _told(name, getattr(trim.move, name)) for name in names},
        "area_mm2": _round(trim.area_mm2),
        "build_up_mm2": _round(trim.build_up_mm2),
        "unresolved_mm2": _round(trim.unresolved_mm2),
        "stations": [
            {
                "station": station.label,
                "gap_now_mm": _round(station.gap_now),
                "trim_mm": _round(station.trim),
                "build_up_mm": _round(station.build_up),
                "gap_after_mm": _round(station.gap_after),
                "unresolved_mm": _round(station.unresolved),
                "next_bite_mm": _round(station.next_bite),
            }
            for station in plan.stations
            if station.gap_now is not None
        ],
    }


def _amounts(move: Move) -> dict:
    return {
        name: _told("mm" if not motion.turns else "deg", amount)
        for (name, amount), motion in zip(move.amounts, move.motions, strict=True)
    }


def _move(move: Move) -> dict:
    """The whole move as one rotation about a point, then a shift: what was judged."""
    about, shift, matrix = move.whole()
    return {
        "about_mm": [_round(v) for v in about],
        "shift_mm": [round(v, DIGITS_MM) + 0.0 for v in shift],
        "rotation": [[round(v, 15) + 0.0 for v in row] for row in matrix],
    }


def text_lines(plan: Plan) -> list[str]:
    """The plan for people: the move, a table, what to know, the outcome."""
    lines = []
    for title, fit in (("Gaps", plan.seat), ("Flushness", plan.level)):
        if fit:
            word = states.word("conforms" if fit.conforms else "does_not_conform")
            lines.append(
                f"{title}: worst deviation now {fit.worst_before:.3f}, after moving "
                f"{fit.worst_after:.3f} (1 is the limit): {word}."
            )
    moves = [
        f"{name} {amount:+z.3f} {'deg' if motion.turns else 'mm'}"
        for (name, amount), motion in zip(
            plan.move.amounts, plan.move.motions, strict=True
        )
    ]
    lines += ["Move: " + ", ".join(moves) + ".", "", *_table(plan), ""]
    if plan.trim and plan.trim.needed:
        trim = plan.trim
        lines.append(
            f"Trim {trim.area_mm2:.1f} mm2, build-up {trim.build_up_mm2:.1f} mm2, left "
            f"unresolved {trim.unresolved_mm2:.1f} mm2."
        )
    if plan.probability is not None:
        chance = f"{plan.probability:.3f}"
        all_of_it = "all conform" if plan.complete else "what was measured conforms"
        lines.append(f"Probability that {all_of_it} after this: {chance}.")
    lines += [f"Note: {note}." for note in plan_notes(plan)]
    if plan.complete:
        return [*lines, OUTCOMES[plan.outcome]]
    return [*lines, OF_WHAT_WAS_MEASURED[plan.outcome], "Not everything was measured."]


def _table(plan: Plan) -> list[str]:
    heads = ("station", "gap now", "trim", "bite", "build up", "gap after")
    heads += ("left over", "flush now", "flush after")
    rows = [heads]
    for station in plan.stations:
        gap = station.gap_now is not None
        cut = (station.trim, station.next_bite, station.build_up)
        cells = [station.gap_now, *(cut if gap else (None,) * 3), station.gap_after]
        cells += [station.unresolved if gap else None]
        cells += [station.flush_now, station.flush_after]
        rows.append(
            (
                station.label,
                *("" if v is None else f"{round(v, 3) + 0.0:.3f}" for v in cells),
            )
        )
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(
            [row[0].ljust(widths[0])]
            + [c.rjust(w) for c, w in zip(row[1:], widths[1:], strict=True)]
        ).rstrip()
        for row in rows
    ]


def _mm(nm: int | None) -> float | None:
    return None if nm is None else nm / NM_PER["mm"]


def _told(name: str, amount: float) -> float:
    """An amount with the digits by which it was judged."""
    return round(amount, DIGITS_DEG if name.endswith("deg") else DIGITS_MM) + 0.0


def _round(value: float | None) -> float | None:
    """To a nanometer (or a millionth): finer digits differ between machines."""
    return None if value is None else round(float(value), 6) + 0.0
