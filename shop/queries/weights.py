"""Weights: of one part, of all that wait for a scale, of an airframe in all."""

from dataclasses import dataclass

from django.core.paginator import Page

from shop.models import (
    Airframe,
    AirframeWeighing,
    Part,
    Placement,
    Position,
    Stage,
    Weighing,
)
from shop.numeric.units import MG_PER_KG, PERCENT
from shop.rules import mass
from shop.rules.mass import expectation_of, how_many_wait, waits_for_a_scale

from .paging import page_of, search
from .suspects import doubts_about
from .tooling import photos_of


@dataclass(frozen=True)
class PartFloor:
    """Resin fraction is implied by the newest trimmed weight; None: cannot be said."""

    weighings: list[Weighing]
    expected: mass.Expectation | None
    resin_fraction: float | None
    doubts: list
    photos: list

    @property
    def expected_g(self) -> tuple[float, float, float] | None:
        return self.expected and self.expected.grams

    @property
    def resin_percent(self) -> float | None:
        return None if self.resin_fraction is None else PERCENT * self.resin_fraction


def part_floor(part: Part) -> PartFloor:
    """What the shop floor knows of a part: weights, doubts, photos."""
    rows = list(part.weighings.select_related("entry__by"))
    expected = expectation_of(part)
    trimmed = next((row for row in rows if row.stage == Stage.TRIMMED), None)
    known = trimmed and expected and not trimmed.estimate
    fraction = mass.resin_fraction(trimmed.mass_mg, expected) if known else None
    doubts, photos = doubts_about(part), photos_of("part", part.pk)
    return PartFloor(rows, expected, fraction, doubts, photos)


def to_weigh(*, q="", page=1) -> Page:
    rows = waits_for_a_scale().select_related("design")
    count = None if q.strip() else how_many_wait()
    rows = search(rows, q, "serial", "design__number")
    return page_of(rows, page, lambda part: part, count=count)


@dataclass(frozen=True)
class Line:
    """One position: what sits in it, its mass in kg and how well it is known."""

    position: Position
    part: Part | None
    kg: float | None
    basis: str


@dataclass(frozen=True)
class BalancePage:
    """Sums in kg and mm. `total` leaves out positions without an arm: `no_arm`."""

    airframe: Airframe
    lines: list[Line]
    total: object
    no_arm: list[Line]
    weighed: AirframeWeighing | None
    residual: object | None


def balance_page(airframe: Airframe) -> BalancePage:
    """Roll up the parts on an airframe: three statements."""
    sitting = {
        row.position_id: row.part
        for row in Placement.objects.filter(
            airframe=airframe, removed_at=None
        ).select_related("part__design")
    }
    positions = Position.objects.filter(type_id=airframe.type_id)
    lines = [_line(position, sitting.get(position.pk)) for position in positions]
    fitted = [line for line in lines if line.part]
    with_arm = [line for line in fitted if line.position.arm_nm is not None]
    total = mass.roll_up(
        (
            line.part.serial,
            line.part.mass_mg,
            line.position.arm_nm,
            line.part.mass_is_estimate,
        )
        for line in with_arm
    )
    weighed = airframe.weighings.select_related("entry__by").first()
    left = weighed and mass.residual(total, weighed.mass_mg, weighed.arm_nm)
    no_arm = [line for line in fitted if line.position.arm_nm is None]
    return BalancePage(airframe, lines, total, no_arm, weighed, left)


def _line(position: Position, part: Part | None) -> Line:
    if part is None:
        return Line(position, None, None, "empty")
    if part.mass_mg is None:
        return Line(position, part, None, "missing")
    basis = "estimated" if part.mass_is_estimate else "weighed"
    return Line(position, part, part.mass_mg / MG_PER_KG, basis)
