"""Cure: pot life and age at room temperature, bag leaks, and a trace against a window.

Temperatures degC, times minutes unless said. The rule of ten (twice as fast for every
10 K) is a room-temperature rule: it is refused outside 5 to 45 degC, and says nothing
of an oven cycle. No cure kinetics: none published holds for a room-temperature lay-up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from shop.numeric.trace import Span, Trace, fastest_rate, spans_at_least

GAS_CONSTANT = 8.314  # J/mol/K
ZERO_C = 273.15
ROOM_C = (5.0, 45.0)
ROOM_ONLY = (
    "The rule of ten holds at room temperature only (here 5 to 45 degC), for the same "
    "mass in the same cup; never for an oven cycle. The product's data sheet governs."
)
# Conversions between units must not fail a value that lies on its limit.
_SLIP = 1e-9  # K, K/min, kPa
_MINUTE_SLIP = 1e-6


class CureError(ValueError):
    """A value that cannot be; the message says which and why."""


def pot_life(minutes: float, at_c: float, wanted_c: float) -> float:
    """Pot life at another room temperature, halved for every 10 K warmer.

    "For every 18 F below 77 F the pot life will double" (a supplier's text, read).
    """
    _positive(minutes=minutes)
    _room(at_c)
    _room(wanted_c)
    return minutes * 2 ** ((at_c - wanted_c) / 10)


@dataclass(frozen=True)
class Age:
    """Clock time and its equivalent at the reference temperature, in hours.

    Specifications count plain clock hours out of the freezer: keep both.
    """

    clock_hours: float
    equivalent_hours: float
    note: str = ROOM_ONLY


def equivalent_age(periods, reference_c: float = 23.0) -> Age:
    """Sum of dt 2^((T - Tref) / 10) over (hours, degC) periods at room temperature.

    Raises CureError for a period outside 5 to 45 degC, with which one.
    """
    _room(reference_c)
    clock, equivalent = [], []
    for number, (hours, celsius) in enumerate(periods, start=1):
        if not (math.isfinite(hours) and hours >= 0):
            raise CureError(f"period {number}: hours must be 0 or more, not {hours}")
        _room(celsius, f"period {number}: ")
        clock.append(hours)
        equivalent.append(hours * 2 ** ((celsius - reference_c) / 10))
    return Age(math.fsum(clock), math.fsum(equivalent))


def speedup_per_10k(energy_kj_mol: float, celsius: float) -> float:
    """Q10 by Arrhenius, exp(Ea / R (1/T - 1/(T + 10))): why the rule is not general."""
    _positive(energy_kj_mol=energy_kj_mol)
    kelvin = _kelvin(celsius)
    return math.exp(1000 * energy_kj_mol / GAS_CONSTANT * _inverse_step(kelvin))


def energy_for_doubling(celsius: float) -> float:
    """Activation energy in kJ/mol for which the rule of ten is exact from here."""
    return GAS_CONSTANT * math.log(2) / _inverse_step(_kelvin(celsius)) / 1000


@dataclass(frozen=True)
class BagDrop:
    """A vacuum drop test: what was lost and what may be, in kPa."""

    lost_kpa: float
    allowed_kpa: float

    @property
    def holds(self) -> bool:
        return self.lost_kpa <= self.allowed_kpa + 1e-9


def bag_drop(start_kpa: float, end_kpa: float, share: float = 0.10) -> BagDrop:
    """Vacuum lost with the pump off against the share of it that may be lost.

    Vacuum is below ambient, positive. At most 10 % in 5 minutes: a supplier's
    processing guide (text read).
    """
    _positive(start_kpa=start_kpa)
    if not (math.isfinite(end_kpa) and 0 <= share < 1):
        raise CureError("the vacuum at the end and the share must be numbers")
    return BagDrop(start_kpa - end_kpa, start_kpa * share)


@dataclass(frozen=True)
class Window:
    """What a recipe asks of a cure. Anything left None is not asked.

    The dwell is the longest unbroken time with every sensor at `dwell_least_c` or above
    (the lagging sensor governs). Rates are K per minute over `rate_minutes`; vacuum is
    kPa below ambient, asked from the start until, after the dwell, every sensor is at
    `vacuum_until_c` or below (to the end when None). A sensor silent for longer than
    `silence_minutes` leaves what it touches open.
    """

    dwell_least_c: float
    dwell_least_minutes: float
    dwell_most_c: float | None = None
    dwell_most_minutes: float | None = None
    heating_most: float | None = None
    heating_least: float | None = None
    peak_most_c: float | None = None
    cooling_most: float | None = None
    end_most_c: float | None = None
    vacuum_least_kpa: float | None = None
    vacuum_until_c: float | None = None
    rate_minutes: float = 5.0
    silence_minutes: float = 15.0
    source: str = ""


class Outcome(StrEnum):
    """What can be said of one requirement."""

    MET = "met"
    NOT_MET = "not met"
    CANNOT_SAY = "cannot say"


@dataclass(frozen=True)
class Requirement:
    """One requirement judged: `value` in `unit` (None: no value), where and why."""

    name: str
    asked: str
    outcome: Outcome
    value: float | None
    unit: str
    sensor: str | None = None
    minute: float | None = None
    why: str = ""


@dataclass(frozen=True)
class CureCheck:
    """Every requirement of a window, the dwell found, and the verdict over all."""

    requirements: tuple[Requirement, ...]
    dwell: Span | None
    lagging: str | None

    @property
    def outcome(self) -> Outcome:
        """Not met if any is not met, else cannot say if any is open, else met."""
        found = {one.outcome for one in self.requirements}
        for outcome in (Outcome.NOT_MET, Outcome.CANNOT_SAY):
            if outcome in found:
                return outcome
        return Outcome.MET


def check_cure(trace: Trace, window: Window) -> CureCheck:
    """A trace against a window: dwell, heating, peak, cooling, end, vacuum."""
    spans = spans_at_least(trace, window.dwell_least_c - _SLIP)
    dwell = max(spans, key=lambda span: span.minutes, default=None)
    lagging = _lagging(trace, window, dwell)
    found = [_dwell(trace, window, dwell, lagging)]
    found += _dwell_ceiling(trace, window, dwell)
    found += _heating(trace, window, dwell, lagging)
    found += _peak(trace, window)
    found += _cooling(trace, window, dwell)
    found += _end(trace, window)
    found += _vacuum(trace, window, dwell)
    return CureCheck(tuple(found), dwell, lagging)


def _lagging(trace: Trace, window: Window, dwell: Span | None) -> str:
    """The sensor that holds up the dwell: last to arrive, or coldest if none lasts."""
    if dwell is None:
        return min(trace.sensors, key=lambda s: max(trace.sensors[s].values))
    return max(
        trace.sensors,
        key=lambda s: trace.sensors[s].arrival(
            window.dwell_least_c - _SLIP, dwell.start
        ),
    )


def _dwell(trace, window: Window, dwell: Span | None, lagging: str) -> Requirement:
    least, most = window.dwell_least_minutes, window.dwell_most_minutes
    asked = (
        f"at least {least:g} min with every sensor at {window.dwell_least_c:.4g} degC"
    )
    asked += "" if most is None else f", at most {most:g} min"
    minutes = dwell.minutes if dwell else 0.0
    met = minutes >= least - _MINUTE_SLIP and (
        most is None or minutes <= most + _MINUTE_SLIP
    )
    outcome, why = Outcome.MET if met else Outcome.NOT_MET, ""
    quiet = trace.silence(window.silence_minutes, dwell)
    if dwell is None:
        why = f"{lagging} never got there with the others"
    elif met and quiet:
        outcome, why = Outcome.CANNOT_SAY, f"{quiet} was silent for too long"
    elif not met and minutes < least and dwell.end >= trace.end - _MINUTE_SLIP:
        # What was not recorded cannot be held against the part.
        outcome, why = Outcome.CANNOT_SAY, "the trace ends during the dwell"
    start = dwell.start if dwell else None
    return Requirement("dwell", asked, outcome, minutes, "min", lagging, start, why)


def _dwell_ceiling(trace: Trace, window: Window, dwell: Span | None):
    if window.dwell_most_c is None:
        return
    asked = f"at most {window.dwell_most_c:.4g} degC during the dwell"
    if dwell is None:
        yield _open("dwell temperature", asked, "degC", "there was no dwell")
        return
    value, sensor, minute = trace.warmest(dwell)
    yield _limited(
        "dwell temperature", asked, value, "degC", window.dwell_most_c, sensor, minute
    )


def _heating(trace: Trace, window: Window, dwell: Span | None, lagging: str):
    until = dwell.start if dwell else trace.end
    if window.heating_most is not None:
        asked = f"at most {window.heating_most:.3g} K/min"
        span = Span(trace.start, until)
        yield _rate(trace, window, "heating", asked, window.heating_most, span, 1)
    if window.heating_least is not None:
        asked = f"at least {window.heating_least:.3g} K/min"
        yield _slowest(trace, window, asked, dwell, lagging)


def _slowest(trace, window: Window, asked: str, dwell, lagging: str) -> Requirement:
    """Mean rate of the lagging sensor from a tenth of the way up to the dwell."""
    name = "heating, lagging sensor"
    if dwell is None:
        return _open(name, asked, "K/min", "there was no dwell")
    series = trace.sensors[lagging]
    first = series.values[0]
    tenth = first + (window.dwell_least_c - first) / 10
    left = series.arrival(tenth, dwell.start)
    if dwell.start - left < _MINUTE_SLIP:
        return _open(name, asked, "K/min", "the trace begins at the dwell")
    rate = (window.dwell_least_c - max(tenth, first)) / (dwell.start - left)
    met = rate >= window.heating_least - _SLIP
    outcome = Outcome.MET if met else Outcome.NOT_MET
    return Requirement(name, asked, outcome, rate, "K/min", lagging, left)


def _peak(trace: Trace, window: Window):
    if window.peak_most_c is not None:
        value, sensor, minute = trace.warmest(Span(trace.start, trace.end))
        asked = f"at most {window.peak_most_c:.4g} degC"
        yield _limited("peak", asked, value, "degC", window.peak_most_c, sensor, minute)


def _cooling(trace: Trace, window: Window, dwell: Span | None):
    if window.cooling_most is None:
        return
    asked = f"at most {window.cooling_most:.3g} K/min"
    if dwell is None or dwell.end >= trace.end - _MINUTE_SLIP:
        why = "there was no dwell" if dwell is None else "the trace ends in the dwell"
        yield _open("cooling", asked, "K/min", why)
        return
    span = Span(dwell.end, trace.end)
    yield _rate(trace, window, "cooling", asked, window.cooling_most, span, -1)


def _rate(trace, window, name, asked, most, span: Span, sign: int) -> Requirement:
    found = fastest_rate(trace, span, window.rate_minutes, sign)
    if found is None:
        why = f"less than {window.rate_minutes:g} minutes were recorded"
        return _open(name, asked, "K/min", why)
    value, sensor, minute = found
    return _limited(name, asked, value, "K/min", most, sensor, minute)


def _end(trace: Trace, window: Window):
    if window.end_most_c is not None:
        sensor = max(trace.sensors, key=lambda s: trace.sensors[s].values[-1])
        series = trace.sensors[sensor]
        asked = f"every sensor at most {window.end_most_c:.4g} degC at the end"
        value, minute = series.values[-1], series.minutes[-1]
        yield _limited(
            "end temperature", asked, value, "degC", window.end_most_c, sensor, minute
        )


def _vacuum(trace: Trace, window: Window, dwell: Span | None):
    if window.vacuum_least_kpa is None:
        return
    asked = f"at least {window.vacuum_least_kpa:.3g} kPa below ambient"
    if trace.vacuum is None:
        yield _open("vacuum", asked, "kPa", "the trace has no vacuum")
        return
    until = trace.end
    if window.vacuum_until_c is not None and dwell is not None:
        asked += f" until cooled to {window.vacuum_until_c:.4g} degC"
        until = trace.all_at_most(window.vacuum_until_c + _SLIP, dwell.end)
    span = Span(trace.start, until)
    value, minute = trace.vacuum.least(span)
    met = value >= window.vacuum_least_kpa - _SLIP
    outcome, why = (Outcome.MET, "") if met else (Outcome.NOT_MET, "")
    if met and trace.vacuum.silence(window.silence_minutes, span):
        outcome, why = Outcome.CANNOT_SAY, "the vacuum was not recorded throughout"
    yield Requirement("vacuum", asked, outcome, value, "kPa", None, minute, why)


def _limited(name, asked, value, unit, most, sensor, minute) -> Requirement:
    outcome = Outcome.MET if value <= most + _SLIP else Outcome.NOT_MET
    return Requirement(name, asked, outcome, value, unit, sensor, minute)


def _open(name: str, asked: str, unit: str, why: str) -> Requirement:
    return Requirement(name, asked, Outcome.CANNOT_SAY, None, unit, why=why)


def _inverse_step(kelvin: float) -> float:
    return 1 / kelvin - 1 / (kelvin + 10)


def _kelvin(celsius: float) -> float:
    if not (math.isfinite(celsius) and celsius > -ZERO_C):
        raise CureError(f"temperature must be above absolute zero, not {celsius}")
    return celsius + ZERO_C


def _room(celsius: float, where: str = "") -> None:
    if not (math.isfinite(celsius) and ROOM_C[0] <= celsius <= ROOM_C[1]):
        raise CureError(
            f"{where}{celsius:g} degC is not room temperature: the rule of ten holds "
            f"from {ROOM_C[0]:g} to {ROOM_C[1]:g} degC only"
        )


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise CureError(f"{name} must be more than 0, not {value}")
