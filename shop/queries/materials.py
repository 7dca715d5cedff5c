"""What the pages of materials, lots and laminates show."""

from dataclasses import dataclass
from datetime import date

from django.core.paginator import Page
from django.utils import timezone

from shop.identifiers import KINDS
from shop.models import (
    CureRecipe,
    Hold,
    Laminate,
    Lot,
    LotAct,
    LotActKind,
    LotState,
    Material,
)
from shop.numeric.units import MIN_PER_H, PPM_PER_PERCENT
from shop.queries.genealogy import Group, groups
from shop.rules import cures, mass
from shop.rules.reach import reach

from .paging import count_of, page_of, search
from .tooling import open_hold


@dataclass(frozen=True)
class LotRow:
    id: int
    number: str
    material: str
    name: str
    received_on: date
    expires_on: date | None
    out_hours: str
    place: str
    supplier: str
    certificate: str
    state: str
    past: str


@dataclass(frozen=True)
class LotPage:
    """`equivalent_hours` at 23 degC is None where a time out lacks its temperature or
    was not at room temperature: the rule holds there only."""

    lot: Lot
    past: str
    acts: list[LotAct]
    equivalent_hours: float | None
    went_into: list[Group]
    hold: Hold | None

    @property
    def code(self) -> str:
        return KINDS["lot"].code(self.lot.pk)

    @property
    def out_hours(self) -> str:
        return f"{self.lot.out_minutes / MIN_PER_H:.1f}"


def _lot_row(lot: Lot) -> LotRow:
    return LotRow(
        lot.pk,
        lot.number,
        lot.material.code,
        lot.material.name,
        lot.received_on,
        lot.expires_on,
        f"{lot.out_minutes / MIN_PER_H:.1f}" if lot.out_minutes else "",
        lot.place,
        lot.supplier,
        lot.certificate,
        LotState(lot.state),
        str(lot.past_life(timezone.localdate())),
    )


def lots(*, q="", state="", material: Material | None = None, page=1) -> Page:
    rows = Lot.objects.select_related("material")
    here = [LotState.GOOD, LotState.HELD]
    rows = rows.filter(state__in=[state] if state else here)
    if material:
        rows = rows.filter(material=material)
    columns = ("number", "material__code", "material__name", "supplier", "certificate")
    rows = search(rows, q, *columns)
    return page_of(rows, page, _lot_row)


def lot_page(lot: Lot) -> LotPage:
    acts = list(lot.acts.select_related("entry__by").order_by("-pk"))
    out = [act for act in acts if act.kind == LotActKind.OUT]
    known = out and all(act.temperature is not None for act in out)
    periods = [(act.minutes, act.temperature) for act in out] if known else []
    return LotPage(
        lot,
        str(lot.past_life(timezone.localdate())),
        acts,
        cures.equivalent_hours(periods) if periods else None,
        groups(reach("lot", lot.pk, down=True), {}, 60),
        open_hold("lot", lot.pk),
    )


def materials(*, q="", kind="", page=1) -> Page:
    rows = Material.objects.annotate(lot_count=count_of(Lot.objects.all(), "material"))
    rows = rows.order_by("code")
    if kind:
        rows = rows.filter(kind=kind)
    return page_of(search(rows, q, "code", "name"), page, lambda material: material)


def laminates(*, q="", page=1) -> Page:
    rows = Laminate.objects.select_related("design", "resin", "recipe")
    return page_of(search(rows, q, "code", "name"), page, lambda laminate: laminate)


def recipes(*, q="", page=1) -> Page:
    rows = search(CureRecipe.objects.order_by("name", "pk"), q, "name")
    return page_of(rows, page, lambda recipe: recipe)


@dataclass(frozen=True)
class LaminatePage:
    laminate: Laminate
    areas: list[mass.Area]
    expected: mass.Expectation | None
    mix: object
    pulls: list

    @property
    def fiber_percent(self) -> float:
        return self.laminate.fiber_fraction_ppm / PPM_PER_PERCENT

    @property
    def expected_g(self) -> tuple[float, float, float] | None:
        return self.expected and self.expected.grams


def laminate_page(laminate: Laminate) -> LaminatePage:
    plies = list(laminate.plies.select_related("material"))
    return LaminatePage(
        laminate,
        mass.areas_of(laminate, plies),
        mass.expectation(laminate, plies),
        mass.resin_to_mix(laminate, plies, laminate.resin.ratio),
        list(laminate.pulls.select_related("tool").order_by("-started_at")[:60]),
    )
