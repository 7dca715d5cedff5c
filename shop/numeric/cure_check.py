"""How a trace is judged against a window: see cure_window.py for what that means."""

from __future__ import annotations

import math

from shop.numeric.cure_window import CureCheck, Outcome, Requirement, Why, Window
from shop.numeric.trace import (
    SLIP,
    Series,
    Span,
    Trace,
    fastest_rate,
    possibly_at_least,
    surely_at_least,
)

# Conversions between units must not fail a value that lies on its limit.
_SLIP = 1e-9  # K, K/min, kPa


def check_cure(trace: Trace, window: Window) -> CureCheck:
    """A trace against a window: dwell, heating, peak, cooling, end, vacuum."""
    judge = _Judge(trace, window)
    requirements = [judge.dwell_time()]
    requirements += judge.dwell_ceiling()
    requirements += judge.heating()
    requirements += judge.peak()
    requirements += judge.cooling()
    requirements += judge.end()
    requirements += judge.vacuum()
    return CureCheck(tuple(requirements), judge.dwell, judge.lagging)


class _Judge:
    """A trace, its window, and what is known of the dwell.

    `dwell` is the longest sure one; `dwells` are the possible ones; `known` says that
    the dwell began and ended when it surely did, or that there surely was none.
    """

    def __init__(self, trace: Trace, window: Window):
        self.trace, self.window = trace, window
        self.whole = Span(trace.start, trace.end)
        self.longest = window.silence_minutes
        least = window.dwell_least_c - _SLIP
        sure = surely_at_least(trace, least, self.longest)
        sure = [span for span in sure if span.minutes > 0]
        self.dwell = max(sure, key=lambda span: span.minutes, default=None)
        self.dwells = possibly_at_least(trace, least, self.longest)
        around = [span for span in self.dwells if self._around(span)]
        self.around = around[0] if around else None
        rivals = [
            span
            for span in self.dwells
            if span is not self.around
            and (not self.dwell or span.minutes > self.dwell.minutes + SLIP)
        ]
        self.alone = not rivals and self._outlasts_the_rest()
        if self.dwell is None:
            self.known = not self.dwells
        else:
            self.known = self.alone and _same(self.around, self.dwell)
        self.lagging = self._lagging()

    def _around(self, span: Span) -> bool:
        return self.dwell is not None and (
            span.start <= self.dwell.start + SLIP and span.end >= self.dwell.end - SLIP
        )

    def _outlasts_the_rest(self) -> bool:
        """Whether the dwell, whenever it began and ended, holds the sure one: what may
        have been another before or after it within the possible one is shorter."""
        if self.dwell is None:
            return True
        before = self.dwell.start - self.around.start
        after = self.around.end - self.dwell.end
        return max(before, after) < self.dwell.minutes - SLIP

    def _lagging(self) -> str:
        """The sensor that holds up the dwell: last to arrive, or coldest if none lasts;
        before all others one that never spoke."""
        sensors = self.trace.sensors
        silent = [name for name, series in sensors.items() if not series.minutes]
        if silent:
            return silent[0]
        if self.dwell is None:
            return min(sensors, key=lambda s: max(sensors[s].values))
        least = self.window.dwell_least_c - _SLIP
        return max(sensors, key=lambda s: sensors[s].arrival(least, self.dwell.start))

    # The dwell itself

    def dwell_time(self) -> Requirement:
        least = self.window.dwell_least_minutes
        most = self.window.dwell_most_minutes
        asked = {"least": least, "at": self.window.dwell_least_c}
        asked |= {} if most is None else {"most": most}
        minutes = self.dwell.minutes if self.dwell else 0.0
        possible = max(map(self._possible, self.dwells), default=0.0)
        outcome, why = Outcome.OPEN, None
        if possible < least - SLIP or (most is not None and minutes > most + SLIP):
            outcome = Outcome.NOT_MET
            if self.dwell is None:
                why = Why("never_there", {"sensor": self.lagging})
        elif minutes >= least - SLIP and (most is None or possible <= most + SLIP):
            outcome = Outcome.MET
        else:
            why = self._why_dwell_is_open()
        start = self.dwell.start if self.dwell else None
        return Requirement(
            "dwell", asked, outcome, minutes, "min", self.lagging, start, why
        )

    def _possible(self, span: Span) -> float:
        """How long a dwell may have lasted. What was not recorded cannot be held
        against the part, nor for it."""
        cut = self._cut_off(span) or span.start <= self.trace.start + SLIP
        return math.inf if cut else span.minutes

    def _cut_off(self, span: Span) -> bool:
        return span.end >= self.trace.end - SLIP

    def _why_dwell_is_open(self) -> Why:
        for span in self.dwells:
            quiet = self._quiet(span)
            if quiet:
                return quiet
        if self.dwells and self._cut_off(self.dwells[-1]):
            return Why("ends_in_dwell")
        return Why("begins_in_dwell")

    def dwell_ceiling(self):
        most = self.window.dwell_most_c
        if most is None:
            return
        name, asked = "dwell_ceiling", {"most": most}
        if self.dwell is None:
            yield _open(name, asked, "degC", self._no_dwell())
            return
        sure = self.dwell if self.alone else None
        yield self._ceiling(name, asked, most, sure, self.around)

    def _no_dwell(self) -> Why:
        if self.known:
            return Why("no_dwell")
        return self._quiet(self.whole) or Why("too_short")

    # Ceilings

    def peak(self):
        most = self.window.peak_most_c
        if most is not None:
            asked = {"most": most}
            yield self._ceiling("peak", asked, most, self.whole, self.whole)

    def _ceiling(self, name, asked, most, sure: Span | None, possible: Span):
        """No sensor above `most`: asked of the sure span at least, at most of the
        possible one, which holds it."""
        broken = self.trace.warmest(self.longest, sure) if sure else None
        if broken and broken[0] > most + _SLIP:
            return _limited(name, asked, "degC", most, *broken)
        peak = self.trace.warmest(self.longest, possible)
        if peak is None:
            return _open(name, asked, "degC", self._quiet(possible) or Why("nothing"))
        if peak[0] > most + _SLIP:
            why = Why("asked_then")
            return _opened(_limited(name, asked, "degC", most, *peak), why)
        requirement = _limited(name, asked, "degC", most, *peak)
        return _opened(
            requirement, self._quiet(possible) or self._unknown(sure, possible)
        )

    def _unknown(self, sure: Span | None, possible: Span) -> Why | None:
        if sure and _same(sure, possible):
            return None
        return Why("dwell_when")

    def _quiet(self, span: Span) -> Why | None:
        """Who was not heard within the span, and when; None when everybody was."""
        silence = self.trace.first_unseen(self.longest, span)
        if silence is None:
            return None
        return _silent(
            silence[0], self.trace.sensors[silence[0]], silence[1], self.whole
        )

    # Rates

    def heating(self):
        window = self.window
        if window.heating_most is not None:
            asked = {"most": window.heating_most}
            if self.known:
                until = self.dwell.start if self.dwell else self.trace.end
                sure = possible = Span(self.trace.start, until)
            else:
                first = self.dwells[0].start
                sure, possible = Span(self.trace.start, first), self.whole
            yield self._rate("heating", asked, window.heating_most, sure, possible, 1)
        if window.heating_least is not None:
            yield self._slowest({"least": window.heating_least})

    def _slowest(self, asked: dict) -> Requirement:
        """Mean rate of the lagging sensor from a tenth of the way up to the dwell."""
        name, window = "heating_least", self.window
        if self.dwell is None or not self.known:
            why = self._quiet(self.whole) or Why("dwell_began")
            why = Why("no_dwell") if self.known else why
            return _open(name, asked, "K/min", why)
        series = self.trace.sensors[self.lagging]
        way = Span(self.trace.start, self.dwell.start)
        gaps = self.trace.unseen(series, self.longest, way)
        if gaps:
            why = _silent(self.lagging, series, gaps[0], self.whole)
            return _open(name, asked, "K/min", why)
        first = series.values[0]
        tenth = first + (window.dwell_least_c - first) / 10
        left = series.arrival(tenth, self.dwell.start)
        if self.dwell.start - left < SLIP:
            return _open(name, asked, "K/min", Why("begins_at_dwell"))
        rate = (window.dwell_least_c - max(tenth, first)) / (self.dwell.start - left)
        met = rate >= window.heating_least - _SLIP
        outcome = Outcome.MET if met else Outcome.NOT_MET
        return Requirement(name, asked, outcome, rate, "K/min", self.lagging, left)

    def cooling(self):
        most = self.window.cooling_most
        if most is None:
            return
        asked = {"most": most}
        if self.dwell is None:
            yield _open("cooling", asked, "K/min", self._no_dwell())
            return
        last = self.dwells[-1].end
        if self.known:
            last = self.dwell.end
        if last >= self.trace.end - SLIP:
            why = self._quiet(self.whole) or Why("ends_in_dwell")
            yield _open("cooling", asked, "K/min", why)
            return
        sure = Span(last, self.trace.end)
        possible = sure if self.known else self.whole
        yield self._rate("cooling", asked, most, sure, possible, -1)

    def _rate(self, name, required, most, sure: Span, possible: Span, sign: int):
        over = self.window.rate_minutes

        def fastest(span: Span):
            return fastest_rate(self.trace, span, over, sign, self.longest)

        broken = fastest(sure)
        if broken and broken[0] > most + _SLIP:
            return _limited(name, required, "K/min", most, *broken)
        possible_rate = fastest(possible)
        quiet = self._quiet(possible)
        if possible_rate is None:
            why = quiet or Why("less_than", {"minutes": over})
            return _open(name, required, "K/min", why)
        judged = _limited(name, required, "K/min", most, *possible_rate)
        return _opened(judged, quiet or self._unknown(sure, possible))

    # The end, and the vacuum

    def end(self):
        most = self.window.end_most_c
        if most is None:
            return
        asked = {"most": most}
        last, gone = [], []
        at_end = Span(self.trace.end, self.trace.end)
        for name, series in self.trace.sensors.items():
            gaps = self.trace.unseen(series, self.longest, at_end)
            if gaps:
                gone.append(_silent(name, series, gaps[0], self.whole))
            else:
                last.append((series.values[-1], name, series.minutes[-1]))
        why = gone[0] if gone else None
        if not last:
            yield _open("end", asked, "degC", why)
            return
        requirement = _limited("end", asked, "degC", most, *max(last))
        yield (
            requirement
            if requirement.outcome is Outcome.NOT_MET
            else _opened(requirement, why)
        )

    def vacuum(self):
        window, series = self.window, self.trace.vacuum
        if window.vacuum_least_kpa is None:
            return
        required = {"least": window.vacuum_least_kpa}
        sure = possible = self.whole
        why = None
        if window.vacuum_until_c is not None:
            required["until"] = window.vacuum_until_c
            sure, possible, why = self._under_vacuum()
        if series is None:
            yield _open("vacuum", required, "kPa", Why("no_vacuum"))
            return
        heard = [list(series.heard(self.longest, span)) for span in (sure, possible)]
        lowest = [min((v, m) for m, v in readings) for readings in heard if readings]
        if not lowest:
            yield _open("vacuum", required, "kPa", Why("vacuum_unseen"))
            return
        least = window.vacuum_least_kpa - _SLIP
        broken = next((low for low in lowest[:-1] if low[0] < least), None)
        value, minute = broken or lowest[-1]
        if broken:
            outcome, why = Outcome.NOT_MET, None
        elif value < least:
            outcome, why = Outcome.OPEN, why or Why("cooled_when")
        elif self.trace.unseen(series, self.longest, possible):
            outcome, why = Outcome.OPEN, Why("vacuum_throughout")
        else:
            outcome = Outcome.OPEN if why else Outcome.MET
        yield Requirement("vacuum", required, outcome, value, "kPa", None, minute, why)

    def _under_vacuum(self) -> tuple[Span, Span, Why | None]:
        """Spans on which the vacuum surely and possibly had to hold, and what keeps the
        two apart, if anything does."""
        start, end = self.trace.start, self.trace.end
        if self.dwell is None or not self.known:
            after = self.dwell.end if self.dwell and self.alone else start
            why = self._no_dwell()
            return Span(start, after), self.whole, why
        most = self.window.vacuum_until_c + _SLIP
        sure = possible = self.dwell.end
        why = None
        for name, series in self.trace.sensors.items():
            for run in series.runs(self.longest):
                warm = [span.end for span in run.spans_at_least(most)]
                sure = max([sure, *warm])
            later = Span(self.dwell.end, end)
            gaps = self.trace.unseen(series, self.longest, later)
            possible = max([possible, *(gap.end for gap in gaps)])
            if gaps:
                why = why or _silent(name, series, gaps[-1], self.whole)
            elif series.values[-1] > most:
                why = why or Why("ends_before_cooled", {"sensor": name})
        return Span(start, sure), Span(start, max(sure, possible)), why


