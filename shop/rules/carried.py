"""What was put in for a while where a part sat goes, as far as anybody knows, where the
part goes: it counts there too, until it is out.

A piece that was out when the part left did not go with it.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet

from shop.models import (
    Airframe,
    Placement,
    TemporaryItem,
    TemporaryState,
    TemporaryStep,
)

from .temporary import move

RELATED = ("state", "bay", "entry")
STATE = ("state__inside", "state__missing")
READ = ("airframe", "count", "bay__path", "entry__act", *STATE)


@dataclass(frozen=True)
class Carried:
    """An item, and where a part sits now that sat in its bay when it was put in."""

    item: TemporaryItem
    placement: Placement


def onto(airframe: Airframe, *related: str) -> list[Carried]:
    """What came with the parts that sit in an airframe, from another bay of it or from
    another airframe, each with what else is `related`. A constant number of
    statements."""
    now = Placement.objects.filter(airframe=airframe, removed_at=None)
    sat = Placement.objects.filter(
        part__in=now.values("part"), removed_at__isnull=False
    )
    # Of what was ever put in there: while such a part sat in that airframe.
    then = sat.filter(
        airframe=OuterRef("airframe"),
        placed_by_entry__pk__lt=OuterRef("entry__pk"),
        removed_by_entry__pk__gt=OuterRef("entry__pk"),
    )
    there = sat.values("airframe")
    items = TemporaryItem.objects.filter(Exists(then), airframe__in=there)
    return _carried(items.select_related(*related), sat, now)


def elsewhere(items: QuerySet[TemporaryItem]) -> list[Carried]:
    """Where items count beside the bay into which each was put. A constant number of
    statements."""
    sat = Placement.objects.filter(
        airframe__in=items.order_by().values("airframe"), removed_at__isnull=False
    )
    now = Placement.objects.filter(part__in=sat.values("part"), removed_at=None)
    return _carried(items, sat, now)


def to_another_airframe(items: QuerySet[TemporaryItem]) -> list[Carried]:
    """The same where that is on another airframe: only what can have gone there is
    read, and of each item no more than its pieces. A constant number of statements."""
    sits = Placement.objects.filter(part=OuterRef("part"), removed_at=None)
    sat = Placement.objects.filter(
        Exists(sits.exclude(airframe=OuterRef("airframe"))),
        airframe__in=items.order_by().values("airframe"),
        removed_at__isnull=False,
    )
    now = Placement.objects.filter(part__in=sat.values("part"), removed_at=None)
    items = items.filter(airframe__in=sat.order_by().values("airframe"))
    return _carried(items.select_related(None), sat, now, only=READ)


def _carried(items, sat, now, only: Iterable[str] = ()) -> list[Carried]:
    items = items.select_related(*RELATED).order_by("airframe", "number")
    items = items.only(*only) if only else items
    by_airframe: dict[int, list[TemporaryItem]] = defaultdict(list)
    for item in items:
        by_airframe[item.airframe_id].append(item)
    now = now.select_related("part", "position", "airframe", "placed_by_entry")
    sits = {placement.part_id: placement for placement in now}
    related = ("position", "placed_by_entry", "removed_by_entry")
    went = [
        (item, was, sits[was.part_id])
        for was in sat.select_related(*related).order_by("pk")
        if was.part_id in sits and _elsewhere(was, sits[was.part_id])
        for item in by_airframe[was.airframe_id]
        if was.position.covers(item.bay.path)
        and was.placed_by_entry.pk < item.entry.pk < was.removed_by_entry.pk
    ]
    steps = _steps({item.pk for item, _was, _there in went})
    return [
        Carried(item, there)
        for item, was, there in went
        if _was_in(item, steps[item.pk], was.removed_by_entry.pk)
    ]


def _elsewhere(was: Placement, there: Placement) -> bool:
    return (was.airframe_id, was.position_id) != (
        there.airframe_id,
        there.position_id,
    )


def _steps(items: Iterable[int]) -> dict[int, list[TemporaryStep]]:
    found = defaultdict(list)
    rows = TemporaryStep.objects.filter(item__in=items).select_related("entry")
    for row in rows.order_by("pk"):
        found[row.item_id].append(row)
    return found


def _was_in(item: TemporaryItem, steps: list[TemporaryStep], entry: int) -> bool:
    """Whether some of it was in, or not found, when an entry was made."""
    then = TemporaryState(count=item.count, inside=item.count)
    for step in steps:
        if step.entry.pk < entry:
            move(then, step.verb, step.count, step.spots)
    return bool(then.on_board)
