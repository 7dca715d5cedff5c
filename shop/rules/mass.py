"""Mass: what a laminate should weigh, what a weight says of it, how weights sum.

Rows hold whole numbers (mg, nm, millionths), the numbers g, kg and mm.
"""

from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _

from shop.models import (
    NOT_WEIGHED,
    Laminate,
    Lineage,
    MaterialKind,
    Part,
    PartDesign,
    PartState,
)
from shop.numeric import balance
from shop.numeric import laminate as numbers
from shop.numeric.units import (
    BP,
    BP_PER_PERCENT,
    KG_M3_PER_G_CM3,
    MG_PER_G,
    MG_PER_KG,
    MILLI,
    MM2_PER_M2,
    PER_KG_PER_PERCENT,
    PPM,
    to_mm,
)

COVERAGE = 2  # a weight within two standard deviations needs no reason
RATIO_OFF_BP = 300  # hardener 3 % off its ratio asks for a reason; common practice


def layers_of(laminate: Laminate, plies) -> list:
    """Layers of `plies` (rows of Ply with their material) for the numbers."""
    resin = laminate.resin.density / KG_M3_PER_G_CM3
    layers = []
    for ply in plies:
        material, area = ply.material, ply.area_mm2 / MM2_PER_M2
        if material.kind == MaterialKind.CORE:
            layers.append(
                numbers.Core(
                    ply.area_name,
                    to_mm(material.thickness_nm),
                    material.density,
                    laminate.core_uptake,
                    area,
                )
            )
            continue
        density = material.density / KG_M3_PER_G_CM3
        wet = 1 - numbers.fiber_mass_fraction(
            laminate.fiber_fraction_ppm / PPM, density, resin
        )
        layers.append(
            numbers.Ply(
                ply.area_name,
                material.areal_mass,
                wet,
                density,
                resin,
                area,
                ply.orientation,
            )
        )
    return layers


@dataclass(frozen=True)
class Area:
    """One area of a laminate: thickness mm, mass g/m2, plies in order."""

    name: str
    area_m2: float
    stack: numbers.Stack
    plies: list


@dataclass(frozen=True)
class Expectation:
    """Expected mass with its band, and what is known to be in it. Milligrams."""

    mass_mg: int
    low_mg: int
    high_mg: int
    fiber_mg: int
    core_mg: int

    @property
    def grams(self) -> tuple[float, float, float]:
        """Mass, and the band around it."""
        return self.mass_mg / MG_PER_G, self.low_mg / MG_PER_G, self.high_mg / MG_PER_G


def areas_of(laminate: Laminate, plies) -> list[Area]:
    """Thickness and mass by area, in the order in which the areas are first named."""
    by_name: dict[str, list] = {}
    for ply in plies:
        by_name.setdefault(ply.area_name, []).append(ply)
    return [
        Area(
            name,
            rows[0].area_mm2 / MM2_PER_M2,
            numbers.stack_up(layers_of(laminate, rows)),
            rows,
        )
        for name, rows in by_name.items()
    ]


def expectation(laminate: Laminate, plies) -> Expectation | None:
    """What the part should weigh; None for a laminate without plies."""
    layers = layers_of(laminate, plies)
    if not layers:
        return None
    spread = laminate.spread_ppm / PPM
    expected = numbers.expected_mass(layers, resin_spread=spread)
    mass, band = (
        round(expected.mass_g * MG_PER_G),
        round(COVERAGE * expected.spread_g * MG_PER_G),
    )
    fiber = sum(layer.fiber_g_m2 * layer.area_m2 for layer in layers)
    cores = [layer for layer in layers if layer.kind == "core"]
    core = sum(layer.core_g_m2 * layer.area_m2 for layer in cores)
    return Expectation(
        mass, mass - band, mass + band, round(fiber * MG_PER_G), round(core * MG_PER_G)
    )


