"""Thickness, mass and resin of a laminate from a file: `laminate FILE.csv`.

No database.
"""

import argparse
from pathlib import Path

from shop.files import layers as laminate_file
from shop.files.command_line import Answer, BadInput, FileCommand, reading_file
from shop.files.csv_table import number, read_file
from shop.numeric.laminate import (
    LaminateError,
    Layer,
    Ply,
    expected_mass,
    mix,
    resin_needed_g,
    stack_up,
)

EXIT_HELP = (
    "Columns: layer, kind (ply, core, film), count, fiber_g_m2, resin_fraction, "
    "fiber_g_cm3, resin_g_cm3, thickness_mm, density_kg_m3, uptake_g_m2 (of each face "
    "of a core), mass_g_m2, area_m2, angle_deg. Exit code: 0, or 3 on bad input. Resin "
    "sensitizes the skin for life: gloves, sleeves, and the data sheet governs."
)


class Command(FileCommand):
    help = "Thickness, mass per area, fiber volume fraction and resin to mix."
    exit_help = EXIT_HELP

    def add_arguments(self, parser):
        def part(name, default, text):
            parser.add_argument(
                name, type=share, default=default, help=f"{text} (default {default})"
            )

        super().add_arguments(parser)
        parser.add_argument("laminate", metavar="FILE.csv", type=Path)
        parser.add_argument(
            "--area-m2", type=amount, help="area of layers that have none of their own"
        )
        parser.add_argument(
            "--hardener",
            type=amount,
            metavar="PARTS",
            help="parts of hardener by weight to 100 of resin",
        )
        part("--loss", 0.15, "resin lost in pot and brush, a share of what is needed")
        part("--resin-spread", 0.03, "standard deviation of the resin fraction")
        part("--uptake-spread", 0.2, "standard deviation of core uptake, a share")
        part("--area-spread", 0.01, "standard deviation of areas, a share")

    def answer(self, options):
        laminate = worked_out(options)
        return Answer(laminate, text_lines(laminate))


def amount(text: str) -> float:
    """A number of 0 or more from an option."""
    return _from_option(text, laminate_file.FURTHEST)


def share(text: str) -> float:
    """A share from an option: 0.15 is 15 %."""
    return _from_option(text, 1, " (0.15 is 15 %)")


def _from_option(text: str, most: float, hint: str = "") -> float:
    try:
        value = float(number(text.strip()))
    except ValueError as why:
        raise argparse.ArgumentTypeError(str(why)) from why
    if not 0 <= value <= most:
        raise argparse.ArgumentTypeError(f"{text!r} must be 0 to {most}{hint}")
    return value


def worked_out(options: dict) -> dict:
    """What the options ask for, as documented for other programs. Raises BadInput.

    `mix` and `part` are null while an area is missing, the two of `mix` also without
    --hardener.
    """
    with reading_file(options["laminate"]) as path:
        layers = laminate_file.parse(read_file(path))
        stack = stack_up(layers)
    laminate = {
        "layers": [_layer(layer) for layer in layers],
        "thickness_mm": stack.thickness_mm,
        "mass_g_m2": stack.mass_g_m2,
        "fiber_g_m2": stack.fiber_g_m2,
        "resin_g_m2": stack.resin_g_m2,
        "uptake_g_m2": stack.uptake_g_m2,
        "core_g_m2": stack.core_g_m2,
        "film_g_m2": stack.film_g_m2,
        "fiber_volume_fraction": stack.volume_fraction,
        "mix": None,
        "part": None,
    }
    areas = {layer.area_m2 or options["area_m2"] for layer in layers}
    if None not in areas:
        try:
            laminate |= _part(layers, options)
        except LaminateError as why:
            raise BadInput(f"laminate: {why}") from why
    return laminate


def _layer(layer: Layer) -> dict:
    fraction = layer.volume_fraction if isinstance(layer, Ply) else None
    return {
        "layer": layer.label,
        "kind": layer.kind,
        "thickness_mm": layer.thickness_mm,
        "mass_g_m2": layer.mass_g_m2,
        "fiber_g_m2": layer.fiber_g_m2,
        "resin_g_m2": layer.resin_g_m2,
        "fiber_volume_fraction": fraction,
        "area_m2": layer.area_m2,
        "angle_deg": layer.angle_deg if isinstance(layer, Ply) else None,
    }


def _part(layers, options: dict) -> dict:
    area = options["area_m2"]
    batch = mix(resin_needed_g(layers, area), options["loss"], options["hardener"])
    expected = expected_mass(
        layers,
        area,
        resin_spread=options["resin_spread"],
        uptake_spread=options["uptake_spread"],
        area_spread=options["area_spread"],
    )
    return {
        "mix": {
            "needed_g": batch.needed_g,
            "loss": options["loss"],
            "total_g": batch.total_g,
            "resin_g": batch.resin_g,
            "hardener_g": batch.hardener_g,
        },
        "part": {"mass_g": expected.mass_g, "spread_g": expected.spread_g},
    }


def text_lines(laminate: dict) -> list[str]:
    """The laminate for people."""
    width = max(5, *(len(layer["layer"]) for layer in laminate["layers"]))
    lines = [f"{'layer':<{width}}  kind       mm    g/m2   resin     Vf"]
    for layer in laminate["layers"]:
        cells = [f"{layer['layer']:<{width}}", f"{layer['kind']:<4}"]
        cells.append(f"{layer['thickness_mm']:7.4f}")
        cells += [f"{layer[name]:6.1f}" for name in ("mass_g_m2", "resin_g_m2")]
        if layer["fiber_volume_fraction"] is not None:
            cells.append(f"{layer['fiber_volume_fraction']:.4f}")
        lines.append("  ".join(cells))
    resin = laminate["resin_g_m2"] + laminate["uptake_g_m2"]
    fraction = laminate["fiber_volume_fraction"]
    lines += [
        "",
        f"Thickness {laminate['thickness_mm']:.3f} mm, "
        f"mass {laminate['mass_g_m2']:.1f} g/m2.",
        f"Fiber {laminate['fiber_g_m2']:.1f}, resin {resin:.1f} (core uptake "
        f"{laminate['uptake_g_m2']:.1f}), core {laminate['core_g_m2']:.1f}, film "
        f"{laminate['film_g_m2']:.1f} g/m2.",
    ]
    if fraction is not None:
        lines.append(f"Fiber volume fraction of the plies {fraction:.4f}.")
    if laminate["part"] is None:
        return [*lines, "No part mass and no mix: give --area-m2, or area_m2 by layer."]
    part, batch = laminate["part"], laminate["mix"]
    lines.append(
        f"Part {part['mass_g']:.0f} g, standard deviation {part['spread_g']:.0f} g."
    )
    lines.append(
        f"Resin to mix {batch['total_g']:.0f} g ({batch['needed_g']:.0f} g in the part "
        f"and {batch['loss']:.0%} loss)" + _weigh_out(batch)
    )
    return lines


def _weigh_out(batch: dict) -> str:
    if batch["hardener_g"] is None:
        return "; give --hardener for the two weights."
    return f": resin {batch['resin_g']:.0f} g, hardener {batch['hardener_g']:.0f} g."
