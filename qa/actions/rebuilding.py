"""What follows from the facts of qa: nothing in its projections is known only there."""

from collections.abc import Iterator
from itertools import islice

from django.db.models import Prefetch

from qa.actions import check_replay, nonconformances
from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    FitPlan,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    StandingPlan,
)
from shop.ledger.projections import Family

# Checks whose facts are in memory at one time.
CHUNK = 200


def checks() -> Iterator[CheckState | check_replay.Stands]:
    rows = Check.objects.select_related("entry", "fit_up").defer("entry__body")
    every = rows.order_by("pk").iterator(CHUNK)
    while some := list(islice(every, CHUNK)):
        for state, current in check_replay.replay(some):
            yield state
            yield from sorted(current)


def items() -> Iterator[NonconformanceState]:
    rows = Nonconformance.objects.select_related("entry").defer("entry__body")
    # With its entry by one statement: SQLite takes no thousand entries by name.
    steps = NonconformanceStep.objects.select_related("entry").defer("entry__body")
    rows = rows.order_by("pk").prefetch_related(Prefetch("steps", steps))
    for item in rows.iterator(500):
        state = NonconformanceState(
            nonconformance=item,
            opened_at=item.entry.received_at,
            holder_id=item.entry.by_id,
            last_entry_id=item.entry_id,
        )
        for step in sorted(item.steps.all(), key=lambda step: step.entry.pk):
            moved = nonconformances.after(
                step, by_id=step.entry.by_id, at=step.entry.received_at
            )
            for column, value in moved.items():
                setattr(state, column, value)
        yield state


def plans() -> Iterator[StandingPlan]:
    rows = FitPlan.objects.filter(end__isnull=True).order_by("pk")
    for plan in rows.defer("body").iterator(500):
        yield StandingPlan(
            plan=plan, airframe_id=plan.airframe_id, part_id=plan.part_id
        )


FAMILIES = (
    Family(
        {
            CheckState: ("fit_check_id",),
            CurrentReading: ("fit_check_id", "station_id", "kind"),
        },
        checks,
        plain={check_replay.Stands: CurrentReading},
    ),
    Family({NonconformanceState: ("nonconformance_id",)}, items),
    Family({StandingPlan: ("plan_id",)}, plans),
)
