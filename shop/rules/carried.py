"""What was put in for a while where a part sat goes, as far as anybody knows, where the
part goes, also inside of what it was bonded into: it counts there too, until it is out.

A piece that was out when the part left did not go with it, nor with what was cut off
the part where it sat.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from shop.models import (
    Airframe,
    Lineage,
    Origin,
    Part,
    Placement,
    TemporaryItem,
    TemporaryState,
    TemporaryStep,
)

from .lineage import Made, made_from, made_into
from .temporary import move

RELATED = ("state", "bay", "entry")
STATE = ("state__inside", "state__missing")
READ = ("airframe", "count", "bay__path", "entry__act", *STATE)
LEFT = Q(removed_at__isnull=False)


@dataclass(frozen=True)
class Carried:
    """An item, the part that sat in its bay while it was put in, and where that, or
    what was made of it, sits now."""

    item: TemporaryItem
    part: Part
    placement: Placement


def onto(airframes: Iterable[Airframe], *related: str) -> list[Carried]:
    """What came with the parts that sit in airframes, from another bay of it or from
    another airframe, each with what else is `related`. A statement for each generation
    of parts made of parts, else a constant number."""
    now = Placement.objects.filter(airframe__in=airframes, removed_at=None)
    made = made_from(now.values("part"))
    sat = Placement.objects.filter(
        Q(part__in=now.values("part")) & LEFT | Q(part__in=made.sources)
    )
    # Of what was ever put in there: while such a part sat in that airframe.
    then = sat.filter(
        Q(removed_by_entry=None) | Q(removed_by_entry__pk__gt=OuterRef("entry__pk")),
        airframe=OuterRef("airframe"),
        placed_by_entry__pk__lt=OuterRef("entry__pk"),
    )
    items = TemporaryItem.objects.filter(Exists(then)).select_related(*related)
    return _carried(items, _read(sat), now, made)


def elsewhere(items: QuerySet[TemporaryItem]) -> list[Carried]:
    """Where items count beside the bay into which each was put. Statements as above."""
    sat = Placement.objects.filter(
        LEFT | _bonded(), airframe__in=items.order_by().values("airframe")
    )
    places = _read(sat)
    return _carried(items, places, *_now(places))


def to_another_airframe(items: QuerySet[TemporaryItem]) -> list[Carried]:
    """The same where that is on another airframe: only what can have gone there is
    read, and of each item no more than its pieces. Statements as above."""
    sits = Placement.objects.filter(part=OuterRef("part"), removed_at=None)
    moved = Exists(sits.exclude(airframe=OuterRef("airframe")))
    made_into_another = _sources_of()
    sat = Placement.objects.filter(
        LEFT & (moved | made_into_another) | _bonded(),
        airframe__in=items.order_by().values("airframe"),
    )
    places = _read(sat)
    return _carried(items.select_related(None), places, *_now(places), only=READ)


def _bonded() -> Q:
    """Of placements: who sits there was bonded into another part, left or not."""
    return _sources_of(kind=Origin.BONDED)


def _sources_of(**kind) -> Q:
    """Looked up once: asked at each placement, SQLite goes through all edges each time
    where hardly one names a source."""
    edges = Lineage.objects.filter(source__isnull=False, **kind)
    return Q(part__in=edges.order_by().values("source"))


def _read(sat: QuerySet[Placement]) -> list[Placement]:
    """The few places that count, first: of what is asked by their keys no database goes
    through all that sits anywhere, or was ever put in."""
    related = ("part", "position", "placed_by_entry", "removed_by_entry")
    return list(sat.select_related(*related).order_by("pk"))


def _now(places: list[Placement]) -> tuple[QuerySet[Placement], Made]:
    """Where parts that sat somewhere, and what was made of them, sit now."""
    parts = {was.part_id for was in places}
    made = made_into(parts)
    now = Placement.objects.filter(part__in=parts | made.parts, removed_at=None)
    return now, made


def _carried(items, places, now, made: Made, only: Iterable[str] = ()) -> list[Carried]:
    items = items.filter(airframe__in={was.airframe_id for was in places})
    items = items.select_related(*RELATED).order_by("airframe", "number")
    items = items.only(*only) if only else items
    by_airframe: dict[int, list[TemporaryItem]] = defaultdict(list)
    for item in items:
        by_airframe[item.airframe_id].append(item)
    now = now.select_related("part", "position", "airframe", "placed_by_entry")
    sits = {placement.part_id: placement for placement in now}
    went = [
        (item, was, there)
        for was in places
        for there in _places_of(was, sits, made)
        for item in by_airframe[was.airframe_id]
        if was.position.covers(item.bay.path)
        and was.placed_by_entry.pk < item.entry.pk
        and (not _left(was) or item.entry.pk < _left(was))
    ]
    steps = _steps({item.pk for item, _was, _there in went})
    once: dict[tuple, Carried] = {}
    for item, was, there in went:
        if _was_in(item, steps[item.pk], _left(was)):
            once.setdefault((item.pk, there.pk), Carried(item, was.part, there))
    return list(once.values())


def _left(was: Placement) -> int | None:
    """The entry by which a part left a place, if it did."""
    return was.removed_by_entry and was.removed_by_entry.pk


def _places_of(was: Placement, sits: dict[int, Placement], made: Made):
    """Where else a part sits now, or whatever it was bonded into and what is of that,
    or what was cut from it after it had left."""
    for part, cut in made.of(was.part_id):
        there = sits.get(part)
        after = cut is None or (_left(was) or cut) < cut
        if there and after and _elsewhere(was, there):
            yield there


def _elsewhere(was: Placement, there: Placement) -> bool:
    return (was.airframe_id, was.position_id) != (
        there.airframe_id,
        there.position_id,
    )


def _steps(items: Iterable[int]) -> dict[int, list[TemporaryStep]]:
    steps = defaultdict(list)
    rows = TemporaryStep.objects.filter(item__in=items).select_related("entry")
    for row in rows.order_by("pk"):
        steps[row.item_id].append(row)
    return steps


def _was_in(item: TemporaryItem, steps: list[TemporaryStep], left: int | None) -> bool:
    """Whether some of it was in, or not found, when the part left; or is, where it
    never did."""
    then = TemporaryState(count=item.count, inside=item.count)
    for step in steps:
        if left is None or step.entry.pk < left:
            move(then, step.verb, step.count, step.spots)
    return bool(then.on_board)
