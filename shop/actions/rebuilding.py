"""What follows from the acts that put something in and took it out: placements of
parts, and where the pieces of temporary items are."""

from collections.abc import Iterator
from itertools import groupby

from django.db.models import Prefetch

from shop.ledger.projections import Family
from shop.models import (
    Placement,
    PlacementAct,
    TemporaryItem,
    TemporaryState,
    TemporaryStep,
)
from shop.rules import temporary


def placements() -> Iterator[Placement]:
    acts = PlacementAct.objects.select_related("entry")
    rows = acts.order_by("part_id", "entry__pk", "pk").iterator(2000)
    for _part, history in groupby(rows, lambda act: act.part_id):
        placed, there = [], {}
        for act in history:
            place = (act.airframe_id, act.position_id)
            if act.placed:
                there[place] = placement = _placed(act)
                placed.append(placement)
            elif placement := there.pop(place, None):
                _removed(placement, act)
        yield from sorted(placed, key=lambda row: row.placed_at)


def _placed(act: PlacementAct) -> Placement:
    return Placement(
        part_id=act.part_id,
        airframe_id=act.airframe_id,
        position_id=act.position_id,
        placed_by_entry_id=act.entry_id,
        placed_at=act.entry.received_at,
    )


def _removed(placement: Placement, act: PlacementAct) -> None:
    placement.removed_by_entry_id = act.entry_id
    # A clock that was set back ends nothing before it began.
    placement.removed_at = max(act.entry.received_at, placement.placed_at)


def temporary_states() -> Iterator[TemporaryState]:
    # With its entry by one statement: SQLite takes no thousand entries by name.
    steps = TemporaryStep.objects.select_related("entry").defer("entry__body")
    rows = TemporaryItem.objects.prefetch_related(Prefetch("steps", steps))
    for item in rows.order_by("pk").iterator(500):
        state = TemporaryState(
            item=item,
            count=item.count,
            inside=item.count,
            spots=list(item.spots),
            last_entry_id=item.entry_id,
        )
        for step in sorted(item.steps.all(), key=lambda step: step.entry.pk):
            temporary.move(state, step.verb, step.count, step.spots)
            state.last_entry_id = step.entry_id
        yield state


FAMILIES = (
    Family({Placement: ("part_id", "placed_at")}, placements),
    Family({TemporaryState: ("item_id",)}, temporary_states),
)
