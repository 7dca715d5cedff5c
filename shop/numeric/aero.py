"""Steps, gaps and waves that a laminar surface allows, by unit Reynolds number.

Only where the flow is laminar (nose of wing and tail, forward fuselage): aft of a
propeller or of a first step, limits are a matter of drag and looks. Heights mm, speeds
m/s, viscosity m2/s. A height h passes while U h / nu stays below a critical value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shop.numeric.units import MM_PER_M


class AeroError(ValueError):
    """A value that cannot be; the message says which and why."""


@dataclass(frozen=True)
class Critical:
    """A critical Reynolds number of a height or width: a value to start from."""

    key: str
    name: str
    reynolds: float
    source: str
    status: str


CONFLICT = (
    "Sources conflict on sharp steps: one second-hand note says forward-facing 900 and "
    "aft-facing 1800; reviews from memory, and the physics, say the reverse. Until the "
    "primary (NASA N88-23744) has been read, 900 holds for both. Change it here."
)
_SET = "Nenni & Gluyas 1966, restated by Holmes et al., NASA N88-23744 / SAE 850863"
CRITICALS = (
    Critical("forward_step", "Forward-facing step, sharp", 900, _SET, CONFLICT),
    Critical("aft_step", "Aft-facing step, sharp", 900, _SET, CONFLICT),
    Critical("rounded_step", "Forward-facing step, rounded", 2700, _SET, "from memory"),
    Critical("gap", "Gap across the flow, by its width", 15_000, _SET, "second-hand"),
    Critical("bump", "Single bump", 600, "Braslow & Knox", "second-hand"),
    Critical(
        "roughness",
        "Roughness of a turbulent surface",
        100,
        "Schlichting, Boundary Layer Theory, chapter XXI",
        "text read",
    ),
)


def unit_reynolds(speed_m_s: float, viscosity_m2_s: float) -> float:
    """Reynolds number per meter, U / nu."""
    _positive(speed_m_s=speed_m_s, viscosity_m2_s=viscosity_m2_s)
    return speed_m_s / viscosity_m2_s


def viscosity_m2_s(altitude_m: float = 0.0) -> float:
    """Kinematic viscosity of the standard atmosphere up to 11 km.

    ISO 2533 / US Standard Atmosphere 1976: 288.15 K and 101 325 Pa at sea level, 6.5 K
    less per km, Sutherland's law for the dynamic viscosity (constants from memory; the
    result agrees with published tables). Altitude is geopotential.
    """
    if not -1000 <= altitude_m <= 11_000:
        raise AeroError(f"altitude must be -1000 to 11000 m, not {altitude_m:g}")
    kelvin = 288.15 - 0.0065 * altitude_m
    pressure = 101_325 * (kelvin / 288.15) ** (9.80665 / (287.05287 * 0.0065))
    density = pressure / (287.05287 * kelvin)
    return 1.458e-6 * kelvin**1.5 / (kelvin + 110.4) / density


def allowed_mm(critical: float, reynolds_per_m: float) -> float:
    """Greatest height (or width of a gap) in mm below the critical Reynolds number."""
    _positive(critical=critical, reynolds_per_m=reynolds_per_m)
    return MM_PER_M * critical / reynolds_per_m


Edge = Literal["upstream", "downstream", "streamwise"]
Facing = Literal["forward", "aft", "none"]


def step_facing(edge: Edge, flush_mm: float) -> Facing:
    """Which way a step faces at an edge of the part; proud is positive.

    At the part's upstream edge a proud part faces forward and a low one aft; at its
    downstream edge the reverse. A streamwise edge, and no step, face neither way.
    """
    if edge not in ("upstream", "downstream", "streamwise"):
        raise AeroError(f"edge {edge!r} is not upstream, downstream or streamwise")
    if not math.isfinite(flush_mm):
        raise AeroError(f"flushness must be a number, not {flush_mm}")
    if edge == "streamwise" or flush_mm == 0:
        return "none"
    return "forward" if (edge == "upstream") == (flush_mm > 0) else "aft"


@dataclass(frozen=True)
class StepJudged:
    """A step against what its facing allows; `allowed_mm` None where nothing limits."""

    facing: Facing
    height_mm: float
    allowed_mm: float | None

    @property
    def allowed(self) -> bool:
        return self.allowed_mm is None or self.height_mm <= self.allowed_mm


def judge_step(
    edge: Edge,
    flush_mm: float,
    reynolds_per_m: float,
    *,
    forward_critical: float = 900,
    aft_critical: float = 900,
) -> StepJudged:
    """A step of `flush_mm` at an edge, by unit Reynolds number (see CONFLICT)."""
    facing = step_facing(edge, flush_mm)
    height = abs(flush_mm)
    if facing == "none":
        return StepJudged(facing, height, None)
    critical = forward_critical if facing == "forward" else aft_critical
    return StepJudged(facing, height, allowed_mm(critical, reynolds_per_m))


def wave_ratio(
    chord_in: float, chord_reynolds: float, *, sweep_deg: float = 0.0, waves: int = 1
) -> float:
    """Allowed double amplitude over wavelength, chord in inches (Carmichael).

    sqrt(59000 c cos^2(sweep) / Re_c^1.5), a third of it for several waves
    (second-hand).
    """
    _positive(chord_in=chord_in, chord_reynolds=chord_reynolds)
    if not 0 <= sweep_deg < 90 or not 1 <= waves < math.inf:
        raise AeroError("sweep must be 0 to less than 90 degrees, waves 1 or more")
    cosine = math.cos(math.radians(sweep_deg))
    ratio = math.sqrt(59_000 * chord_in * cosine**2 / chord_reynolds**1.5)
    return ratio if waves == 1 else ratio / 3


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise AeroError(f"{name} must be more than 0, not {value}")
