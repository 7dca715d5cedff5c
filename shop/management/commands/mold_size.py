"""What a tool measures so that its part comes right: `mold_size --length 1500 ...`.

No database.
"""

from shop.files.command_line import Answer, BadInput, FileCommand, amount, any_number
from shop.numeric import thermal


class Command(FileCommand):
    help = (
        "Length of a tool at room temperature for a part that sets warmer, and how far "
        "a corner closes when it cools (its thermal share only: shrinkage adds). "
        "Expansions in 1e-6 per kelvin."
    )
    exit_help = "Exit code: 0 answered; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        for name, what in (
            ("--length", "of the part, mm"),
            ("--part-expansion", "in the plane of its plies"),
            ("--tool-expansion", "of the tool"),
            ("--set-above", "by how many kelvin above room temperature it sets"),
        ):
            kind = amount if name in ("--length", "--set-above") else any_number
            parser.add_argument(name, type=kind, required=True, help=what)
        parser.add_argument("--corner", type=amount, metavar="DEG", help="its angle")
        parser.add_argument(
            "--through-expansion", type=any_number, help="through the plies of a corner"
        )

    def answer(self, options):
        corner, through = options["corner"], options["through_expansion"]
        if (corner is None) != (through is None):
            raise BadInput("mold_size: --corner and --through-expansion go together")
        part, above = options["part_expansion"], options["set_above"]
        try:
            tool = thermal.tool_length(
                options["length"], part, options["tool_expansion"], above
            )
        except thermal.ThermalError as why:
            raise BadInput(f"mold_size: {why}") from why
        closes = None
        if corner is not None:
            closes = thermal.spring_in_deg(corner, through, part, above)
        plain = {
            "tool_mm": tool,
            "longer_than_part_mm": tool - options["length"],
            "corner_closes_deg": closes,
        }
        longer = plain["longer_than_part_mm"]
        word = "longer" if longer >= 0 else "shorter"
        lines = [f"Tool {tool:.3f} mm: {abs(longer):.3f} mm {word} than the part."]
        if closes is not None:
            word = "closes" if closes >= 0 else "opens"
            lines.append(f"The corner {word} by {abs(closes):.3f} degrees on cooling.")
        return Answer(plain, lines)
