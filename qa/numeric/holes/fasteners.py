"""Clearance of fasteners in their holes, and the grip of temporary fasteners.

Formulas of ASME Y14.5M-1994 appendix B (B.3 floating, B.4 fixed, B.5 fixed without a
projected zone); the result of B.4 and the example of B.5 were read in a reprint, the
numbers of B.3 are from memory, and the letters of later editions were not checked.
H smallest hole, F largest fastener, T position tolerance (diameter), all in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


class FastenerError(ValueError):
    """A size that cannot be; the message says which and why."""


def floating_tolerance(hole_mm: float, fastener_mm: float) -> float:
    """T = H - F for each part: every part has clearance around the fastener (B.3)."""
    _positive(hole_mm=hole_mm, fastener_mm=fastener_mm)
    return _tolerance(hole_mm - fastener_mm, hole_mm, fastener_mm)


def floating_hole(fastener_mm: float, tolerance_mm: float) -> float:
    """Smallest hole H = F + T of each part, floating fastener (B.3)."""
    _positive(fastener_mm=fastener_mm)
    _not_negative(tolerance_mm=tolerance_mm)
    return fastener_mm + tolerance_mm


def fixed_tolerance(hole_mm: float, fastener_mm: float) -> float:
    """T = (H - F) / 2 for each part: the fastener is held by one of the two (B.4)."""
    return floating_tolerance(hole_mm, fastener_mm) / 2


def fixed_hole(
    fastener_mm: float,
    clear_mm: float,
    held_mm: float,
    *,
    through_mm: float = 0.0,
    held_depth_mm: float | None = None,
) -> float:
    """Smallest clearance hole H = F + T1 + T2 (1 + 2 P / D), fixed fastener.

    `clear_mm` is the tolerance T1 of the clearance hole, `held_mm` that T2 of the hole
    that holds. Without a projected zone the fastener leans: P (`through_mm`) is how far
    it sticks through the other part, D (`held_depth_mm`) the depth that holds it (B.5).
    With a projected zone leave both out (B.4).
    """
    _positive(fastener_mm=fastener_mm)
    _not_negative(clear_mm=clear_mm, held_mm=held_mm, through_mm=through_mm)
    lean = 0.0
    if through_mm:
        if held_depth_mm is None:
            raise FastenerError("held_depth_mm must be given with through_mm")
        _positive(held_depth_mm=held_depth_mm)
        lean = 2 * through_mm / held_depth_mm
    return fastener_mm + clear_mm + held_mm * (1 + lean)


@dataclass(frozen=True)
class Grip:
    """Least and greatest stack in mm a temporary fastener holds, and who says so."""

    least_mm: float
    most_mm: float
    source: str


STANDARD_SPRING_GRIP = Grip(
    0.0,
    6.35,
    "common spring type, 0 to 1/4 in; seen in a magazine page, no standard was found",
)


@dataclass(frozen=True)
class GripCheck:
    """Whether a stack is held; `over_mm` beyond the grip, negative below its least."""

    stack_mm: float
    holds: bool
    over_mm: float


def check_grip(layers_mm, grip: Grip = STANDARD_SPRING_GRIP) -> GripCheck:
    """A stack of layers (thicknesses in mm) against a temporary fastener's grip."""
    _not_negative(least_mm=grip.least_mm, most_mm=grip.most_mm)
    layers = [float(layer) for layer in layers_mm]
    if not layers:
        raise FastenerError("a stack needs at least one layer")
    for number, layer in enumerate(layers, start=1):
        _not_negative(**{f"layer {number}": layer})
    # Sums of typed decimals carry rounding: a nanometer decides nothing here.
    stack = round(math.fsum(layers), 6)
    over = max(0.0, stack - grip.most_mm) + min(0.0, stack - grip.least_mm)
    return GripCheck(stack, over == 0.0, over)


def _tolerance(value: float, hole_mm: float, fastener_mm: float) -> float:
    if value < 0:
        raise FastenerError(
            f"a fastener of {fastener_mm:g} mm does not go into a {hole_mm:g} mm hole"
        )
    return value


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise FastenerError(f"{name} must be more than 0, not {value:g}")


def _not_negative(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0):
            raise FastenerError(f"{name} must be 0 or more, not {value:g}")
