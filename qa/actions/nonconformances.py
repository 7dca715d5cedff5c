"""Nonconformances: raised from a check, decided, closed with a re-check, reopened."""

import hashlib

from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    Disposition,
    FitUp,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    State,
    Verdict,
)
from qa.rules import authorship, judging
from qa.wording.findings import span
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import StructuralClass

Verb = NonconformanceStep.Verb
DESIGN_AUTHORITY = (Disposition.USE_AS_IS, Disposition.REPAIR)


def raise_findings(
    *, by, check: Check, chosen: list[int] | None = None, **envelope
) -> list[Nonconformance]:
    """Number the findings of a check: those at the chosen places, else all that nobody
    raised yet. Refused, by its number, for one that was."""
    roles.require(by, "raise nonconformances")
    found = judging.findings(check)
    if chosen is None:
        # With nothing left the first that was raised is named below.
        found = not_raised(check, found) or found[:1]
    else:
        if any(not 0 <= index < len(found) for index in chosen):
            raise Refused("That finding is not there any more.", field="findings")
        found = [found[index] for index in chosen]
    envelope.setdefault("said", {"check": str(check.entry_id), "findings": chosen})
    with perform("raise/1", by=by, **envelope) as act:
        items = [_raise(act, by, check, finding) for finding in found]
        act.result = {
            "nonconformances": [{"id": one.pk, "label": one.label} for one in items]
        }
    return items


def not_raised(check: Check, found: list[judging.Finding]) -> list[judging.Finding]:
    """Return those findings that have no number yet."""
    rows = Nonconformance.objects.filter(fit_check=check)
    have = set(rows.values_list("kind", "stations_key"))
    return [one for one in found if (one.kind, _key_of(one)) not in have]


def _key_of(finding: judging.Finding) -> str:
    return hashlib.sha256("\n".join(finding.stations).encode()).hexdigest()


def _raise(act, by, check: Check, finding: judging.Finding) -> Nonconformance:
    fit_up = check.fit_up
    key = _key_of(finding)
    raised = Nonconformance.objects.filter(
        fit_check=check, kind=finding.kind, stations_key=key
    ).first()
    if raised:
        raise Refused(f"{raised.label} was raised for this already.", code="done")
    item = Nonconformance(
        airframe_id=fit_up.airframe_id,
        number=next_number(f"nonconformance:{fit_up.airframe_id}"),
        kind=finding.kind,
        joint_id=fit_up.joint_id,
        fit_check=check,
        part_id=fit_up.part_id,
        title=finding.title(fit_up.revision.units),
        requirement=finding.requirement,
        found=f"{finding.worst_value} at station {finding.worst_station}",
        place=f"{fit_up.joint.name}, {span(finding.stations)}",
        stations=list(finding.stations),
        stations_key=key,
        readings=list(finding.readings),
        worst_station=finding.worst_station,
        worst_nm=finding.worst_nm,
    )
    act.record(item)
    NonconformanceState.objects.create(
        nonconformance=item, opened_at=act.now, last_entry_id=act.id, holder=by
    )
    return item


def raise_by_hand(
    *,
    by,
    airframe,
    title: str,
    joint=None,
    part=None,
    requirement="",
    found="",
    place="",
    note="",
    **envelope,
) -> Nonconformance:
    """Number something that was seen, not measured."""
    roles.require(by, "raise nonconformances")
    item = Nonconformance(
        airframe=airframe,
        kind="other",
        joint=joint,
        part=part,
        title=title,
        requirement=requirement,
        found=found,
        place=place,
        note=note,
    )
    envelope.setdefault("said", {"airframe": airframe.pk, "title": title, "note": note})
    with perform("nonconformance/1", by=by, **envelope) as act:
        item.number = next_number(f"nonconformance:{airframe.pk}")
        item.full_clean(exclude=["entry"])
        act.record(item)
        NonconformanceState.objects.create(
            nonconformance=item, opened_at=act.now, last_entry_id=act.id, holder=by
        )
        act.result = {"nonconformance": item.pk, "label": item.label}
    return item


def dispositions_of(person) -> list[Disposition]:
    """What this person may decide: the design authority's are the engineer's."""
    engineer = person.role == "engineer"
    return [one for one in Disposition if engineer or one not in DESIGN_AUTHORITY]


