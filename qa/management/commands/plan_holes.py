"""Judge and fit a hole pattern from a file: `plan_holes HOLES.csv`. No database."""

from pathlib import Path

from qa.files import holes
from qa.files.columns import FileComplaints, read_file
from qa.numeric.holes.position import HoleError, HolePlan, HoleVerdict, plan_holes
from qa.numeric.holes.rigid_fit import RigidFit
from shop.files.command_line import Answer, FileCommand, reading_file
from shop.wording import states

EXIT_HELP = (
    "Exit code: 0 every hole conforms; 1 one does not; 2 what was measured is right, "
    "and a size that has limits was not measured; 3 bad input."
)
EXITS = {True: 0, False: 1, None: 2}
STATES = {True: "conforms", False: "does_not_conform", None: "not_measured"}


class Command(FileCommand):
    help = "Position, best fit, edge distance and pitch of a hole pattern from a CSV."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("holes", metavar="HOLES.csv", type=Path)

    def answer(self, options):
        plan = hole_plan(options["holes"])
        return Answer(as_plain(plan), text_lines(plan), EXITS[plan.conforms])


def hole_plan(path: Path) -> HolePlan:
    """The judged pattern in a file. Raises BadInput."""
    with reading_file(path):
        file = holes.parse(read_file(path))
        try:
            return plan_holes(file.holes)
        except HoleError as why:
            complaint = file.complaint(why.row, why.field, str(why))
            raise FileComplaints([complaint]) from why


def as_plain(plan: HolePlan) -> dict:
    """The plan as documented for other programs."""
    square, worst, pitch = plan.least_squares, plan.minimax, plan.pitch
    return {
        "holes": [
            {
                "hole": hole.label,
                "position_mm": hole.position_mm,
                "allowed_mm": hole.allowed_mm,
                "conforms": hole.conforms,
                "edge_ratio": hole.edge_ratio,
            }
            for hole in plan.holes
        ],
        "best_fit": {
            "least_squares": {**_move(square), "rms_mm": square.rms_mm},
            "minimax": {**_move(worst), "worst_mm": worst.worst_mm},
        },
        "pitch": {
            "least_ratio": pitch.ratio if pitch else None,
            "pair": list(pitch.pair) if pitch else None,
        },
    }


def text_lines(plan: HolePlan) -> list[str]:
    """The plan for people."""
    width = max(4, *(len(hole.label) for hole in plan.holes))
    lines = [f"{'hole':<{width}}  position  allowed  edge/D  verdict"]
    lines += [_line(hole, width) for hole in plan.holes]
    square, worst = plan.least_squares, plan.minimax
    lines += [
        "",
        "Best fit, moving measured onto nominal about the nominal centroid:",
        f"  least squares  {_moved(square)}  rms {square.rms_mm:.4f} mm",
        f"  least worst    {_moved(worst)}  worst {worst.worst_mm:.4f} mm (radial)",
    ]
    if plan.pitch:
        first, other = plan.pitch.pair
        lines.append(
            f"Least pitch {plan.pitch.ratio:.2f} D, holes {first} and {other}."
        )
    return [*lines, f"{_verdict(plan)}. Edge distance and pitch are shown, not judged."]


def _verdict(plan: HolePlan) -> str:
    if failing := sum(hole.conforms is False for hole in plan.holes):
        return f"{failing} of {len(plan.holes)} do not conform"
    if unread := [hole.label for hole in plan.holes if hole.conforms is None]:
        return f"What was measured conforms; no size of {', '.join(unread)}"
    return "All conform"


def _line(hole: HoleVerdict, width: int) -> str:
    edge = "-" if hole.edge_ratio is None else f"{hole.edge_ratio:.2f}"
    faults = [] if hole.position_conforms else ["position"]
    faults += ["size"] if hole.size_conforms is False else []
    faults = faults or ["size"] * hole.size_unread
    verdict = states.word(STATES[hole.conforms])
    verdict += f": {', '.join(faults)}" if faults else ""
    return (
        f"{hole.label:<{width}}  {hole.position_mm:8.4f}  {hole.allowed_mm:7.4f}  "
        f"{edge:>6}  {verdict}"
    )


def _move(fit: RigidFit) -> dict:
    shown = {"x_mm": fit.x_mm, "y_mm": fit.y_mm, "turn_deg": fit.turn_deg}
    return {name: value + 0.0 for name, value in shown.items()}  # no negative zero


def _moved(fit: RigidFit) -> str:
    x, y, turn = (f"{v:+z.4f}" for v in (fit.x_mm, fit.y_mm, fit.turn_deg))
    return f"x {x} mm  y {y} mm  turn {turn} deg"
