"""Projections made again from the facts: nothing in them is known only there."""

from collections import defaultdict

from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    State,
)
from shop.ledger import writing

from . import standing

Verb = NonconformanceStep.Verb


def rebuild() -> dict[str, int]:
    """Make every projection of qa again; return how many rows each has."""
    with writing():
        return {**_checks(), **_nonconformances()}


def _checks() -> dict[str, int]:
    wanted = dict(CheckState.objects.values_list("fit_check_id", "wanted"))
    checks = Check.objects.select_related("entry", "fit_up")
    found = standing.replay(list(checks), wanted, every=True)
    CurrentReading.objects.all().delete()
    CheckState.objects.all().delete()
    current = [row for _state, rows in found for row in rows]
    CheckState.objects.bulk_create([state for state, _rows in found])
    CurrentReading.objects.bulk_create(current)
    return {"checks": len(found), "current readings": len(current)}


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