def dispose(*, by, item: Nonconformance, disposition: str, note: str) -> None:
    """Decide what is done with an open item.

    Use as is and repair need the engineer (design authority); on primary structure
    they also need a stated justification.
    """
    roles.require(by, "dispose nonconformances")
    if disposition not in Disposition.values:
        raise Refused("Choose a disposition.", field="disposition")
    if disposition not in dispositions_of(by):
        raise Refused(
            "Use as is and repair are the engineer's to decide.", field="disposition"
        )
    if disposition in DESIGN_AUTHORITY and _primary(item) and not note.strip():
        raise Refused("On primary structure, state the justification.", field="note")
    step = {"verb": Verb.DISPOSE, "disposition": disposition, "note": note}
    _move(by, item, step, State.OPEN)


def close(*, by, item: Nonconformance, recheck: Check | None, note: str = "") -> None:
    """Close a dispositioned item: rework and repair with a finished re-check.

    The re-check was measured, and is closed, by somebody who did not decide alone:
    whoever took the re-check's readings does not close the item.
    """
    roles.require(by, "close nonconformances")
    standing = NonconformanceState.objects.get(pk=item.pk)
    if standing.disposition in (Disposition.REWORK, Disposition.REPAIR):
        _check_recheck(by, item, recheck, standing.disposition)
    elif not recheck and not note.strip():
        raise Refused("Say what was verified.", field="note")
    elif recheck:
        authorship.require_proven(recheck, "recheck")
    if (
        standing.disposition == Disposition.USE_AS_IS
        and standing.disposed_by_id == by.pk
    ):
        raise Refused(
            "You decided to use it as it is: somebody else closes the item.",
            field="note",
        )
    step = {"verb": Verb.CLOSE, "note": note, "recheck": recheck}
    _move(by, item, step, State.DISPOSITIONED)


def reopen(*, by, item: Nonconformance, note: str) -> None:
    """Open a closed or dispositioned item again, with a reason."""
    roles.require(by, "close nonconformances")
    if not note.strip():
        raise Refused("Say why it is opened again.", field="note")
    step = {"verb": Verb.REOPEN, "note": note}
    _move(by, item, step, (State.CLOSED, State.DISPOSITIONED))


def remark(*, by, item: Nonconformance, note: str) -> None:
    """Add a remark; the item stays where it is."""
    roles.require(by, "comment")
    if not note.strip():
        raise Refused("Write the remark.", field="note")
    said = {"nonconformance": item.pk, "verb": Verb.REMARK, "note": note}
    with perform("nonconformance_step/1", by=by, said=said) as act:
        act.record(NonconformanceStep(nonconformance=item, verb=Verb.REMARK, note=note))


def _primary(item: Nonconformance) -> bool:
    part = item.part
    return bool(part and part.design.structural_class == StructuralClass.PRIMARY)


def after(step: NonconformanceStep, *, by_id: int | None, at) -> dict:
    """Return the columns of an item's standing that a step sets: the one way, in the
    act itself and when the projection is made again."""
    if step.verb == Verb.DISPOSE:
        moved = {
            "state": State.DISPOSITIONED,
            "disposition": step.disposition,
            "disposed_by_id": by_id,
        }
    elif step.verb == Verb.CLOSE:
        moved = {
            "state": State.CLOSED,
            "recheck_id": step.recheck_id,
            "closed_by_id": by_id,
            "closed_at": at,
        }
    elif step.verb == Verb.REOPEN:
        cleared = ("disposed_by_id", "recheck_id", "closed_by_id", "closed_at")
        moved = {"state": State.OPEN, "disposition": "", **dict.fromkeys(cleared)}
    else:
        return {}
    return {**moved, "last_entry_id": step.entry_id}