def resin_fraction(mass_mg: int, expected: Expectation) -> float | None:
    """Resin fraction that a weight implies; None where it cannot be had."""
    if not expected.fiber_mg:
        return None
    try:
        return numbers.implied_resin_fraction(
            mass_mg / MG_PER_G,
            expected.fiber_mg / MG_PER_G,
            expected.core_mg / MG_PER_G,
        )
    except numbers.LaminateError:
        return None


def resin_to_mix(laminate: Laminate, plies, hardener_per_kg: int | None):
    """What to weigh out, or None without plies or ratio."""
    layers = layers_of(laminate, plies)
    if not layers or not hardener_per_kg:
        return None
    needed = numbers.resin_needed_g(layers)
    return numbers.mix(
        needed, laminate.loss_ppm / PPM, hardener_per_kg / PER_KG_PER_PERCENT
    )


def ratio_off_bp(resin_mg: int, hardener_mg: int, per_kg: int | None) -> int | None:
    """How far the hardener is off its ratio, in hundredths of a percent."""
    if not per_kg:
        return None
    return round((hardener_mg * MILLI / (resin_mg * per_kg) - 1) * BP)


def ratio_warnings(off_bp: int | None, resin) -> list[str]:
    """Say that a hardener is too far off the ratio of its resin; [] when it is not."""
    if off_bp is None or abs(off_bp) <= RATIO_OFF_BP:
        return []
    message = _("The hardener is %(off)s %% off its ratio of 100 : %(ratio)s.")
    values = {
        "off": f"{off_bp / BP_PER_PERCENT:+z.1f}",
        "ratio": f"{resin.ratio / PER_KG_PER_PERCENT:g}",
    }
    return [message % values]


def roll_up(items) -> balance.RollUp:
    """Sum (label, mg or None, nm, estimated) to kg and mm."""
    return balance.roll_up(
        balance.Item(
            label,
            None if mass is None else mass / MG_PER_KG,
            to_mm(arm),
            "missing" if mass is None else "estimated" if estimated else "weighed",
        )
        for label, mass, arm, estimated in items
    )


def residual(total: balance.RollUp, mass_mg: int, arm_nm: int | None):
    """What a weighed airframe has more than its items; arm unknown: of the mass."""
    arm = (total.arm or 0.0) if arm_nm is None else to_mm(arm_nm)
    return balance.residual(total, mass_mg / MG_PER_KG, arm)


def expectation_of(part: Part) -> Expectation | None:
    """What the laminate says the trimmed part weighs; None where it cannot say.

    A pull that yields several parts says it only for the design its laminate names.
    """
    edge = (
        Lineage.objects.filter(part=part, pull__isnull=False)
        .select_related("pull__laminate__resin")
        .first()
    )
    if edge is None:
        return None
    laminate = edge.pull.laminate
    if laminate.design_id not in (None, part.design_id):
        return None
    if laminate.design_id is None and edge.pull.yields.count() > 1:
        return None
    return expectation(laminate, laminate.plies.select_related("material"))


def outside(mass_mg: int, expected: Expectation | None) -> list[str]:
    """Say that a weight is not what was expected; [] when it is."""
    if expected is None or expected.low_mg <= mass_mg <= expected.high_mg:
        return []
    message = _("Expected %(low)s to %(high)s g from its laminate.")
    low, high = (
        f"{expected.low_mg / MG_PER_G:.0f}",
        f"{expected.high_mg / MG_PER_G:.0f}",
    )
    return [message % {"low": low, "high": high}]


def waits_for_a_scale():
    """Parts never weighed, or only by hand: scrap and coupons aside."""
    return _not_weighed().exclude(design__in=_coupons())


def how_many_wait() -> int:
    """All but the coupons, which are counted by their designs: to ask of each part
    whether it is one takes longer than to show a page of them."""
    coupons = _not_weighed().filter(design__in=_coupons())
    return _not_weighed().count() - coupons.count()


def _not_weighed():
    return Part.objects.filter(NOT_WEIGHED, ~Q(state=PartState.SCRAPPED))


def _coupons():
    return PartDesign.objects.filter(is_coupon=True).order_by().values("pk")
