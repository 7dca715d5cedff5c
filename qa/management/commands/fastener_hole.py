"""Holes and tolerances for a fastener: `fastener_hole --fastener 6 --tolerance 0.2`.

No database.
"""

from qa.numeric.holes import fasteners
from shop.files.command_line import Answer, BadInput, FileCommand, amount


class Command(FileCommand):
    help = (
        "Smallest hole for a position tolerance, or the tolerance that a hole leaves, "
        "for a fastener that is free in both parts and for one that one part holds "
        "(ASME Y14.5M-1994, appendix B). In mm."
    )
    exit_help = "Exit code: 0 answered; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("--fastener", type=amount, required=True, help="largest")
        asked = parser.add_mutually_exclusive_group(required=True)
        asked.add_argument("--tolerance", type=amount, help="of position, diameter")
        asked.add_argument("--hole", type=amount, help="smallest clearance hole")
        parser.add_argument(
            "--held-tolerance", type=amount, help="of the hole that holds (the same)"
        )
        parser.add_argument(
            "--through", type=amount, help="how far the fastener sticks out of it"
        )
        parser.add_argument("--held-depth", type=amount, help="how deep it is held")

    def answer(self, options):
        try:
            plain = worked_out(options)
        except fasteners.FastenerError as why:
            raise BadInput(f"fastener_hole: {why}") from why
        free, held = plain["free"], plain["held"]
        what = "Smallest hole" if options["hole"] is None else "Position tolerance"
        lines = [
            f"{what} where the fastener is free in both parts: {free:.4f} mm",
            f"{what} where one part holds it: {held:.4f} mm",
        ]
        return Answer(plain, lines)


def worked_out(options: dict) -> dict:
    """The hole or the tolerance, both ways. Raises FastenerError."""
    fastener, hole = options["fastener"], options["hole"]
    if hole is not None:
        return {
            "free": fasteners.floating_tolerance(hole, fastener),
            "held": fasteners.fixed_tolerance(hole, fastener),
        }
    clear, held = options["tolerance"], options["held_tolerance"]
    return {
        "free": fasteners.floating_hole(fastener, clear),
        "held": fasteners.fixed_hole(
            fastener,
            clear,
            clear if held is None else held,
            through_mm=options["through"] or 0.0,
            held_depth_mm=options["held_depth"],
        ),
    }
