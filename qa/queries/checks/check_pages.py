"""Fit checks for lists, pages and paper."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Prefetch, Q, QuerySet

from qa.drawing.joint_map import JointMap
from qa.drawing.profile import Profile
from qa.models import (
    Calibration,
    Check,
    CheckState,
    CurrentReading,
    FitUp,
    GaugeStanding,
    Kind,
    Outcome,
    Reading,
    Station,
    Verdict,
)
from qa.queries.checks import limit_texts
from qa.queries.checks.unconfirmed import Doubts, doubts_of, gauge_words
from qa.queries.joints import drawings
from qa.rules import gauge_doubts, judging, remeasure, requirements
from qa.rules.remeasure import Changed
from qa.wording import findings as wording
from qa.wording import lengths
from shop.models import Entry
from shop.queries.paging import says
from shop.queries.signatures import SignedThing, panel_of

RELATED = (
    "entry__by",
    "entry__confirmation",
    "state__last_entry__seal",
    "finished",
    "instrument",
    "fit_up__airframe__type",
    "fit_up__joint__position",
    "fit_up__joint__surround",
    "fit_up__revision",
    "fit_up__part__design",
    "fit_up__surround_part",
)
# Of a row: of more tables in one statement PostgreSQL weighs long how to join them.
ROW = ("entry__by", "entry__confirmation", "state")
FIT_UPS = FitUp.objects.select_related("airframe", "joint", "part")

SEARCHED = (
    "fit_up__part__serial",
    "fit_up__joint__number",
    "fit_up__joint__name",
    "fit_up__airframe__serial",
)


def checks(
    *, airframe=None, joint=None, state="", person=None, words="", part=None
) -> QuerySet[Check]:
    """Return checks, newest first, with everything a row shows."""
    # What its act said is long, and no row shows it.
    rows = Check.objects.select_related(*ROW).defer("entry__body").order_by("-number")
    rows = rows.prefetch_related(Prefetch("fit_up", FIT_UPS))
    if airframe:
        rows = rows.filter(fit_up__airframe=airframe)
    if joint:
        rows = rows.filter(fit_up__joint=joint)
    if part:
        rows = rows.filter(fit_up__part=part)
    if person:
        rows = rows.filter(entry__by=person)
    if state in CheckState.State.values:
        rows = rows.filter(state__state=state)
    for word in words.split():
        match = says(Check, word, SEARCHED)
        number = word.upper().removeprefix("FC-")
        if number.isdecimal() and len(number) < 10:
            match |= Q(number=int(number))
        rows = rows.filter(match)
    return rows


@dataclass(frozen=True)
class CheckRow:
    """A check in a list."""

    uuid: str
    label: str
    airframe: str
    joint: str
    joint_name: str
    part: str
    fit_up: int
    by: str
    started_at: datetime
    state: str
    verdict: str | None
    wanted: int
    measured: int
    conforms: int
    does_not_conform: int
    not_proven: int
    doubt: str = ""  # that its instrument was found off since, lost or damaged


def check_rows(checks: Sequence[Check]) -> list[CheckRow]:
    """Rows of a page, with a constant number of statements for all."""
    off = gauge_doubts.found_off(checks)
    return [check_row(check, off.get(check.pk)) for check in checks]


def check_row(check: Check, off: Calibration | GaugeStanding | None = None) -> CheckRow:
    state, fit_up = check.state, check.fit_up
    return CheckRow(
        doubt=gauge_words(off),
        uuid=str(check.entry_id),
        label=check.label,
        airframe=fit_up.airframe.serial,
        joint=fit_up.joint.number,
        joint_name=fit_up.joint.name,
        part=fit_up.part.serial,
        fit_up=fit_up.number,
        by=check.entry.author,
        started_at=state.started_at,
        state=state.state,
        verdict=joint_verdict(state),
        wanted=state.wanted,
        measured=state.conforms + state.does_not_conform + state.not_proven,
        conforms=state.conforms,
        does_not_conform=state.does_not_conform,
        not_proven=state.not_proven,
    )


def joint_verdict(state: CheckState) -> str | None:
    """Return the verdict on the joint; None while nothing fails but something lacks."""
    if state.does_not_conform:
        return Verdict.DOES_NOT_CONFORM
    if state.not_proven:
        return Verdict.NOT_PROVEN
    if state.late:
        return None  # what came in late may not conform: a person decides first
    return Verdict.CONFORMS if state.conforms >= state.wanted > 0 else None


@dataclass(frozen=True)
class Line:
    """One characteristic of a check: requirement, result, verdict."""

    station: str
    kind: str
    requirement: str
    accepted: str  # the limits that govern, where a guard draws them in; else ""
    typed: str
    value: str
    value_nm: int | None
    outcome: str
    state: str
    verdict: str | None
    deviation_nm: int | None
    deviation: str
    probability: float | None
    correction: str
    facing: str
    by: str
    reason: str
    superseded: int
    clash: bool
    at_20: str = ""
    limited: bool = True

    @property
    def typed_shown(self) -> str:
        """What was typed, where that is not what the result says already."""
        same = self.typed.replace("-", "−").lstrip("+") == self.value
        return "" if same or self.outcome == "skipped" else self.typed


@dataclass(frozen=True)
class Item:
    """A nonconformance raised from this check."""

    pk: int
    label: str
    kind: str
    stations: tuple[str, ...]
    title: str
    state: str
    disposition: str


@dataclass(frozen=True)
class CheckView:
    """A check whole: what the page shows and the paper prints."""

    check: Check
    row: CheckRow
    entry: Entry
    unit: str
    lines: list[Line]
    stations: list[Station]
    counts: dict
    map: JointMap
    profile: Profile
    findings: list  # that nobody raised yet
    measure_again: list[dict]
    items: list[Item]
    finish_on: str
    rule_text: str
    doubts: Doubts
    signed: SignedThing
    since: Changed | None = None

    @property
    def at_20(self) -> bool:
        return any(line.at_20 for line in self.lines)

    @property
    def all_conform(self) -> float | None:
        """Probability that everything measured conforms, errors independent; None
        where an uncertainty is not known or nothing was measured."""
        judged = [line.probability for line in self.lines if line.verdict]
        if not judged or None in judged:
            return None
        return math.prod(judged)


def check_view(check: Check, unit: str = "") -> CheckView:
    """Return everything about one check (loaded with RELATED) in a constant number of
    statements, whatever the number of stations and readings."""
    revision = check.fit_up.revision
    revision.joint = check.fit_up.joint
    unit = unit or revision.units
    stations = list(revision.stations.all())
    standing, clashes = _standing(check)
    superseded = _superseded(check)
    lines = [
        _line(check, station, kind, standing, superseded, clashes, unit)
        for station in stations
        for kind in Kind.values
    ]
    items = _items(check)
    return CheckView(
        check=check,
        row=check_row(check),
        entry=check.entry,
        unit=unit,
        lines=[line for line in lines if line],
        stations=stations,
        counts=judging.counts(check.state),
        map=drawings.map_of(
            revision,
            stations,
            standing,
            finish=check.finish,
            u_nm=check.u_nm,
            unit=unit,
            title=f"{revision.joint.number} {revision.joint.name}",
        ),
        profile=drawings.profile_of(
            revision,
            stations,
            standing,
            finish=check.finish,
            u_nm=check.u_nm,
            unit=unit,
        ),
        findings=[(row, row.title(unit)) for row in _not_raised(check, items)],
        measure_again=judging.measure_again(check),
        items=items,
        finish_on=finish_note(check, unit),
        rule_text=limit_texts.rule_text(revision, check, unit),
        doubts=doubts_of(check, unit),
        signed=panel_of("check", check.pk),
        since=remeasure.since([check]).get(check.pk),
    )


def _standing(check: Check):
    rows = CurrentReading.objects.filter(fit_check=check).select_related(
        "reading__entry__by", "reading__entry__confirmation"
    )
    standing, clashes = {}, set()
    for row in rows:
        standing[row.station_id, row.kind] = row.reading
        if row.clash:
            clashes.add((row.station_id, row.kind))
    return standing, clashes


def _superseded(check: Check) -> dict:
    counted: dict = {}
    for key in Reading.objects.filter(
        fit_check=check, supersedes__isnull=False
    ).values_list("station_id", "kind"):
        counted[key] = counted.get(key, 0) + 1
    return counted


def _line(check, station: Station, kind, standing, superseded, clashes, unit):
    station.revision = check.fit_up.revision
    wanted = requirements.requirement(station, kind, check.finish)
    key = (station.pk, kind)
    reading = standing.get(key)
    if wanted.empty and reading is None:
        return None
    value_nm = reading.value_nm if reading else None
    beyond = reading.deviation_nm if reading else None
    u_nm = reading.u_nm if reading and reading.u_nm else check.u_nm
    revision = station.revision
    drawn_in = requirements.acceptance(wanted, u_nm, revision.rule, revision.edition)
    return Line(
        station=station.label,
        kind=kind,
        requirement=lengths.limits(*wanted.limits, unit),
        accepted=""
        if drawn_in is None
        else lengths.accepted(wanted.limits, drawn_in.inside, unit),
        typed=_typed(reading),
        value="" if value_nm is None else lengths.length(value_nm, unit, beyond=beyond),
        value_nm=value_nm,
        outcome=reading.outcome if reading else "",
        state=drawings.state_of(reading, wanted),
        verdict=(reading.verdict or None) if reading else None,
        deviation_nm=beyond,
        deviation=wording.beyond(beyond, unit),
        probability=reading.probability if reading else None,
        correction=(
            lengths.length(reading.correction_nm, unit)
            if reading and reading.correction_nm
            else ""
        ),
        facing=lengths.facing(station.edge, value_nm) if kind == Kind.FLUSH else "",
        by=reading.entry.author if reading else "",
        reason=reading.reason if reading else "",
        superseded=superseded.get(key, 0),
        clash=key in clashes,
        at_20=_at_20(check, kind, value_nm, unit),
        limited=not wanted.empty,
    )


def _at_20(check: Check, kind: str, value_nm: int | None, unit: str) -> str:
    """The gap at 20 degC where the two sides are of unlike materials, else ""."""
    nm = requirements.gap_at_20_nm(check, value_nm) if kind == Kind.GAP else None
    return "" if nm is None else lengths.length(nm, unit)


def _typed(reading: Reading | None) -> str:
    if reading is None:
        return ""
    if reading.outcome == Outcome.FEELER:
        return f"{reading.goes} goes, {reading.does_not_go} not, {reading.unit}"
    if reading.outcome == Outcome.VALUE:
        return f"{reading.value} {reading.unit}"
    return str(Outcome(reading.outcome).label)


def _items(check: Check) -> list[Item]:
    rows = check.nonconformances.select_related("standing").order_by("number")
    return [
        Item(
            pk=row.pk,
            label=row.label,
            kind=row.kind,
            stations=tuple(row.stations),
            title=row.title,
            state=row.standing.state,
            disposition=row.standing.get_disposition_display(),
        )
        for row in rows
    ]


def finish_note(check: Check, unit: str) -> str:
    """Return how finish still to come moved the limits, "" when it did not."""
    revision = check.fit_up.revision
    part, surround = revision.finish_part_nm, revision.finish_surround_nm
    if check.finish != "bare" or not (part or surround):
        return ""
    return (
        f"Checked bare: gap limits grow by {lengths.length(part + surround, unit)}, "
        f"flushness limits move by {lengths.length(surround - part, unit)} for the "
        "finish still to come."
    )


def _not_raised(check: Check, items) -> list:
    """What was found and is no nonconformance yet."""
    raised = {(item.kind, item.stations) for item in items}
    every = judging.findings(check)
    return [row for row in every if (row.kind, row.stations) not in raised]
