"""What a tablet tells beside the field: the value before, what is expected after a cut
or a move, and which stations are the witnesses."""

from dataclasses import dataclass

from qa.models import Check, CheckState, Kind
from qa.rules import history, staleness, trim_rounds
from qa.rules.epochs import Key, Value
from qa.rules.history import History
from qa.rules.staleness import JointState

KNOWN_NM = 10_000


@dataclass(frozen=True)
class Now:
    """The joint as it is while an open check of its newest state is measured."""

    rows: History
    state: JointState


def now_of(check: Check) -> Now | None:
    """Return it; None for a check that is finished or not of the newest state."""
    if check.state.state != CheckState.State.OPEN:
        return None
    joint, airframe = check.fit_up.joint, check.fit_up.airframe
    part = staleness.part_fitted(joint, airframe)
    if part is None:
        return None
    rows = history.load(airframe, history.joints_of_part(airframe, part))
    state = staleness.states(rows).get(joint.pk)
    live = state and any(other.pk == check.pk for other in state.now.checks)
    return Now(rows, state) if live else None


def first_to_measure(now: Now | None) -> list[str]:
    """Return what to measure first after a cut, a move or a refit: three witnesses,
    what was cut, then what else is stale. Empty when nothing is stale."""
    return now.state.to_measure if now else []


def fields(now: Now | None, check: Check) -> list[dict]:
    """Return for each field of which something is known {station, kind, before,
    expected_nm, witness}."""
    if now is None:
        return []
    expected = trim_rounds.expected(now.rows, now.state)
    witnesses = set(now.state.proposed) if now.state.to_measure else set()
    hints = []
    for label in now.state.seam.rows:
        for kind in Kind.values:
            before = _before(now.state, (label, kind), check)
            if before or label in witnesses:
                hints.append(
                    {
                        "station": label,
                        "kind": kind,
                        "before": value_of(before),
                        "expected_nm": _known(expected.get((label, kind))),
                        "witness": label in witnesses,
                    }
                )
    return hints


def _known(nm: int | None) -> int | None:
    """What is expected, in the digits that are known of it."""
    return None if nm is None else round(nm / KNOWN_NM) * KNOWN_NM


def _before(state: JointState, key: Key, check: Check) -> Value | None:
    """The newest value of the same place that another check measured."""
    epoch = state.now
    stale = epoch.stale.get(key)
    for value in (epoch.measured.get(key), epoch.before.get(key)):
        if value and value.check.pk != check.pk:
            return value
    return stale.value if stale and stale.value.check.pk != check.pk else None


def value_of(value: Value | None) -> dict | None:
    if value is None:
        return None
    reading = value.reading
    return {
        "outcome": reading.outcome,
        "value": reading.value,
        "goes": reading.goes,
        "does_not_go": reading.does_not_go,
        "unit": reading.unit,
        "nm": reading.value_nm,
        "check": value.check.label,
    }
