"""What steps, gaps and waves a laminar surface allows: `allowable_step --speed-kt 90`.

No database.
"""

from shop.files.command_line import Answer, BadInput, FileCommand, amount, any_number
from shop.numeric import aero
from shop.numeric.units import IN_PER_FT, M_PER_FT, M_S_PER_KT

EXIT_HELP = (
    "Exit code: 0, or 3 on bad input. Only where the flow is laminar: nose of wing and "
    "tail, forward fuselage. Each line names where its number comes from; --sharp-step "
    "puts another one in for both sharp steps, on which sources conflict."
)
BY_FACING = ("forward_critical", "aft_critical")
EDGES = ("upstream", "downstream", "streamwise")


class Command(FileCommand):
    help = "Greatest step, gap and wave on a laminar surface, by speed and altitude."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        super().add_arguments(parser)
        speed = parser.add_mutually_exclusive_group(required=True)
        speed.add_argument("--speed-kt", type=amount, metavar="N", help="true airspeed")
        speed.add_argument("--speed-m-s", type=amount, metavar="N", help="the same")
        height = parser.add_mutually_exclusive_group()
        height.add_argument("--altitude-ft", type=amount, default=0.0, metavar="N")
        height.add_argument("--altitude-m", type=amount, metavar="N")
        parser.add_argument(
            "--sharp-step",
            type=amount,
            metavar="RE",
            help="critical Reynolds number of a sharp step (default 900)",
        )
        parser.add_argument(
            "--chord-m", type=amount, metavar="N", help="chord, for waves as well"
        )

        parser.add_argument(
            "--edge",
            choices=EDGES,
            help="of the part, where a step was measured",
        )
        parser.add_argument(
            "--flush-mm",
            type=any_number,
            metavar="N",
            help="that step: the part proud is positive, low negative",
        )

    def answer(self, options):
        if (options["edge"] is None) != (options["flush_mm"] is None):
            raise BadInput("allowable_step: --edge and --flush-mm go together")
        try:
            allowed = worked_out(options)
        except aero.AeroError as why:
            raise BadInput(f"allowable_step: {why}") from why
        return Answer(allowed, text_lines(allowed))


def worked_out(options: dict) -> dict:
    """What is allowed, as documented for other programs. Raises AeroError."""
    speed, altitude = options["speed_m_s"], options["altitude_m"]
    if speed is None:
        speed = options["speed_kt"] * M_S_PER_KT
    if altitude is None:
        altitude = options["altitude_ft"] * M_PER_FT
    per_m = aero.unit_reynolds(speed, aero.viscosity_m2_s(altitude))
    allowed = {"reynolds_per_m": per_m, "allowed": []}
    for critical in aero.CRITICALS:
        sharp = options["sharp_step"] if critical.status is aero.CONFLICT else None
        reynolds = critical.reynolds if sharp is None else sharp
        allowed["allowed"].append(
            {
                "what": critical.key,
                "name": critical.name,
                "reynolds": reynolds,
                "mm": aero.allowed_mm(reynolds, per_m),
                "source": critical.source if sharp is None else "as given",
                "status": critical.status if sharp is None else "",
            }
        )
    chord_m = options["chord_m"]
    allowed["wave_ratio"] = None
    if chord_m is not None:
        chord_in = chord_m / M_PER_FT * IN_PER_FT
        allowed["wave_ratio"] = aero.wave_ratio(chord_in, per_m * chord_m)
    allowed["step"] = None if options["edge"] is None else _step(options, per_m)
    return allowed


def _step(options: dict, per_m: float) -> dict:
    """A measured step, judged by which way it faces."""
    sharp = options["sharp_step"]
    criticals = {} if sharp is None else dict.fromkeys(BY_FACING, sharp)
    step = aero.judge_step(options["edge"], options["flush_mm"], per_m, **criticals)
    return {
        "facing": step.facing,
        "mm": step.height_mm,
        "allowed_mm": step.allowed_mm,
        "allowed": step.allowed,
    }


def text_lines(allowed: dict) -> list[str]:
    """The same for people."""
    width = max(len(row["name"]) for row in allowed["allowed"])
    lines = [f"Unit Reynolds number {allowed['reynolds_per_m']:.4g} per meter.", ""]
    lines += [
        f"{row['name']:<{width}}  {row['mm']:7.3f} mm  at {row['reynolds']:g}  "
        f"({row['source']})"
        for row in allowed["allowed"]
    ]
    if allowed["wave_ratio"] is not None:
        lines.append(
            "Single wave, double amplitude over wavelength: "
            f"{allowed['wave_ratio']:.5f} (Carmichael, second-hand)"
        )
    if step := allowed["step"]:
        most = "" if step["allowed_mm"] is None else f" of {step['allowed_mm']:.3f} mm"
        word = "allowed" if step["allowed"] else "more than is allowed"
        way = "no way" if step["facing"] == "none" else step["facing"]
        lines.append(f"A step of {step['mm']:g} mm that faces {way}: {word}{most}.")
    notes = dict.fromkeys(row["status"] for row in allowed["allowed"])
    return [*lines, "", *(note for note in notes if len(note) > 40)]