def _move(by, item, step, come_from) -> None:
    """Record a step and move the standing, which one of two people at once wins."""
    recheck = step.get("recheck")
    said = {
        "nonconformance": item.pk,
        **step,
        "recheck": recheck and str(recheck.entry_id),
    }
    come_from = come_from if isinstance(come_from, tuple) else (come_from,)
    with perform("nonconformance_step/1", by=by, said=said) as act:
        fact = NonconformanceStep(nonconformance=item, entry_id=act.id, **step)
        moved = NonconformanceState.objects.filter(
            nonconformance=item, state__in=come_from
        ).update(**after(fact, by_id=by.pk, at=act.now))
        if not moved:
            raise Refused(
                "Somebody moved this item in the meantime; look at it again.",
                code="stale",
            )
        act.record(fact)


def _check_recheck(by, item, recheck: Check | None, disposition: str) -> None:
    if not recheck:
        raise Refused("Link the check that shows it is done.", field="recheck")
    fit_up = recheck.fit_up
    if (fit_up.joint_id, fit_up.airframe_id) != (item.joint_id, item.airframe_id):
        raise Refused("That check is of another joint or airframe.", field="recheck")
    _check_same_serials(item, fit_up)
    if item.fit_check_id and recheck.number <= item.fit_check.number:
        raise Refused("The re-check must come after the finding.", field="recheck")
    state = CheckState.objects.get(fit_check=recheck)
    if state.state != CheckState.State.FINISHED:
        raise Refused("Finish the re-check first.", field="recheck")
    if state.late:
        raise Refused(
            "Readings of the re-check came in after it was finished: decide on them "
            "first.",
            field="recheck",
        )
    authorship.require_proven(recheck, "recheck")
    if recheck.readings.filter(entry__by=by).exists():
        raise Refused(
            "You measured the re-check: somebody else closes the item.",
            field="recheck",
        )
    if disposition == Disposition.REWORK:
        _check_reworked(item, recheck)


def _check_same_serials(item: Nonconformance, fit_up: FitUp) -> None:
    """What was found on one serial is not put right on another, nor against another
    surround; a serial is on the side where it was."""
    found = item.fit_check.fit_up if item.fit_check_id else None
    if found and fit_up.part_id != found.part_id:
        raise Refused(
            f"That check is of {fit_up.part.serial}; this was found on "
            f"{found.part.serial}.",
            field="recheck",
        )
    if found and found.surround_part_id not in (None, fit_up.surround_part_id):
        raise Refused(
            f"This was found against {found.surround_part.serial}, and that check was "
            f"not.",
            field="recheck",
        )
    if not found and item.part_id not in (
        None,
        fit_up.part_id,
        fit_up.surround_part_id,
    ):
        raise Refused(f"That check is not of {item.part.serial}.", field="recheck")


def _check_reworked(item: Nonconformance, recheck: Check) -> None:
    """Rework promises full conformity at every station of the item."""
    if missing := _not_shown(item, recheck, Disposition.REWORK):
        raise Refused(
            "Rework closes when every station conforms; not shown at "
            f"{', '.join(missing)}.",
            field="recheck",
        )


def _not_shown(item: Nonconformance, recheck: Check, disposition: str) -> list[str]:
    """Return the stations of an item at which a re-check does not show it is done."""
    kind = "gap" if item.kind.startswith("gap") else "flush"
    stands = CurrentReading.objects.filter(
        fit_check=recheck, kind=kind, reading__value_nm__isnull=False
    )
    if disposition == Disposition.REWORK:
        stands = stands.filter(reading__verdict=Verdict.CONFORMS)
    good = set(stands.values_list("station__label", flat=True))
    return [label for label in item.stations if label not in good]


def open_what_is_not_shown(act, check: Check, state: CheckState) -> None:
    """Open again, in the running act, what was closed by a check that does not show it
    any more: a reading of it was disowned, or one that came late was counted in."""
    closed = NonconformanceState.objects.filter(recheck=check, state=State.CLOSED)
    for one in closed.select_related("nonconformance"):
        item = one.nonconformance
        missing = _not_shown(item, check, one.disposition)
        if not missing and not state.void:
            continue
        why = f"{check.label} does not show it any more"
        if missing:
            why += f": {span(tuple(missing))}"
        step = act.record(
            NonconformanceStep(nonconformance=item, verb=Verb.REOPEN, note=why[:400])
        )
        for name, value in after(step, by_id=act.by.pk, at=act.now).items():
            setattr(one, name, value)
        one.save()
