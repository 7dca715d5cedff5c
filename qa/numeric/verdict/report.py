"""A fit check judged whole: every result, what does not conform, and the counts.

The page, the sheet, the command line and the file for other programs are all made from
a CheckReport, so that they cannot disagree. Lengths are whole nanometers.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from qa.numeric.verdict import acceptance, grouping
from qa.numeric.verdict.acceptance import Judged, NarrowLimits, Rule, Verdict
from qa.numeric.verdict.grouping import Finding
from shop.numeric.units import to_mm

NOT_MEASURED = "not_measured"
CHARACTERISTICS = ("gap", "flush")


class Outcome(StrEnum):
    """What can be said of the joint. The first that is so, in this order."""

    DOES_NOT_CONFORM = "does_not_conform"
    NOT_PROVEN = "not_proven"
    NOT_MEASURED = "not_measured"
    NO_LIMITS = "no_limits"
    CONFORMS = "conforms"


@dataclass(frozen=True)
class StationLimits:
    """Limits of one station in nm, None where there is none on that side."""

    gap_low_nm: int | None = None
    gap_high_nm: int | None = None
    flush_low_nm: int | None = None
    flush_high_nm: int | None = None

    def of(self, characteristic: str) -> tuple[int | None, int | None]:
        """(low, high) of "gap" or "flush"."""
        if characteristic == "gap":
            return self.gap_low_nm, self.gap_high_nm
        return self.flush_low_nm, self.flush_high_nm


@dataclass(frozen=True)
class StationReading:
    """What was read at one station in nm; None where it was not measured."""

    gap_nm: int | None = None
    flush_nm: int | None = None

    def of(self, characteristic: str) -> int | None:
        return self.gap_nm if characteristic == "gap" else self.flush_nm


@dataclass(frozen=True)
class Result:
    """One characteristic of a station: its reading, its limits, its verdict if any."""

    value_nm: int | None
    low_nm: int | None
    high_nm: int | None
    judged: Judged | None

    @property
    def has_limits(self) -> bool:
        return self.low_nm is not None or self.high_nm is not None

    @property
    def state(self) -> str | None:
        """A verdict, "not_measured", or None for a characteristic without limits."""
        if not self.has_limits:
            return None
        return self.judged.verdict if self.judged else NOT_MEASURED

    @property
    def failing_nm(self) -> int | None:
        """How far beyond its limit, when it does not conform."""
        if self.state != Verdict.DOES_NOT_CONFORM:
            return None
        return self.judged.deviation_nm


@dataclass(frozen=True)
class StationReport:
    """The results at one station."""

    label: str
    gap: Result
    flush: Result


@dataclass(frozen=True)
class CheckReport:
    """A judged check: one StationReport per row of the joint, findings, counts.

    `counts` holds the number of characteristics with limits in each state, in the order
    conforms, does_not_conform, not_proven, not_measured.
    """

    method: str
    rule: Rule
    edition: str
    u_nm: int | None
    closed: bool
    stations: tuple[StationReport, ...]
    findings: tuple[Finding, ...]
    counts: dict[str, int]

    @property
    def outcome(self) -> Outcome:
        for outcome in (
            Outcome.DOES_NOT_CONFORM,
            Outcome.NOT_PROVEN,
            Outcome.NOT_MEASURED,
        ):
            if self.counts[outcome]:
                return outcome
        return Outcome.CONFORMS if self.counts["conforms"] else Outcome.NO_LIMITS

    def labels(self, finding: Finding) -> list[str]:
        """Names of the stations of a finding."""
        return [self.stations[row].label for row in finding.rows]

    def labels_in(self, state: str, name: str) -> list[str]:
        """Stations whose characteristic of that name is in that state."""
        return [
            station.label
            for station in self.stations
            if getattr(station, name).state == state
        ]


def judge_check(
    labels: Sequence[str],
    limits: Sequence[StationLimits],
    readings: Sequence[StationReading],
    *,
    rule: Rule | str = Rule.SIMPLE,
    u_nm: int | None = None,
    edition: str = "2017",
    closed: bool = True,
) -> CheckReport:
    """Judge a whole check, rows in the order of the seam.

    Raises as verdict.acceptance does: ask narrow_limits first to name the stations.
    """

    def result(row: int, characteristic: str) -> Result:
        low, high = limits[row].of(characteristic)
        value = readings[row].of(characteristic)
        judged = None
        if value is not None and (low is not None or high is not None):
            judged = acceptance.judge(value, low, high, u_nm, rule, edition)
        return Result(value, low, high, judged)

    stations = tuple(
        StationReport(label, result(row, "gap"), result(row, "flush"))
        for row, label in enumerate(labels)
    )
    return assemble(stations, rule=rule, u_nm=u_nm, edition=edition, closed=closed)


def assemble(
    stations: tuple[StationReport, ...],
    *,
    rule: Rule | str,
    u_nm: int | None,
    edition: str,
    closed: bool,
    method: str = acceptance.METHOD,
) -> CheckReport:
    """The report of results that were judged before: findings and counts from them."""
    states = [
        state
        for station in stations
        for state in (station.gap.state, station.flush.state)
        if state
    ]
    return CheckReport(
        method=method,
        rule=Rule(rule),
        edition=edition,
        u_nm=u_nm,
        closed=closed,
        stations=stations,
        findings=grouping.group(
            [station.gap.failing_nm for station in stations],
            [station.flush.failing_nm for station in stations],
            closed=closed,
        ),
        counts={str(state): states.count(state) for state in (*Verdict, NOT_MEASURED)},
    )


def narrow_limits(
    limits: Sequence[StationLimits], rule: Rule | str, u_nm: int | None, edition: str
) -> Iterator[tuple[int, str, str]]:
    """(row, "gap" or "flush", why) of all limits that leave nothing to prove."""
    for row, station in enumerate(limits):
        for characteristic in CHARACTERISTICS:
            low, high = station.of(characteristic)
            try:
                acceptance.acceptance(low, high, u_nm, rule, edition)
            except NarrowLimits as why:
                yield row, characteristic, str(why)


def as_plain(report: CheckReport) -> dict:
    """The report as plain values for other programs; lengths in mm.

    A characteristic without limits, or not measured, is None.
    """
    return {
        "method": report.method,
        "rule": str(report.rule),
        "stations": [
            {
                "station": station.label,
                "gap": _plain_result(station.gap),
                "flush": _plain_result(station.flush),
            }
            for station in report.stations
        ],
        "nonconformances": [
            {
                "kind": str(finding.kind),
                "stations": report.labels(finding),
                "worst_station": report.stations[finding.worst_row].label,
                "worst_by_mm": _mm(finding.worst_nm),
            }
            for finding in report.findings
        ],
        "counts": dict(report.counts),
    }


def _plain_result(result: Result) -> dict | None:
    if result.judged is None:
        return None
    return {
        "value_mm": _mm(result.value_nm),
        "verdict": str(result.judged.verdict),
        "probability": result.judged.probability,
        "deviation_mm": _mm(result.judged.deviation_nm),
    }


def _mm(nm: int) -> float:
    """Nearest float, so that it prints with at most six decimals."""
    return to_mm(nm)
