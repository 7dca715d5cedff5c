"""Fit checks: start, read, choose between two readings, finish."""

from functools import lru_cache

from django.db.models import Exists, F, OuterRef
from django.utils.translation import gettext as _

from qa.models import (
    Check,
    CheckFinish,
    CheckState,
    Choice,
    CurrentReading,
    FitUp,
    Instrument,
    Kind,
    Outcome,
    Reading,
    Rule,
    Station,
)
from qa.numeric.verdict.acceptance import NarrowLimits
from qa.rules import gauges, judging, remeasure, requirements
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models.prepared_statements import Prepared, Slot, insert

LOCKED = Prepared(
    lambda: CheckState.objects.select_for_update(of=("self",), no_key=True).filter(
        fit_check=Slot("check")
    )
)
# Whether it has a value may be answered as of before it was locked: a second reading is
# then taken for the first as well, and what follows from that is looked at twice.
LOCKED_TO_READ = Prepared(
    lambda: (
        CheckState.objects.select_for_update(of=("self",), no_key=True)
        .filter(fit_check=Slot("check"))
        .annotate(
            has_value=Exists(
                remeasure.measured_values().filter(fit_check=OuterRef("fit_check"))
            )
        )
    )
)
STANDING = Prepared(
    lambda: CurrentReading.objects.select_related("reading").filter(
        fit_check=Slot("check"), station=Slot("station"), kind=Slot("kind")
    )
)
TOUCHED = Prepared(
    lambda: CheckState.objects.filter(pk=Slot("row")), last_entry_id=Slot("act")
)
STANDS_NOW = Prepared(
    lambda: CurrentReading.objects.filter(pk=Slot("row")), reading=Slot("reading")
)


def start_check(
    *,
    by,
    fit_up: FitUp,
    finish: str,
    instrument: Instrument | None = None,
    temperature_mc: int | None = None,
    in_acceptance_condition: bool = False,
    note: str = "",
    held: list[dict] | None = None,
    **envelope,
) -> Check:
    """Start a check of a fit-up with one instrument in one condition.

    Refused when guarded acceptance has no uncertainty to guard with, or the limits of
    a station are too narrow for it: said now, not at the last station. held: how it is
    held, where the fit-up does not state it.
    """
    roles.require(by, "measure")
    if refused := gauges.refusal(instrument, envelope.get("made_at", "")):
        raise Refused(refused, field="instrument")
    if in_acceptance_condition and not fit_up.held:
        words = _(
            "The acceptance condition says how the part is held: say what holds it, or "
            "leave this off."
        )
        raise Refused(words, field="in_acceptance_condition")
    conditions = {
        "finish": finish,
        "temperature_mc": temperature_mc,
        "in_acceptance_condition": in_acceptance_condition,
        "note": note,
    }
    check = Check(fit_up=fit_up, instrument=instrument, held=held or [], **conditions)
    gauges.freeze(check, instrument, envelope.get("made_at", ""))
    stations = list(fit_up.revision.stations.select_related("revision"))
    check.wanted = _wanted(check, stations)
    gauge = instrument and str(instrument.uuid)
    content = {"fitup": str(fit_up.entry_id), "instrument": gauge, **conditions}
    envelope.setdefault("said", content)
    form = envelope.pop("form", "check/2")
    with perform(form, by=by, **envelope) as act:
        check.number = next_number("check")
        check.full_clean(exclude=["entry"])
        act.record(check)
        CheckState.objects.create(
            fit_check=check, wanted=check.wanted, started_at=act.now
        )
        act.result = {"check": str(act.id), "label": check.label}
    return check


def _wanted(check: Check, stations: list[Station]) -> int:
    """Count the characteristics with limits; refuse those nothing could prove."""
    revision = check.fit_up.revision
    if revision.rule == Rule.GUARDED and check.u_nm is None:
        raise Refused(
            _(
                "This joint is judged with a guard band: choose an instrument whose "
                "standard uncertainty is known."
            ),
            field="instrument",
        )
    count = 0
    for station in stations:
        for kind in Kind.values:
            needed = requirements.requirement(station, kind, check.finish)
            count += not needed.empty
            try:
                requirements.acceptance(
                    needed, check.u_nm, revision.rule, revision.edition
                )
            except NarrowLimits as error:
                raise Refused(
                    _("Station %(station)s, %(kind)s: %(why)s.")
                    % {
                        "station": station.label,
                        "kind": Kind(kind).label,
                        "why": error,
                    },
                    field="instrument",
                ) from None
    return count


def record_reading(
    *,
    by,
    check: Check,
    station: Station,
    kind: str,
    typed: judging.Typed,
    supersedes: Reading | None = None,
    reason: str = "",
    keep_late: bool = False,
    **envelope,
) -> Reading:
    """Save one reading, skip or clearing, judge it, and say whether it stands.

    check comes with fit_up.revision; a reading based on another than the one that
    stands is kept and marked as a clash. keep_late: one that comes in after the check
    was finished (by another tablet) is kept as well, and waits for a person to decide.
    """
    roles.require(by, "measure")
    _require_readable(check, kind, typed, reason, envelope.get("made_at", ""))
    envelope.setdefault("said", _reading_content(check, station, kind, typed, reason))
    with perform("reading/1", by=by, **envelope) as act:
        state = LOCKED_TO_READ.first(check=check.pk)
        now = _standing(check, station, kind)
        if supersedes and not reason and typed.needs_a_reason_after(supersedes):
            raise Refused(
                _("Say why this replaces the reading before."), field="reason"
            )
        late = state.state == CheckState.State.FINISHED
        if late and not keep_late:
            raise Refused(
                _("This check is finished: start a new one."), code="finished", field=""
            )
        if state.void:
            raise Refused(
                _("Its start was disowned: start a new check."),
                code="disowned",
                field="",
            )
        base_stands = (now and now.reading_id) == (supersedes and supersedes.pk)
        reading = judging.judged(check, station, kind, typed)
        reading.supersedes, reading.reason = supersedes, reason
        reading.late, reading.is_first = late, not state.has_value
        reading.clash = not base_stands and not late
        act.record(reading)
        _project(state, now, reading, act)
        act.result = judging.receipt_of(reading, station)
    return reading


