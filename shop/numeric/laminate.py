"""Laminates: fiber volume fraction, thickness, mass, resin to mix, voids.

Densities g/cm3, areal masses g/m2, thickness mm, areas m2, masses g. Resin fraction is
by mass, resin over fiber and resin. The formulas are the rule of mixtures, and where
said those of ASTM D3171 (text of its scope read), D2734 and D792 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from shop.numeric.units import PERCENT, UM_PER_MM


class LaminateError(ValueError):
    """A value that cannot be; the message says which and why."""


def fiber_volume_fraction(
    resin_fraction: float, fiber_density: float, resin_density: float
) -> float:
    """Vf of a laminate without voids: (Wf / rho_f) / (Wf / rho_f + Wr / rho_r)."""
    _share(resin_fraction=resin_fraction)
    _positive(fiber_density=fiber_density, resin_density=resin_density)
    fiber = (1 - resin_fraction) / fiber_density
    return fiber / (fiber + resin_fraction / resin_density)


def fiber_mass_fraction(
    volume_fraction: float, fiber_density: float, resin_density: float
) -> float:
    """Wf from Vf. Not the same number: 60 % by volume of carbon is 70 % by mass."""
    _share(volume_fraction=volume_fraction)
    _positive(fiber_density=fiber_density, resin_density=resin_density)
    fiber = volume_fraction * fiber_density
    return fiber / (fiber + (1 - volume_fraction) * resin_density)


def laminate_density(
    resin_fraction: float, fiber_density: float, resin_density: float
) -> float:
    """Density without voids, 1 / (Wf / rho_f + Wr / rho_r)."""
    _share(resin_fraction=resin_fraction)
    _positive(fiber_density=fiber_density, resin_density=resin_density)
    fiber, resin = (1 - resin_fraction) / fiber_density, resin_fraction / resin_density
    return 1 / (fiber + resin)


def ply_thickness(fiber_g_m2: float, fiber_density: float, volume_fraction: float):
    """Cured thickness in mm: FAW / (1000 rho_f Vf)."""
    _positive(
        fiber_g_m2=fiber_g_m2,
        fiber_density=fiber_density,
        volume_fraction=volume_fraction,
    )
    return fiber_g_m2 / (UM_PER_MM * fiber_density * volume_fraction)


def ply_mass(fiber_g_m2: float, resin_fraction: float) -> float:
    """Fiber and resin in g/m2: FAW / (1 - Wr)."""
    _share(resin_fraction=resin_fraction)
    _not_negative(fiber_g_m2=fiber_g_m2)
    return fiber_g_m2 / (1 - resin_fraction)


def volume_fraction_from_thickness(
    plies: int, fiber_g_m2: float, fiber_density: float, thickness_mm: float
) -> float:
    """Vf from a measured thickness (ASTM D3171 method II; says nothing of voids)."""
    _positive(plies=plies, fiber_density=fiber_density, thickness_mm=thickness_mm)
    _not_negative(fiber_g_m2=fiber_g_m2)
    return plies * fiber_g_m2 / (UM_PER_MM * fiber_density * thickness_mm)


def implied_resin_fraction(
    mass_g: float, fiber_g: float, other_g: float = 0.0
) -> float:
    """Resin fraction that a weighed part implies, from what is known to be in it.

    `other_g` is core, film, inserts. Negative when the fiber alone weighs more than the
    part: then an area, a ply or a scale is wrong, and it is shown, not clamped.
    """
    _positive(mass_g=mass_g, fiber_g=fiber_g)
    _not_negative(other_g=other_g)
    laminate = mass_g - other_g
    if laminate <= 0:
        raise LaminateError(
            f"core and other parts weigh {other_g:g} g, the whole part {mass_g:g} g"
        )
    return (laminate - fiber_g) / laminate


def void_percent(
    resin_fraction: float,
    fiber_density: float,
    resin_density: float,
    measured_density: float,
) -> float:
    """Voids in percent of volume (ASTM D2734): 100 (Td - Md) / Td.

    A negative result means a wrong density went in; it is shown, not clamped.
    """
    _positive(measured_density=measured_density)
    ideal = laminate_density(resin_fraction, fiber_density, resin_density)
    return PERCENT * (ideal - measured_density) / ideal


def density_by_displacement(
    in_air_g: float, immersed_g: float, held_g: float = 0.0
) -> float:
    """Density in g/cm3 at 23 degC (ASTM D792): 0.9975 a / (a + w - b).

    `in_air_g` a, `immersed_g` b of specimen and wire in water, `held_g` w of the wire.
    """
    _positive(in_air_g=in_air_g)
    if not (math.isfinite(immersed_g) and math.isfinite(held_g)):
        raise LaminateError(f"weights must be numbers: {immersed_g}, {held_g}")
    displaced = in_air_g + held_g - immersed_g
    if displaced <= 0:
        raise LaminateError("the specimen weighs no less in water than in air")
    return 0.9975 * in_air_g / displaced


@dataclass(frozen=True)
class Ply:
    """Fiber with resin; `angle_deg` None for mat or where it does not matter."""

    label: str
    fiber_g_m2: float
    resin_fraction: float
    fiber_density: float
    resin_density: float
    area_m2: float | None = None
    angle_deg: float | None = None

    kind = "ply"

    def __post_init__(self) -> None:
        _positive(
            fiber_g_m2=self.fiber_g_m2,
            fiber_density=self.fiber_density,
            resin_density=self.resin_density,
        )
        _share(resin_fraction=self.resin_fraction)
        _area(self.area_m2)

    @property
    def volume_fraction(self) -> float:
        return fiber_volume_fraction(
            self.resin_fraction, self.fiber_density, self.resin_density
        )

    @property
    def thickness_mm(self) -> float:
        return ply_thickness(self.fiber_g_m2, self.fiber_density, self.volume_fraction)

    @property
    def resin_g_m2(self) -> float:
        return ply_mass(self.fiber_g_m2, self.resin_fraction) - self.fiber_g_m2

    @property
    def mass_g_m2(self) -> float:
        return ply_mass(self.fiber_g_m2, self.resin_fraction)


@dataclass(frozen=True)
class Core:
    """Core; `uptake_g_m2` is the resin that each of its two faces drinks: an input.

    It is as large a lever as the skins, and no constant.
    """

    label: str
    thickness_mm: float
    density_kg_m3: float
    uptake_g_m2: float
    area_m2: float | None = None

    kind = "core"
    fiber_g_m2 = 0.0

    def __post_init__(self) -> None:
        _positive(thickness_mm=self.thickness_mm, density_kg_m3=self.density_kg_m3)
        _not_negative(uptake_g_m2=self.uptake_g_m2)
        _area(self.area_m2)

    @property
    def core_g_m2(self) -> float:
        return self.thickness_mm * self.density_kg_m3

    @property
    def resin_g_m2(self) -> float:
        return 2 * self.uptake_g_m2

    @property
    def mass_g_m2(self) -> float:
        return self.core_g_m2 + self.resin_g_m2


@dataclass(frozen=True)
class Film:
    """Adhesive film, paste, surface coat, paint: mass and thickness, no mixed resin."""

    label: str
    mass_g_m2: float
    thickness_mm: float = 0.0
    area_m2: float | None = None

    kind = "film"
    fiber_g_m2 = 0.0
    resin_g_m2 = 0.0

    def __post_init__(self) -> None:
        _not_negative(mass_g_m2=self.mass_g_m2, thickness_mm=self.thickness_mm)
        _area(self.area_m2)


Layer = Ply | Core | Film


@dataclass(frozen=True)
class Stack:
    """A laminate per square meter where all of its layers lie.

    `volume_fraction` is that of the plies together, None without plies.
    """

    thickness_mm: float
    mass_g_m2: float
    fiber_g_m2: float
    resin_g_m2: float
    uptake_g_m2: float
    core_g_m2: float
    film_g_m2: float
    volume_fraction: float | None


def stack_up(layers) -> Stack:
    """Thickness, masses and fiber volume fraction of layers on top of each other."""
    layers = tuple(layers)
    if not layers:
        raise LaminateError("a laminate needs at least one layer")
    plies = [layer for layer in layers if isinstance(layer, Ply)]
    cores = [layer for layer in layers if isinstance(layer, Core)]
    films = [layer for layer in layers if isinstance(layer, Film)]
    fiber = math.fsum(ply.fiber_g_m2 / ply.fiber_density for ply in plies)
    resin = math.fsum(ply.resin_g_m2 / ply.resin_density for ply in plies)
    return Stack(
        thickness_mm=math.fsum(layer.thickness_mm for layer in layers),
        mass_g_m2=math.fsum(layer.mass_g_m2 for layer in layers),
        fiber_g_m2=math.fsum(ply.fiber_g_m2 for ply in plies),
        resin_g_m2=math.fsum(ply.resin_g_m2 for ply in plies),
        uptake_g_m2=math.fsum(core.resin_g_m2 for core in cores),
        core_g_m2=math.fsum(core.core_g_m2 for core in cores),
        film_g_m2=math.fsum(film.mass_g_m2 for film in films),
        volume_fraction=fiber / (fiber + resin) if plies else None,
    )


@dataclass(frozen=True)
class Mix:
    """What to weigh out, in g, for what the laminate takes and what is lost.

    `resin_g` and `hardener_g` are None while their ratio is not known.
    """

    needed_g: float
    total_g: float
    resin_g: float | None
    hardener_g: float | None


def mix(needed_g: float, loss: float, hardener_per_100: float | None = None) -> Mix:
    """Resin and hardener for `needed_g` in the part plus a share `loss` of it.

    `loss` is pot and brush loss, 0.10 to 0.20 for hand lay-up (common practice);
    `hardener_per_100` parts by weight of hardener to 100 of resin.
    """
    _not_negative(needed_g=needed_g, loss=loss)
    total = needed_g * (1 + loss)
    if hardener_per_100 is None:
        return Mix(needed_g, total, None, None)
    _positive(hardener_per_100=hardener_per_100)
    resin = total * 100 / (100 + hardener_per_100)
    return Mix(needed_g, total, resin, total - resin)


def resin_needed_g(layers, area_m2: float | None = None) -> float:
    """Mixed resin that goes into the part; `area_m2` for layers without their own."""
    return math.fsum(layer.resin_g_m2 * _area_of(layer, area_m2) for layer in layers)


@dataclass(frozen=True)
class ExpectedMass:
    """Expected mass of a part and one standard deviation of it, in g."""

    mass_g: float
    spread_g: float


def expected_mass(
    layers,
    area_m2: float | None = None,
    *,
    resin_spread: float = 0.03,
    uptake_spread: float = 0.2,
    area_spread: float = 0.01,
) -> ExpectedMass:
    """Mass of the part with its spread, from the spread of what varies.

    `resin_spread` is the standard deviation of the resin fraction of all plies together
    (one person, one day, one wetness), `uptake_spread` that of core uptake and
    `area_spread` that of areas, both as shares. The three are taken as independent and
    added as squares, to first order: d(FAW / (1 - Wr)) = FAW / (1 - Wr)^2 dWr. The
    default spreads are common practice, no source: set the shop's own.
    """
    layers = tuple(layers)
    _not_negative(
        resin_spread=resin_spread, uptake_spread=uptake_spread, area_spread=area_spread
    )
    areas = [_area_of(layer, area_m2) for layer in layers]
    pairs = list(zip(layers, areas, strict=True))
    mass = math.fsum(layer.mass_g_m2 * area for layer, area in pairs)
    wet = math.fsum(
        area * layer.fiber_g_m2 / (1 - layer.resin_fraction) ** 2
        for layer, area in pairs
        if isinstance(layer, Ply)
    )
    drunk = math.fsum(
        area * layer.resin_g_m2 for layer, area in pairs if isinstance(layer, Core)
    )
    spread = math.hypot(wet * resin_spread, drunk * uptake_spread, mass * area_spread)
    return ExpectedMass(mass, spread)


def _area_of(layer: Layer, area_m2: float | None) -> float:
    area = layer.area_m2 if layer.area_m2 is not None else area_m2
    if area is None:
        raise LaminateError(f"layer {layer.label} has no area")
    _area(area)
    return area


def _area(area_m2: float | None) -> None:
    if area_m2 is not None:
        _positive(area_m2=area_m2)


def _share(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and 0 <= value < 1):
            raise LaminateError(f"{name} must be 0 to less than 1, not {value}")


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise LaminateError(f"{name} must be more than 0, not {value}")


def _not_negative(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0):
            raise LaminateError(f"{name} must be 0 or more, not {value}")
