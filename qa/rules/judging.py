"""One reading judged: what was typed, in nm, with its verdict. Shared by the acts."""

import hashlib
from collections import defaultdict
from dataclasses import dataclass

from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    JointRevision,
    Kind,
    Outcome,
    Reading,
    Station,
)
from qa.numeric.verdict import acceptance, grouping
from qa.rules import gauges, requirements
from qa.wording import findings as wording
from qa.wording import lengths
from shop.ledger import Refused
from shop.models.prepared_statements import Prepared, Slot, Slots
from shop.numeric.units import LengthError, parse_length


@dataclass(frozen=True)
class Typed:
    """What a person or a gauge typed, kept as typed; nm worked out exactly."""

    outcome: str
    value: str = ""
    unit: str = ""
    goes: str = ""
    does_not_go: str = ""

    def needs_a_reason_after(self, reading: Reading) -> bool:
        """Tell whether replacing `reading`, which said something else, needs a why."""
        names = ("outcome", "value", "unit", "goes", "does_not_go")
        return reading.outcome != Outcome.CLEARED and any(
            getattr(self, name) != getattr(reading, name) for name in names
        )


def typed_length(text: str, unit: str, field: str) -> int:
    """A length as typed, in nm; Refused beside its field where it is none."""
    if len(text) > 24:
        raise Refused("That is too long for a length.", field=field)
    try:
        return parse_length(text, unit, comma=True)
    except LengthError as error:
        raise Refused(f"{error}.", field=field) from None


def _value(typed: Typed, u_nm: int | None, kind: str) -> tuple[int, int | None]:
    if typed.outcome == Outcome.VALUE:
        return typed_length(typed.value, typed.unit, "value"), u_nm
    if kind != Kind.GAP:
        raise Refused("A feeler pair measures a gap.", field="outcome")
    goes = typed_length(typed.goes, typed.unit, "goes")
    stops = typed_length(typed.does_not_go, typed.unit, "does_not_go")
    try:
        return acceptance.feeler(goes, stops, u_nm)
    except ValueError as error:
        raise Refused(f"{error}.".capitalize(), field="does_not_go") from None


def _taken(typed: Typed, value_nm: int) -> list[int]:
    """What the instrument itself read: of a feeler pair both leaves."""
    if typed.outcome == Outcome.VALUE:
        return [value_nm]
    leaves = typed.goes, typed.does_not_go
    return [parse_length(leaf, typed.unit, comma=True) for leaf in leaves]


def judged(check: Check, station: Station, kind: str, typed: Typed) -> Reading:
    """Return the reading, judged by the revision that its fit-up was opened with."""
    if typed.outcome not in Outcome.values:
        raise Refused("This is no way to read a station.", field="outcome")
    reading = Reading(
        fit_check=check,
        station=station,
        kind=kind,
        outcome=typed.outcome,
        value=typed.value,
        goes=typed.goes,
        does_not_go=typed.does_not_go,
        unit=typed.unit,
    )
    if typed.outcome in (Outcome.SKIPPED, Outcome.CLEARED):
        return reading
    reading.value_nm, reading.u_nm = _value(typed, check.u_nm, kind)
    gauges.hold_to_range(_taken(typed, reading.value_nm), check.reach, "value")
    reading.judged_nm = reading.value_nm
    if kind == Kind.FLUSH:
        reading.correction_nm = requirements.bridge_excess_nm(station, check)
    wanted = requirements.requirement(station, kind, check.finish)
    if wanted.empty:
        return reading
    revision = station.revision
    try:
        limits = requirements.acceptance(
            wanted, reading.u_nm, revision.rule, revision.edition
        )
        result = acceptance.judge(
            reading.judged_nm,
            wanted.low_nm,
            wanted.high_nm,
            reading.u_nm,
            revision.rule,
            revision.edition,
        )
    except acceptance.NarrowLimits as error:
        raise Refused(f"{error}.".capitalize(), field="does_not_go") from None
    reading.low_nm, reading.high_nm = wanted.low_nm, wanted.high_nm
    reading.guard_nm = limits.guard_nm
    reading.rule = revision.rule
    reading.method = acceptance.METHOD
    reading.verdict = result.verdict
    reading.deviation_nm = result.deviation_nm
    reading.probability = result.probability
    return reading


def column(reading: Reading) -> str | None:
    """Return the count of CheckState that a standing reading belongs to."""
    if reading.outcome == Outcome.SKIPPED:
        return "skipped"
    if reading.outcome == Outcome.CLEARED:
        return None
    return reading.verdict or "without_limits"


def counts(state: CheckState) -> dict:
    """Return the counts of a check; what was skipped was not measured."""
    measured = state.conforms + state.does_not_conform + state.not_proven
    return {
        "conforms": state.conforms,
        "does_not_conform": state.does_not_conform,
        "not_proven": state.not_proven,
        "not_measured": state.wanted - measured,
    }


