"""What steps, gaps and waves a laminar surface allows: `allowable_step --speed-kt 90`.

No database.
"""

import argparse

from shop.files.command_line import Answer, BadInput, FileCommand
from shop.files.csv_table import number
from shop.numeric import aero

EXIT_HELP = (
    "Exit code: 0, or 3 on bad input. Only where the flow is laminar: nose of wing and "
    "tail, forward fuselage. Each line names where its number comes from; --sharp-step "
    "puts another one in for both sharp steps, on which sources conflict."
)
FOOT_IN = 12


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

    def answer(self, options):
        try:
            allowed = worked_out(options)
        except aero.AeroError as why:
            raise BadInput(f"allowable_step: {why}") from why
        return Answer(allowed, text_lines(allowed))


def amount(text: str) -> float:
    """A number of 0 or more from an option."""
    try:
        value = float(number(text.strip()))
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if not 0 <= value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} must be finite and 0 or more")
    return value


def worked_out(options: dict) -> dict:
    """What is allowed, as documented for other programs. Raises AeroError."""
    speed, altitude = options["speed_m_s"], options["altitude_m"]
    if speed is None:
        speed = options["speed_kt"] * aero.KNOT_M_S
    if altitude is None:
        altitude = options["altitude_ft"] * aero.FOOT_M
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
        chord_in = chord_m / aero.FOOT_M * FOOT_IN
        allowed["wave_ratio"] = aero.wave_ratio(chord_in, per_m * chord_m)
    return allowed


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
    notes = dict.fromkeys(row["status"] for row in allowed["allowed"])
    return [*lines, "", *(note for note in notes if len(note) > 40)]
