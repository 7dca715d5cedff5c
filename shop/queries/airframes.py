"""What the pages of airframes and their types show."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime

from django.core.paginator import Page

from shop.models import (
    Airframe,
    AirframeType,
    PartState,
    Placement,
    Position,
    TemporaryState,
)
from shop.rules import carried
from shop.rules.empty_places import empty_places

from .paging import count_of, page_of, search

HISTORY = 200
MOST_TYPES = 30


@dataclass(frozen=True)
class AirframeRow:
    id: int
    serial: str
    name: str
    type: str
    line_number: int
    fitted: int


@dataclass(frozen=True)
class Sitting:
    """A part in a position, from when to when (None: still there)."""

    placement: int
    part: int
    serial: str
    design: str
    state: str
    airframe: int
    airframe_serial: str
    position: str
    placed_at: datetime
    placed_by: str
    removed_at: datetime | None
    removed_by: str


@dataclass
class Branch:
    """A position of the tree, how deep it lies, and what sits in it."""

    id: int
    code: str
    name: str
    path: str
    depth: int
    sits: Sitting | None = None
    # Pieces that are in for a while, or not found.
    temporary: int = 0
    # Why it is meant to stay empty, "" where nobody says so.
    stays_empty: str = ""
    children: list["Branch"] = field(default_factory=list)


@dataclass(frozen=True)
class AirframePage:
    airframe: Airframe
    tree: list[Branch]
    fitted: int
    history: list[Sitting]
    # Pieces that are in for a while, or not found; each once.
    temporary: int


@dataclass(frozen=True)
class TypePage:
    type: AirframeType
    tree: list[Branch]
    airframes: list[Airframe]


def airframes(*, q: str = "", type: AirframeType | None = None, page=1) -> Page:
    rows = Airframe.objects.select_related("type").annotate(
        fitted=count_of(Placement.objects.filter(removed_at=None), "airframe")
    )
    if type:
        rows = rows.filter(type=type)
    rows = search(rows, q, "serial", "name", "type__code")
    return page_of(
        rows,
        page,
        lambda a: AirframeRow(
            a.pk, a.serial, a.name, a.type.code, a.line_number, a.fitted
        ),
    )


@dataclass(frozen=True)
class Types:
    """The first types by their code, and how many more there are."""

    rows: list[AirframeType]
    more: int


def types(only: AirframeType | None = None) -> Types:
    """Return the types with how much there is of each, or one of them."""
    rows = AirframeType.objects.filter(pk=only.pk) if only else AirframeType.objects
    first = rows.annotate(
        airframe_count=count_of(Airframe.objects.all(), "type"),
        position_count=count_of(Position.objects.all(), "type"),
    ).order_by("code")[:MOST_TYPES]
    return Types(list(first), rows.count() - len(first))


def branches(positions) -> list[Branch]:
    """Every position of one type, parents before their children, with its depth."""
    children = defaultdict(list)
    for row in positions:
        children[row.parent_id].append(row)
    tree: list[Branch] = []

    def walk(parent, depth):
        for row in children[parent]:
            tree.append(Branch(row.pk, row.code, row.name, row.path, depth))
            walk(row.pk, depth + 1)

    walk(None, 0)
    return tree


def _sitting(row: Placement) -> Sitting:
    left = row.removed_by_entry
    return Sitting(
        placement=row.pk,
        part=row.part_id,
        serial=row.part.serial,
        design=str(row.part.design),
        state=PartState(row.part.state),
        airframe=row.airframe_id,
        airframe_serial=row.airframe.serial,
        position=row.position.path,
        placed_at=row.placed_at,
        placed_by=str(row.placed_by_entry.by or ""),
        removed_at=row.removed_at,
        removed_by=str(left.by or "") if left else "",
    )


def placements():
    return Placement.objects.select_related(
        "part__design",
        "position",
        "airframe",
        "placed_by_entry__by",
        "removed_by_entry__by",
    )


def _temporary(airframe: Airframe) -> tuple[dict[int, int], int]:
    """How many pieces may still be in each bay that has some, also what came there with
    a part; and how many in all."""
    rows = TemporaryState.objects.filter(item__airframe=airframe)
    steps = [(row.item.bay_id, row) for row in rows.select_related("item")]
    steps += [
        (load.placement.position_id, load.item.state)
        for load in carried.onto([airframe])
    ]
    pieces = {(bay, row.pk): row.on_board for bay, row in steps if row.on_board}
    by_bay: dict[int, int] = defaultdict(int)
    for (bay, _key), count in pieces.items():
        by_bay[bay] += count
    return by_bay, sum({key: n for (_bay, key), n in pieces.items()}.values())


def airframe_page(airframe: Airframe) -> AirframePage:
    """Return the tree with the serial in each position, and who sat where when."""
    tree = branches(Position.objects.filter(type_id=airframe.type_id))
    here = {
        row.position_id: _sitting(row)
        for row in placements().filter(airframe=airframe, removed_at=None)
    }
    in_now, pieces = _temporary(airframe)
    empty = empty_places([airframe])[airframe]
    for branch in tree:
        branch.sits = here.get(branch.id)
        branch.temporary = in_now.get(branch.id, 0)
        branch.stays_empty = empty[branch.id].reason if branch.id in empty else ""
    past = placements().filter(airframe=airframe).order_by("-placed_at", "-pk")
    history = [_sitting(row) for row in past[:HISTORY]]
    return AirframePage(airframe, tree, len(here), history, pieces)


def type_page(kind: AirframeType) -> TypePage:
    tree = branches(kind.positions.all())
    return TypePage(kind, tree, list(kind.airframes.all()))


def where_it_sat(part) -> list[Sitting]:
    """Every place of a part, the newest first."""
    rows = placements().filter(part=part).order_by("-placed_at", "-pk")
    return [_sitting(row) for row in rows]
