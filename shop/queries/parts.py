"""What the pages of part designs and part serials show."""

from dataclasses import dataclass

from django.core.paginator import Page
from django.db.models import Prefetch

from shop.models import Hand, Lineage, Part, PartDesign, PartState, Placement, Pull
from shop.rules import cure_states

from .airframes import Sitting, where_it_sat
from .paging import count_of, page_of, search


@dataclass(frozen=True)
class DesignRow:
    id: int
    number: str
    revision: str
    name: str
    hand: str
    mirror: str
    structural_class: str
    parts: int


@dataclass(frozen=True)
class PartRow:
    id: int
    serial: str
    design: str
    name: str
    hand: str
    state: str
    sits: str


@dataclass(frozen=True)
class Edge:
    """How a part came from another (or became one)."""

    kind: str
    part: Part | None
    note: str
    by: str
    pull: Pull | None = None


@dataclass(frozen=True)
class PartPage:
    part: Part
    made_from: list[Edge]
    made_into: list[Edge]
    places: list[Sitting]
    # Pulls that it came from, of whose cure there is something to say.
    doubtful: list[Pull]

    @property
    def sits(self) -> Sitting | None:
        return next((place for place in self.places if place.removed_at is None), None)


def designs(*, q: str = "", hand: str = "", structural_class: str = "", page=1) -> Page:
    rows = PartDesign.objects.select_related("mirror").annotate(
        count=count_of(Part.objects.all(), "design")
    )
    if hand:
        rows = rows.filter(hand=hand)
    if structural_class:
        rows = rows.filter(structural_class=structural_class)
    rows = search(rows, q, "number", "name")
    return page_of(
        rows,
        page,
        lambda d: DesignRow(
            d.pk,
            d.number,
            d.revision,
            d.name,
            d.get_hand_display(),
            str(d.mirror or ""),
            d.get_structural_class_display(),
            d.count,
        ),
    )


def _part_row(part: Part) -> PartRow:
    now = part.open_placements[0] if part.open_placements else None
    return PartRow(
        part.pk,
        part.serial,
        str(part.design),
        part.design.name,
        "" if part.design.hand == Hand.NONE else part.design.get_hand_display(),
        PartState(part.state),
        f"{now.airframe.serial}, {now.position.path}" if now else "",
    )


def parts(*, q="", state="", hand="", design: PartDesign | None = None, page=1) -> Page:
    rows = Part.objects.select_related("design").prefetch_related(
        Prefetch(
            "placements",
            Placement.objects.filter(removed_at=None).select_related(
                "airframe", "position"
            ),
            to_attr="open_placements",
        )
    )
    if state:
        rows = rows.filter(state=state)
    if hand:
        rows = rows.filter(design__hand=hand)
    if design:
        rows = rows.filter(design=design)
    rows = search(rows, q, "serial", "design__number", "design__name")
    return page_of(rows, page, _part_row)


def part_page(part: Part) -> PartPage:
    edges = Lineage.objects.select_related("part", "source", "entry__by", "pull__tool")
    up = edges.filter(part=part).order_by("pk")
    down = edges.filter(source=part).order_by("pk")
    return PartPage(
        part,
        [
            Edge(e.get_kind_display(), e.source, e.note, str(e.entry.by), e.pull)
            for e in up
        ],
        [Edge(e.get_kind_display(), e.part, e.note, str(e.entry.by)) for e in down],
        where_it_sat(part),
        cure_states.doubtful([part.pk]).get(part.pk, []),
    )