def receipt_of(reading: Reading, station: Station) -> dict:
    """Return what the tablet is told about a saved reading."""
    unit = reading.unit or "mm"
    words = Kind(reading.kind).label
    if reading.value_nm is None:
        message = f"{words} {Outcome(reading.outcome).label}"
    else:
        beyond = reading.deviation_nm
        value = lengths.length(reading.value_nm, unit, beyond=beyond)
        message = f"{words} {value}"
        if reading.deviation_nm:
            message += f", {wording.beyond(reading.deviation_nm, unit)}"
    if reading.value_nm is not None and gauges.is_outside(
        reading.value_nm, reading.fit_check.reach
    ):
        message += ", outside what the instrument reads"
    if reading.late:
        message += ": kept, but the check was finished before; a person decides"
    return {
        "station": station.label,
        "kind": reading.kind,
        "outcome": reading.outcome,
        "verdict": reading.verdict or None,
        "deviation_nm": reading.deviation_nm,
        "probability": reading.probability,
        "value_nm": reading.value_nm,
        "correction_nm": reading.correction_nm,
        "current": not (reading.clash or reading.late),
        "late": reading.late,
        "clash": reading.clash,
        "message": message,
    }


@dataclass(frozen=True)
class Finding:
    """Neighboring failing stations of one kind: one item that a builder can work."""

    kind: str
    stations: tuple[str, ...]
    readings: tuple[int, ...]
    worst_station: str
    worst_nm: int
    requirement: str
    worst_value: str

    @property
    def key(self) -> str:
        """What names its stations, so that it is raised once."""
        return hashlib.sha256("\n".join(self.stations).encode()).hexdigest()

    def title(self, unit: str) -> str:
        """The finding in words: "gap tight, stations 4–7, worst 0.62 mm under at 5"."""
        return wording.title(
            self.kind, self.stations, self.worst_nm, self.worst_station, unit
        )


def findings(check: Check) -> list[Finding]:
    """Group the standing readings that do not conform, along the seam."""
    return findings_of([check])[check.pk]


STATIONS = Prepared(
    lambda: Station.objects.filter(revision__in=Slots("revisions")).order_by(
        "revision_id", "order"
    )
)
FAILING = Prepared(
    lambda: CurrentReading.objects.filter(
        fit_check__in=Slots("checks"),
        reading__verdict=acceptance.Verdict.DOES_NOT_CONFORM,
    ).select_related("reading")
)
NOT_PROVEN = Prepared(
    lambda: (
        CurrentReading.objects.filter(
            fit_check=Slot("check"), reading__verdict=acceptance.Verdict.NOT_PROVEN
        )
        .order_by("station__order", "kind")
        .values_list("station__label", "kind")
    )
)


def findings_of(checks: list[Check]) -> dict[int, list[Finding]]:
    """The same of each check, by its key, in two statements."""
    stations, current = defaultdict(list), defaultdict(list)
    revisions = {check.fit_up.revision_id for check in checks}
    for station in STATIONS.rows(revisions=revisions) if checks else ():
        stations[station.revision_id].append(station)
    keys = [check.pk for check in checks]
    for stands in FAILING.rows(checks=keys) if checks else ():
        current[stands.fit_check_id].append(stands)
    return {
        check.pk: _grouped(
            check.fit_up.revision,
            stations[check.fit_up.revision_id],
            current[check.pk],
        )
        for check in checks
    }


def _grouped(
    revision: JointRevision, stations: list[Station], current: list[CurrentReading]
) -> list[Finding]:
    """current: the standing readings of a check that do not conform."""
    rows = {station.pk: row for row, station in enumerate(stations)}
    failing = {kind: [None] * len(stations) for kind in Kind.values}
    readings = {}
    for stands in current:
        row = rows[stands.station_id]
        failing[stands.kind][row] = stands.reading.deviation_nm
        readings[stands.kind, row] = stands.reading
    grouped = grouping.group(
        failing[Kind.GAP], failing[Kind.FLUSH], closed=revision.closed
    )
    return [_finding(group, stations, readings, revision.units) for group in grouped]


def _finding(group, stations, readings, unit) -> Finding:
    kind = Kind.GAP if group.kind in grouping.GAP_KINDS else Kind.FLUSH
    worst = readings[kind, group.worst_row]
    return Finding(
        kind=str(group.kind),
        stations=tuple(stations[row].label for row in group.rows),
        readings=tuple(readings[kind, row].pk for row in group.rows),
        worst_station=stations[group.worst_row].label,
        worst_nm=group.worst_nm,
        requirement=f"{Kind(kind).label} "
        + lengths.limits(worst.low_nm, worst.high_nm, unit),
        worst_value=lengths.length(worst.value_nm, unit, beyond=worst.deviation_nm),
    )


def measure_again(check: Check) -> list[dict]:
    """Return the standing readings that prove neither: apart from what fails."""
    return [
        {"station": label, "kind": kind}
        for label, kind in NOT_PROVEN.rows(check=check.pk)
    ]


def proposal(check: Check) -> dict:
    """Return the nonconformances to propose and what to measure again."""
    unit = check.fit_up.revision.units
    return {
        "findings": [
            {
                "kind": finding.kind,
                "stations": list(finding.stations),
                "worst_station": finding.worst_station,
                "worst_nm": finding.worst_nm,
                "title": finding.title(unit),
            }
            for finding in findings(check)
        ],
        "measure_again": measure_again(check),
    }