def _require_readable(check, kind: str, typed, reason: str, made_at: str) -> None:
    """Nothing is read with what was lost, damaged or overdue by then; that there is no
    reading can be said without it."""
    if kind not in Kind.values:
        raise Refused(_("A reading is of gap or flush."), field="kind")
    if typed.outcome not in (Outcome.SKIPPED, Outcome.CLEARED):
        if why := gauges.refusal_of_reading(check.instrument, made_at):
            raise Refused(why, field="value")
    elif not reason:
        raise Refused(_("Say why there is no reading here."), field="reason")


def _reading_content(check, station, kind, typed, reason) -> dict:
    return {
        "check": str(check.entry_id),
        "station": station.label,
        "kind": kind,
        "outcome": typed.outcome,
        "value": typed.value,
        "goes": typed.goes,
        "does_not_go": typed.does_not_go,
        "unit": typed.unit,
        "reason": reason,
    }


def _standing(check: Check, station: Station, kind: str) -> CurrentReading | None:
    return STANDING.first(check=check.pk, station=station.pk, kind=kind)


def _project(state, now: CurrentReading | None, reading: Reading, act) -> None:
    """Bring the projections up to a reading: counts move by one, whatever is there."""
    changes = {}
    if reading.late:
        changes["late"] = F("late") + 1
    elif reading.clash and now:
        if not now.clash:
            now.clash = True
            now.save(update_fields=["clash"])
            changes["clashes"] = F("clashes") + 1
    else:
        old = now and judging.column(now.reading)
        if now:
            STANDS_NOW.update(row=now.pk, reading=reading.pk)
        else:
            insert(
                CurrentReading(
                    fit_check=reading.fit_check,
                    station=reading.station,
                    kind=reading.kind,
                    reading=reading,
                )
            )
        _moved(old, judging.column(reading)).update(row=state.pk, act=act.id)
        return
    if changes:
        CheckState.objects.filter(pk=state.pk).update(last_entry_id=act.id, **changes)
    else:
        TOUCHED.update(row=state.pk, act=act.id)


@lru_cache(maxsize=100)
def _moved(old: str | None, new: str | None) -> Prepared:
    """Let the counts of a check move, and name the act that moved them last."""
    changes = _counted(old, new)
    return Prepared(
        lambda: CheckState.objects.filter(pk=Slot("row")),
        last_entry_id=Slot("act"),
        **changes,
    )


def choose_reading(
    *,
    by,
    check: Check,
    station: Station,
    kind: str,
    reading: Reading,
    reason: str,
    **envelope,
) -> Choice:
    """Say which of two readings stands for a station, and why."""
    roles.require(by, "measure")
    if not reason:
        raise Refused(_("Say why this reading stands."), field="reason")
    ours = (reading.fit_check_id, reading.station_id, reading.kind)
    if ours != (check.pk, station.pk, kind):
        raise Refused(_("That reading belongs to another place."), field="reading")
    envelope.setdefault(
        "said",
        {
            "check": str(check.entry_id),
            "station": station.label,
            "kind": kind,
            "reading": str(reading.entry_id),
            "reason": reason,
        },
    )
    with perform("choose/1", by=by, **envelope) as act:
        state = LOCKED.first(check=check.pk)
        if state.state == CheckState.State.FINISHED:
            raise Refused(_("This check is finished."), code="finished")
        now = _standing(check, station, kind)
        if not now or not now.clash:
            raise Refused(
                _("There is one reading here: nothing to choose."), code="done"
            )
        choice = Choice(
            fit_check=check, station=station, kind=kind, reading=reading, reason=reason
        )
        act.record(choice)
        changes = {"clashes": F("clashes") - 1}
        changes |= _counted(judging.column(now.reading), judging.column(reading))
        now.reading, now.clash = reading, False
        now.save(update_fields=["reading", "clash"])
        CheckState.objects.filter(pk=state.pk).update(last_entry_id=act.id, **changes)
        act.result = judging.receipt_of(reading, station)
    return choice


def finish_check(*, by, check: Check, note: str = "", **envelope) -> CheckFinish:
    """Close a check for readings. Two readings for one station must be settled."""
    roles.require(by, "measure")
    envelope.setdefault("said", {"check": str(check.entry_id), "note": note})
    with perform("finish/1", by=by, **envelope) as act:
        state = LOCKED.first(check=check.pk)
        if state.state == CheckState.State.FINISHED:
            raise Refused(_("This check is finished already."), code="finished")
        if state.clashes:
            raise Refused(
                _("Two readings stand for one station: choose first."), code="clash"
            )
        finish = CheckFinish(fit_check=check, counts=judging.counts(state), note=note)
        act.record(finish)
        state.state = CheckState.State.FINISHED
        state.finished_at = act.now
        state.last_entry_id = act.id
        state.save(update_fields=["state", "finished_at", "last_entry"])
        act.result = {"counts": finish.counts, **judging.proposal(check)}
    return finish


def _counted(old: str | None, new: str | None) -> dict:
    """What moves in the counts of a check when another reading stands."""
    if old == new:
        return {}
    moves = {old: F(old) - 1} if old else {}
    return moves | ({new: F(new) + 1} if new else {})
