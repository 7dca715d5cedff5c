"""Projections made again from the facts: nothing in them is known only there."""

from collections import defaultdict

from qa.models import (
    Check,
    CheckFinish,
    CheckState,
    Choice,
    CurrentReading,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    Reading,
    State,
)
from shop.ledger import writing
from shop.models import Entry

from . import judging

Verb = NonconformanceStep.Verb


def rebuild() -> dict[str, int]:
    """Make every projection of qa again; return how many rows each has."""
    with writing():
        return {**_checks(), **_nonconformances()}


def _checks() -> dict[str, int]:
    wanted = dict(CheckState.objects.values_list("fit_check_id", "wanted"))
    CurrentReading.objects.all().delete()
    CheckState.objects.all().delete()
    order = _order_of_entries()
    events = defaultdict(list)
    for model in (Reading, Choice, CheckFinish):
        for fact in model.objects.all():
            events[fact.fit_check_id].append(fact)
    states, current = [], []
    for check in Check.objects.select_related("entry"):
        happened = sorted(events[check.pk], key=lambda fact: order[fact.entry_id])
        state, standing = _replay(check, happened, wanted.get(check.pk, 0))
        states.append(state)
        current += standing
    CheckState.objects.bulk_create(states)
    CurrentReading.objects.bulk_create(current)
    return {"checks": len(states), "current readings": len(current)}


def _order_of_entries() -> dict:
    return dict(Entry.objects.values_list("act", "pk"))


def _replay(check: Check, happened: list, wanted: int):
    """Return a check's state and its standing readings, fact by fact."""
    state = CheckState(
        fit_check=check, wanted=wanted, started_at=check.entry.received_at
    )
    standing: dict[tuple, CurrentReading] = {}
    for fact in happened:
        state.last_entry_id = fact.entry_id
        if isinstance(fact, CheckFinish):
            state.state = CheckState.State.FINISHED
            state.finished_at = fact.entry.received_at
            continue
        place = (fact.station_id, fact.kind)
        now = standing.get(place)
        if isinstance(fact, Reading) and fact.clash and now:
            now.clash = True
            continue
        reading = fact if isinstance(fact, Reading) else fact.reading
        standing[place] = CurrentReading(
            fit_check=check,
            station_id=fact.station_id,
            kind=fact.kind,
            reading=reading,
        )
    for one in standing.values():
        state.clashes += one.clash
        if column := judging.column(one.reading):
            setattr(state, column, getattr(state, column) + 1)
    return state, list(standing.values())


def _nonconformances() -> dict[str, int]:
    kept = {
        one.pk: (one.holder_id, one.due) for one in NonconformanceState.objects.all()
    }
    NonconformanceState.objects.all().delete()
    steps = defaultdict(list)
    rows = NonconformanceStep.objects.select_related("entry").order_by("entry__pk")
    for step in rows:
        steps[step.nonconformance_id].append(step)
    states = []
    for item in Nonconformance.objects.select_related("entry"):
        state = NonconformanceState(
            nonconformance=item,
            opened_at=item.entry.received_at,
            last_entry_id=item.entry_id,
        )
        state.holder_id, state.due = kept.get(item.pk, (item.entry.by_id, None))
        for step in steps[item.pk]:
            _take(state, step)
        states.append(state)
    NonconformanceState.objects.bulk_create(states)
    return {"nonconformances": len(states)}


def _take(state: NonconformanceState, step: NonconformanceStep) -> None:
    """Move an item's standing by one step of its history."""
    if step.verb == Verb.REMARK:
        return
    state.last_entry_id = step.entry_id
    if step.verb == Verb.DISPOSE:
        state.state = State.DISPOSITIONED
        state.disposition = step.disposition
        state.disposed_by_id = step.entry.by_id
    elif step.verb == Verb.CLOSE:
        state.state = State.CLOSED
        state.recheck_id = step.recheck_id
        state.closed_by_id = step.entry.by_id
        state.closed_at = step.entry.received_at
    elif step.verb == Verb.REOPEN:
        state.state, state.disposition = State.OPEN, ""
        state.disposed_by = state.recheck = state.closed_by = state.closed_at = None
