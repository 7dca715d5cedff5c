"""The instruments of a pack: until when they were calibrated, and how it went."""

from collections import defaultdict
from dataclasses import dataclass
from itertools import chain

from qa.models import Calibration, GaugeStanding, HoleCheck, Instrument
from qa.queries.packs.scope import Scope
from qa.rules import gauge_doubts
from qa.rules.gauge_due import overdue, overdue_words
from qa.wording import lengths


@dataclass(frozen=True)
class InstrumentLine:
    """One instrument: the checks it was used in, and its newest calibration."""

    code: str
    name: str
    u: str
    due: str
    calibrated: str
    laboratory: str
    certificate: str
    result: str
    used: str
    doubt: str


@dataclass(frozen=True)
class Instruments:
    key = "instruments"
    lines: tuple[InstrumentLine, ...]
    unstated: tuple[str, ...]

    @property
    def data(self) -> list:
        return [vars(line) for line in self.lines]


def section(scope: Scope) -> Instruments:
    used: dict[int, list] = {}
    for check in scope.checks:
        used.setdefault(check.instrument_id, []).append(check)
    holes = HoleCheck.objects.filter(part__in=scope.parts, instrument__isnull=False)
    holes = list(holes.select_related("entry", "instrument").order_by("number"))
    for check in holes:
        used.setdefault(check.instrument_id, []).append(check)
    seconds = [second for second, _doubt in chain.from_iterable(scope.seconds.values())]
    for second in seconds:
        used.setdefault(second.instrument_id, []).append(second)
    doubts = _doubts(scope.checks, holes, seconds)
    unstated = tuple(reading.label for reading in used.pop(None, []))
    rows = Instrument.objects.filter(pk__in=used).order_by("code")
    calibrations: dict[int, list[Calibration]] = {}
    for calibration in Calibration.objects.filter(instrument__in=used):
        calibrations.setdefault(calibration.instrument_id, []).append(calibration)
    return Instruments(
        tuple(
            _line(x, used[x.pk], calibrations.get(x.pk, []), doubts, scope)
            for x in rows
        ),
        unstated,
    )


def _line(gauge, checks, done: list[Calibration], doubts, scope) -> InstrumentLine:
    last = done[0] if done else None  # the newest first
    places = 3 if scope.unit == "mm" else 5
    doubt = [f"{x.label}: {why}" for x in checks for why in doubts[type(x), x.pk]]
    off = gauge_doubts.spans_off(done)
    if off:
        _good, by, until = off[-1]
        when = f"before, and until it was good again on {until}," if until else ""
        if until == by.done_on:
            when = "before"
        when = when or "before and since"
        doubt.append(f"found off on {by.done_on}: what it read {when} is in doubt")
    return InstrumentLine(
        code=gauge.code,
        name=gauge.name,
        u=lengths.length(gauge.u_nm, scope.unit, places) if gauge.u_nm else "not known",
        due=gauge.due.isoformat() if gauge.due else "not stated",
        calibrated=last.done_on.isoformat() if last else "not on record",
        laboratory=last.laboratory if last else "",
        certificate=last.certificate if last else "",
        result=str(last.get_result_display()) if last else "",
        used=", ".join(check.label for check in checks),
        doubt="; ".join(doubt),
    )


def _doubts(*kinds: list) -> dict[tuple, list[str]]:
    """What is to be said of the instrument of each check, hole check or second reading:
    that it was lost or damaged then, or its calibration due."""
    doubts = defaultdict(list)
    for rows in kinds:
        late, off = overdue(rows), gauge_doubts.found_off(rows)
        for row in rows:
            if isinstance(off.get(row.pk), GaugeStanding):
                doubts[type(row), row.pk].append(gauge_doubts.off_words(off[row.pk]))
            if row.pk in late:
                words = overdue_words(row.instrument.code, late[row.pk])
                doubts[type(row), row.pk].append(words)
    return doubts
