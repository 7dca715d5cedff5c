"""What a mill leaves on a plug at each slope: `mill_finish --radius 6 --scallop 0.05`.

No database.
"""

from dataclasses import asdict

from shop.files.command_line import Answer, BadInput, FileCommand, amount
from shop.numeric import milling

SLOPES = (0.0, 15.0, 30.0, 45.0, 60.0, 75.0)


class Command(FileCommand):
    help = (
        "Scallop and striation by slope, the stepover that leaves a scallop, and the "
        "slope from which the play of the axis shows more than the scallop. In mm."
    )
    exit_help = "Exit code: 0 answered; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.add_argument("--radius", type=amount, required=True, help="of the ball")
        pass_by = parser.add_mutually_exclusive_group(required=True)
        pass_by.add_argument("--stepover", type=amount, help="from pass to pass")
        pass_by.add_argument("--scallop", type=amount, help="left on a flat")
        for name, what in (
            ("--play", "of the axis along the feed"),
            ("--sanding", "what blocking takes off"),
        ):
            parser.add_argument(name, type=amount, default=0.0, help=f"{what} (0)")
        parser.add_argument(
            "--slopes", type=amount, nargs="+", default=SLOPES, metavar="DEG"
        )

    def answer(self, options):
        radius, play = options["radius"], options["play"]
        try:
            stepover = options["stepover"]
            if stepover is None:
                stepover = milling.stepover_mm(radius, options["scallop"])
            flat = milling.scallop_mm(radius, stepover)
            rows = milling.finish_at_slopes(
                radius, stepover, play, options["sanding"], options["slopes"]
            )
            governs = milling.striation_governs_from_deg(play, flat)
        except milling.MillingError as why:
            raise BadInput(f"mill_finish: {why}") from why
        plain = {
            "stepover_mm": stepover,
            "scallop_mm": flat,
            "striation_governs_from_deg": governs,
            "slopes": [asdict(row) for row in rows],
        }
        return Answer(plain, text_lines(plain))


def text_lines(plain: dict) -> list[str]:
    """The same for people."""
    lines = [
        f"Stepover {plain['stepover_mm']:.3f} mm: scallop {plain['scallop_mm']:.4f} mm "
        "on a flat.",
        "",
        f"{'slope':>6}{'scallop':>10}{'striation':>11}  sanded away",
    ]
    lines += [
        f"{row['slope_deg']:>6g}{row['scallop_mm']:>10.4f}{row['striation_mm']:>11.4f}"
        f"  {'yes' if row['sanded_away'] else 'no'}"
        for row in plain["slopes"]
    ]
    governs = plain["striation_governs_from_deg"]
    if governs is not None:
        lines.append(f"From {governs:.1f} degrees the striation exceeds that scallop.")
    return lines