def _same(first: Span | None, other: Span | None) -> bool:
    if first is None or other is None:
        return first is other
    return (
        abs(first.start - other.start) <= 2 * SLIP
        and abs(first.end - other.end) <= 2 * SLIP
    )


def _silent(name: str, series: Series, gap: Span, whole: Span) -> Why:
    """When a sensor was not heard."""
    if not series.minutes:
        return Why("silent", {"sensor": name})
    if len(series.minutes) == 1:
        return Why("heard_once", {"sensor": name, "at": series.minutes[0]})
    if gap.end >= whole.end - SLIP:
        return Why("silent_after", {"sensor": name, "at": series.minutes[-1]})
    if gap.end <= series.minutes[0] + SLIP:
        return Why("silent_before", {"sensor": name, "at": gap.end})
    return Why("silent_from", {"sensor": name, "at": gap.start, "to": gap.end})


def _limited(name, asked, unit, most, value, sensor, minute) -> Requirement:
    outcome = Outcome.MET if value <= most + _SLIP else Outcome.NOT_MET
    return Requirement(name, asked, outcome, value, unit, sensor, minute)


def _opened(requirement: Requirement, why: Why | None) -> Requirement:
    """The same, but open for a reason, when there is one."""
    if not why:
        return requirement
    return Requirement(
        requirement.name,
        requirement.asked,
        Outcome.OPEN,
        requirement.value,
        requirement.unit,
        requirement.sensor,
        requirement.minute,
        why,
    )


def _open(name: str, asked: dict, unit: str, why: Why | None) -> Requirement:
    return Requirement(name, asked, Outcome.OPEN, None, unit, why=why)
