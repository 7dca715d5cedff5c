"""Density, voids and fiber content of a coupon: `coupon --in-air 12.4 --immersed 4.6`.

No database.
"""

from shop.files.command_line import Answer, BadInput, FileCommand, amount
from shop.numeric import laminate

VOIDS = ("resin_fraction", "fiber_g_cm3", "resin_g_cm3")
CONTENT = ("plies", "fiber_g_m2", "fiber_g_cm3", "thickness_mm")


class Command(FileCommand):
    help = (
        "Density of a coupon by weighing in air and in water (ASTM D792); voids, given "
        "its resin fraction and both densities (D2734); fiber volume fraction, given "
        "plies, fiber weight, fiber density and thickness (D3171, method II)."
    )
    exit_help = "Exit code: 0 answered; 3 bad input."

    def add_arguments(self, parser):
        super().add_arguments(parser)
        for name, needed, what in (
            ("--in-air", True, "g"),
            ("--immersed", True, "g, with the wire that holds it"),
            ("--wire", False, "g, the wire alone in water (0)"),
            ("--resin-fraction", False, "by mass, 0.35 is 35 %%"),
            ("--fiber-g-cm3", False, "density of the fiber"),
            ("--resin-g-cm3", False, "density of the resin"),
            ("--fiber-g-m2", False, "fiber of one ply"),
            ("--thickness-mm", False, "as measured"),
        ):
            parser.add_argument(name, type=amount, required=needed, help=what)
        parser.add_argument("--plies", type=int)

    def answer(self, options):
        try:
            plain = worked_out(options)
        except laminate.LaminateError as why:
            raise BadInput(f"coupon: {why}") from why
        return Answer(plain, text_lines(plain))


def worked_out(options: dict) -> dict:
    """What the weighings say, None where too little is given. Raises LaminateError."""
    density = laminate.density_by_displacement(
        options["in_air"], options["immersed"], options["wire"] or 0.0
    )
    voids = content = None
    known = [options[name] for name in VOIDS]
    if None not in known:
        voids = laminate.void_percent(*known, density)
    known = [options[name] for name in CONTENT]
    if None not in known:
        content = laminate.volume_fraction_from_thickness(*known)
    return {
        "density_g_cm3": density,
        "void_percent": voids,
        "fiber_volume_fraction": content,
    }


def text_lines(plain: dict) -> list[str]:
    """The same for people."""
    voids, content = plain["void_percent"], plain["fiber_volume_fraction"]
    lines = [f"Density {plain['density_g_cm3']:.4f} g/cm3."]
    if voids is None:
        lines.append("No voids: give --resin-fraction, --fiber-g-cm3, --resin-g-cm3.")
    else:
        lines.append(f"Voids {voids:.2f} % of the volume.")
        if voids < 0:
            lines.append("Less than none: one of the densities or weights is wrong.")
    if content is not None:
        lines.append(f"Fiber volume fraction {content:.4f}, by thickness alone.")
    return lines
