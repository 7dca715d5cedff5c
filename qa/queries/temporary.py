"""Temporary items as pages and papers show them: rows, counts per bay, one item."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from django.db.models import F, Q, QuerySet, Sum
from django.utils.translation import ngettext

from qa.models import TemporaryPlace
from shop.models import (
    Airframe,
    Position,
    TemporaryItem,
    TemporaryState,
    TemporaryStep,
)
from shop.queries.airframes import branches
from shop.queries.paging import search
from shop.queries.tooling import photos_of
from shop.rules import carried, temporary
from shop.rules.carried import Carried
from shop.wording import temporary as wording

RELATED = (
    "airframe",
    "bay",
    "state",
    "entry__by",
    "entry__confirmation",
    "at__joint",
    "at__pattern",
)
WHICH = ("on_board", "missing", "out", "all")


@dataclass(frozen=True)
class ItemRow:
    """One item: what, where, how many of it are where, who and why."""

    id: int
    label: str
    airframe: str
    airframe_id: int
    bay: str
    bay_id: int
    kind: str
    what: str
    where: str
    state: str
    count: int
    inside: int
    missing: int
    out: int
    released: int
    why: str
    by: str
    at: object
    # With which part it came here, or went, in words.
    moved: str = ""

    @property
    def on_board(self) -> int:
        return self.inside + self.missing


def items(
    which: str = "all", *, airframe: Airframe | None = None, q: str = ""
) -> QuerySet[TemporaryItem]:
    """Items to list: what is on board ("in" or not found), missing, or out."""
    rows = TemporaryItem.objects.select_related(*RELATED)
    if airframe:
        rows = rows.filter(airframe=airframe)
    if which == "on_board":
        # What its index is asked by: all that ever was put in is not gone through.
        rows = rows.filter(Q(state__inside__gt=0) | Q(state__missing__gt=0))
    elif which == "missing":
        rows = rows.filter(state__missing__gt=0)
    elif which == "out":
        rows = rows.filter(state__out__gte=F("count") - F("state__released"))
    named = ("bay__path", "place", "why", "stands_for", "owner", "size")
    return search(rows, q, *named).order_by("-pk")


def shown(items: Iterable[TemporaryItem]) -> QuerySet[TemporaryItem]:
    """Items again, with what is shown of them."""
    return TemporaryItem.objects.select_related(*RELATED).filter(
        pk__in=[item.pk for item in items]
    )


def row_of(item: TemporaryItem) -> ItemRow:
    """A row of an item that comes with RELATED; no statement."""
    state = item.state
    return ItemRow(
        id=item.pk,
        label=item.label,
        airframe=item.airframe.serial,
        airframe_id=item.airframe_id,
        bay=item.bay.path,
        bay_id=item.bay_id,
        kind=item.kind,
        what=item.what,
        where=where_of(item),
        state=temporary.state_key(item.kind, state),
        count=item.count,
        inside=state.inside,
        missing=state.missing,
        out=state.out,
        released=state.released,
        why=item.why,
        by=item.entry.author,
        at=item.entry.received_at,
    )


def where_of(item: TemporaryItem) -> str:
    """The joint, the holes that still have one in, and the words."""
    at: TemporaryPlace | None = getattr(item, "at", None)
    words = []
    if at and at.joint:
        words.append(at.joint.number)
    if at and at.pattern:
        words.append(at.pattern.number)
    spots = item.state.spots if item.state.inside else item.spots
    if spots:
        words.append(ngettext("hole", "holes", len(spots)) + " " + ", ".join(spots))
    return ", ".join([*words, *([item.place] if item.place else [])])


@dataclass
class BayCount:
    """What went into a bay and what came out, in pieces: its own, and all below it."""

    id: int
    name: str
    path: str
    depth: int
    put_in: int = 0
    inside: int = 0
    missing: int = 0
    out: int = 0
    released: int = 0
    rows: list[ItemRow] = field(default_factory=list)

    @property
    def on_board(self) -> int:
        return self.inside + self.missing

    @property
    def state(self) -> str:
        if self.missing:
            return "missing"
        return "inside" if self.inside else "taken_out"


COUNTED = {
    "put_in": "count",
    "inside": "inside",
    "missing": "missing",
    "out": "out",
    "released": "released",
}


def bay_counts(airframe: Airframe, came: Iterable[Carried]) -> list[BayCount]:
    """Every bay that ever had something in, with what lies below it, parents first;
    what came with a part counts where that sits too. Of whatever counts in several
    bays, one that holds them counts it once."""
    positions = list(Position.objects.filter(type_id=airframe.type_id))
    parents = {row.pk: row.parent_id for row in positions}
    counts = {
        bay.id: BayCount(bay.id, bay.name, bay.path, bay.depth)
        for bay in branches(positions)
    }
    own = TemporaryState.objects.filter(item__airframe=airframe)
    states = {state.pk: state for state in own.select_related("item")}
    bays = {key: {state.item.bay_id} for key, state in states.items()}
    for load in came:
        states.setdefault(load.item.pk, load.item.state)
        bays.setdefault(load.item.pk, set()).add(load.placement.position_id)
    for key, state in states.items():
        for place in _with_what_holds(bays[key], parents):
            for name, column in COUNTED.items():
                bay = counts[place]
                setattr(bay, name, getattr(bay, name) + getattr(state, column))
    return [bay for bay in counts.values() if bay.put_in]


def _with_what_holds(bays: set[int], parents: dict[int, int | None]) -> set[int]:
    held = set()
    for key in bays:
        while key is not None:
            held.add(key)
            key = parents[key]
    return held


@dataclass(frozen=True)
class OnAirframe:
    """An airframe that has something in: pieces that are in, and not found."""

    id: int
    serial: str
    pieces: int
    missing: int


def on_airframes() -> list[OnAirframe]:
    """The airframes that have something in or not found; what came with a part counts
    on both. A constant number of statements; the own items are counted by the
    database."""
    rows = items("on_board")
    own = rows.order_by().values_list("airframe", "airframe__serial")
    counted = {
        (key, serial): (inside, missing)
        for key, serial, inside, missing in own.annotate(
            Sum("state__inside"), Sum("state__missing")
        )
    }
    came = {
        (load.placement.airframe, load.item.pk): load.item.state
        for load in carried.to_another_airframe(rows)
        if load.placement.airframe_id != load.item.airframe_id
    }
    for (airframe, _item), state in came.items():
        place = airframe.pk, airframe.serial
        inside, missing = counted.get(place, (0, 0))
        counted[place] = inside + state.inside, missing + state.missing
    return [
        OnAirframe(key, serial, inside, missing)
        for (key, serial), (inside, missing) in sorted(
            counted.items(), key=lambda pair: pair[0][1]
        )
    ]


@dataclass(frozen=True)
class OnBoard:
    """What must come off an airframe: the bays with what is in each, and the counts."""

    airframe: Airframe
    bays: list[BayCount]
    counts: list[BayCount]

    @property
    def rows(self) -> list[ItemRow]:
        return list({row.id: row for bay in self.bays for row in bay.rows}.values())

    @property
    def pieces(self) -> int:
        return sum(row.on_board for row in self.rows)

    @property
    def missing(self) -> int:
        return sum(row.missing for row in self.rows)


def must_come_off(airframe: Airframe, bay: Position | None = None) -> OnBoard:
    """What is on board of an airframe, or of a bay with what lies below it, also what
    came with a part; a constant number of statements."""
    came = carried.onto([airframe], *RELATED)
    counts = bay_counts(airframe, came)
    rows = items("on_board", airframe=airframe).order_by("bay__path", "number")
    went: dict[int, list[str]] = {}
    for load in carried.elsewhere(rows):
        went.setdefault(load.item.pk, []).append(wording.went(load))
    by_bay: dict[int, list[ItemRow]] = {}
    for item in rows:
        row = replace(row_of(item), moved="; ".join(went.get(item.pk, ())))
        by_bay.setdefault(item.bay_id, []).append(row)
    for load in came:
        if load.item.state.on_board:
            own = by_bay.setdefault(load.placement.position_id, [])
            own.append(_came(load, airframe))
    counts = [count for count in counts if bay is None or bay.covers(count.path)]
    for count in counts:
        count.rows = by_bay.get(count.id, [])
    return OnBoard(airframe, [count for count in counts if count.rows], counts)


def _came(load: Carried, airframe: Airframe) -> ItemRow:
    row = row_of(load.item)
    here = load.item.airframe_id == airframe.pk
    label = row.label if here else f"{row.airframe} {row.label}"
    return replace(row, label=label, moved=wording.came(load))


@dataclass(frozen=True)
class ItemPage:
    """One item with its story; `acts` are (verb, how many pieces it can move)."""

    item: TemporaryItem
    row: ItemRow
    steps: list[TemporaryStep]
    acts: list[tuple[str, int]]
    photos: list = field(default_factory=list)
    went: list[Carried] = field(default_factory=list)


def item_page(item: TemporaryItem) -> ItemPage:
    return replace(
        stories([item])[0],
        photos=photos_of("temporary", item.pk),
        went=carried.elsewhere(shown([item])),
    )


def stories(items: Iterable[TemporaryItem]) -> list[ItemPage]:
    """Items (with RELATED) with what happened to each: one statement for all."""
    items = list(items)
    steps: dict[int, list[TemporaryStep]] = {}
    rows = TemporaryStep.objects.filter(item__in=items)
    for row in rows.select_related("entry__by", "entry__confirmation").order_by("pk"):
        steps.setdefault(row.item_id, []).append(row)
    return [_story(item, steps.get(item.pk, [])) for item in items]


def _story(item: TemporaryItem, steps: list[TemporaryStep]) -> ItemPage:
    kind, state = item.kind, item.state
    acts = [
        (verb, temporary.can_move(kind, state, verb))
        for verb in temporary.possible(kind, state)
    ]
    return ItemPage(item, row_of(item), steps, acts)
