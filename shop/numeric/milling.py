"""What a mill leaves on a plug: scallops between passes, striation from axis play.

Lengths mm, angles degrees. Plane geometry of any machining textbook (from memory;
geometry re-derived). What sanding takes off must exceed scallop and striation together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


class MillingError(ValueError):
    """A set-up that cannot be; the message says which value and why."""


def scallop_mm(
    radius: float,
    stepover: float,
    *,
    slope_deg: float = 0.0,
    surface_radius: float | None = None,
) -> float:
    """Height of the cusp that a ball nose of `radius` leaves between two passes.

    On a flat R - sqrt(R^2 - (s/2)^2); on a slope with the stepover set in the plane, s
    becomes s / cos(slope). On a surface of radius rho (positive where convex, negative
    where concave) with s straight between the two places where the tool touches: the
    centers of the tool lie 2a apart, a = (rho + R) sin(phi) with sin(phi) = s / 2 rho,
    and h = R - sqrt(R^2 - a^2) - (rho + R)(1 - cos(phi)), exactly; to first order
    (s^2/8)(1/R + 1/rho). Raises MillingError where there is no scallop: the passes do
    not meet, or a tool that does not fit the hollow.
    """
    _positive(radius=radius, stepover=stepover)
    along = stepover / math.cos(_slope(slope_deg))
    sine, centers = 0.0, along / 2
    if surface_radius is not None:
        if not math.isfinite(surface_radius) or surface_radius == 0:
            raise MillingError("surface_radius must be a number other than 0")
        if -radius <= surface_radius < 0:
            raise MillingError(
                f"a tool of radius {radius:g} mm does not fit a hollow of radius "
                f"{-surface_radius:g} mm"
            )
        sine = along / 2 / surface_radius
        if abs(sine) >= 1:
            raise MillingError(
                f"a stepover of {along:g} mm is more than the surface is across"
            )
        centers = abs(surface_radius + radius) * abs(sine)
    if centers > radius:
        raise MillingError(
            f"a stepover of {along:g} mm along the surface is more than a tool of "
            f"radius {radius:g} mm covers: the passes do not meet"
        )
    # As above, without losing digits when the angles are small.
    cusp = centers**2 / (radius + math.sqrt(radius * radius - centers**2))
    if surface_radius is None:
        return cusp
    flatter = sine**2 / (1 + math.sqrt(1 - sine**2))  # 1 - cos(phi)
    return cusp - (surface_radius + radius) * flatter


def stepover_mm(radius: float, scallop: float, *, slope_deg: float = 0.0) -> float:
    """Stepover in the plane that leaves this scallop: 2 sqrt(2Rh - h^2) cos(slope)."""
    _positive(radius=radius, scallop=scallop)
    if scallop > radius:
        raise MillingError(
            f"no scallop is higher than the tool's radius: {scallop:g} > {radius:g} mm"
        )
    along = 2 * math.sqrt(2 * radius * scallop - scallop * scallop)
    return along * math.cos(_slope(slope_deg))


def striation_mm(play: float, slope_deg: float, *, height_play: float = 0.0) -> float:
    """Step between neighboring zig-zag passes, normal to the surface: b sin(slope).

    `play` is that of the axis along the feed, `slope_deg` the slope along the feed.
    Play of the height axis adds b_z cos(slope) where the feed turns from climbing to
    going down. It repeats every two stepovers.
    """
    _not_negative(play=play, height_play=height_play)
    slope = _slope(slope_deg)
    along = play * math.sin(slope)
    return along + (height_play * math.cos(slope) if height_play else 0.0)


def striation_governs_from_deg(play: float, scallop: float) -> float | None:
    """Slope from which striation exceeds the scallop; None when it never does."""
    _not_negative(play=play, scallop=scallop)
    return math.degrees(math.asin(scallop / play)) if play > scallop else None


@dataclass(frozen=True)
class SlopeFinish:
    """What is left at one slope, and whether sanding takes it off."""

    slope_deg: float
    scallop_mm: float
    striation_mm: float
    sanded_away: bool

    @property
    def total_mm(self) -> float:
        return self.scallop_mm + self.striation_mm


def finish_at_slopes(
    radius: float, stepover: float, play: float, sanding_mm: float, slopes_deg
) -> tuple[SlopeFinish, ...]:
    """Scallop and striation at each slope against `sanding_mm` that blocking removes.

    Raises MillingError at a slope where the passes do not meet.
    """
    _not_negative(sanding_mm=sanding_mm)
    finishes = []
    for slope in slopes_deg:
        scallop = scallop_mm(radius, stepover, slope_deg=slope)
        step = striation_mm(play, slope)
        finishes.append(SlopeFinish(slope, scallop, step, sanding_mm > scallop + step))
    return tuple(finishes)


def _slope(slope_deg: float) -> float:
    if not 0 <= slope_deg < 90:
        raise MillingError(f"slope must be 0 to less than 90 degrees, not {slope_deg}")
    return math.radians(slope_deg)


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise MillingError(f"{name} must be more than 0, not {value}")


def _not_negative(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0):
            raise MillingError(f"{name} must be 0 or more, not {value}")
