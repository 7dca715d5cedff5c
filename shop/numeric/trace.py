"""A recorded cure: temperatures of any number of sensors over time, and the vacuum.

Minutes, degC, kPa below ambient. Between two readings of a sensor that follow one
another the straight line counts. What lies between two readings that do not, because
the sensor said in between that it could not read or was silent for too long, is
*unseen*: nothing is concluded there. So is what comes before a sensor first spoke and
after it last did, while others were recorded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

SLIP = 1e-6  # minutes: times come from clocks by division


class TraceError(ValueError):
    """A recording that cannot be used; the message says which reading and why."""


@dataclass(frozen=True)
class Span:
    """From one minute to another."""

    start: float
    end: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.start) and math.isfinite(self.end)):
            raise TraceError(f"a span is from a minute to another: {self}")

    @property
    def minutes(self) -> float:
        return self.end - self.start


@dataclass(frozen=True)
class Series:
    """Readings of one sensor: minutes, strictly rising, and as many values.

    `lost` are the minutes at which the sensor said that it could not read; a sensor
    that never could has no readings but some of those.
    """

    minutes: tuple[float, ...]
    values: tuple[float, ...]
    lost: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if len(self.minutes) != len(self.values) or not (self.minutes or self.lost):
            raise TraceError("a sensor needs a value for every minute, at least one")
        if not all(map(math.isfinite, (*self.minutes, *self.values, *self.lost))):
            raise TraceError("minutes and values must be numbers")
        for before, after in zip(self.minutes, self.minutes[1:], strict=False):
            if after <= before:
                raise TraceError(
                    f"time does not go on: {after:g} min after {before:g} min"
                )
        if set(self.minutes) & set(self.lost):
            raise TraceError("a sensor cannot both read and be lost in one minute")

    @property
    def minutes_spoken(self) -> tuple[float, ...]:
        """All minutes of which something is known, in no order."""
        return self.minutes + self.lost

    def runs(self, longest: float) -> list[Series]:
        """The readings cut where something is unseen: between two of them the sensor
        was lost, or silent for more than `longest` minutes."""
        if longest not in self._cut:
            self._cut[longest] = self._runs(longest)
        return self._cut[longest]

    @cached_property
    def _cut(self) -> dict[float, list[Series]]:
        """Runs by longest silence: they are asked for again and again."""
        return {}

    def _runs(self, longest: float) -> list[Series]:
        if not self.minutes:
            return []
        lost = np.sort(np.array(self.lost, dtype=float))
        steps = np.diff(self.minutes) > longest + SLIP
        gaps = np.diff(np.searchsorted(lost, self.minutes)) > 0
        cuts = [0, *(np.flatnonzero(steps | gaps) + 1).tolist(), len(self.minutes)]
        return [
            Series(self.minutes[a:b], self.values[a:b])
            for a, b in zip(cuts, cuts[1:], strict=False)
        ]

    def at(self, minutes) -> np.ndarray:
        """Values on the line at these minutes, held constant beyond the ends."""
        return np.interp(minutes, self.minutes, self.values)

    def spans_at_least(self, least: float) -> list[Span]:
        """Longest spans on which the line is at `least` or above, ends exact."""
        return self._spans(least, lambda value: value >= least)

    def spans_below(self, least: float) -> list[Span]:
        """Longest spans between which the line is at `least` or above, ends exact."""
        return self._spans(least, lambda value: value < least)

    def _spans(self, least: float, inside) -> list[Span]:
        spans: list[Span] = []
        if not self.minutes:
            return spans
        start = self.minutes[0] if inside(self.values[0]) else None
        for k in range(len(self.minutes) - 1):
            low, high = self.values[k], self.values[k + 1]
            if inside(low) == inside(high):
                continue
            share = (least - low) / (high - low)
            crossing = self.minutes[k] + share * (self.minutes[k + 1] - self.minutes[k])
            if start is None:
                start = crossing
            else:
                spans.append(Span(start, crossing))
                start = None
        if start is not None:
            spans.append(Span(start, self.minutes[-1]))
        return spans

    def arrival(self, least: float, before: float) -> float:
        """When the line last came up to `least`, up to `before`: its span's start."""
        starts = [span.start for span in self.spans_at_least(least)]
        return max((s for s in starts if s <= before + SLIP), default=self.minutes[0])

    def heard(self, longest: float, span: Span):
        """(minute, value) of every reading within the span, and of the line at its ends
        where that was seen."""
        for run in self.runs(longest):
            for minute in (span.start, span.end):
                if run.minutes[0] <= minute <= run.minutes[-1]:
                    yield minute, float(run.at(minute))
            for minute, value in zip(run.minutes, run.values, strict=True):
                if span.start <= minute <= span.end:
                    yield minute, value


@dataclass(frozen=True)
class Trace:
    """Sensors by name, at least one, and the vacuum where it was recorded.

    `silence` is how long a sensor may say nothing between two readings, in minutes.
    `recorded` is from the first row of the recording to the last, though no sensor may
    have spoken then; None: as far as anything was said.
    """

    sensors: dict[str, Series]
    vacuum: Series | None = None
    recorded: Span | None = None

    def __post_init__(self) -> None:
        if not self.sensors:
            raise TraceError("a trace needs at least one temperature")
        readings, rows = self._read_over, self.recorded or self._read_over
        if readings.start < rows.start - SLIP or readings.end > rows.end + SLIP:
            raise TraceError("a sensor spoke before or after the recording")

    @cached_property
    def _read_over(self) -> Span:
        every = [*self.sensors.values(), *([self.vacuum] if self.vacuum else [])]
        minutes = [minute for series in every for minute in series.minutes_spoken]
        return Span(min(minutes), max(minutes))

    @property
    def start(self) -> float:
        """First minute of the recording."""
        return (self.recorded or self._read_over).start

    @property
    def end(self) -> float:
        """Last minute of the recording, whoever spoke then."""
        return (self.recorded or self._read_over).end

    def seen(self, series: Series, longest: float) -> list[Span]:
        """Spans on which a sensor was heard: its runs of two readings and more.

        Before its first reading and after its last it may be silent as long as between
        two, unless it said that it was lost.
        """
        spans = [
            Span(run.minutes[0], run.minutes[-1])
            for run in series.runs(longest)
            if len(run.minutes) > 1
        ]
        if spans and spans[0].start == series.minutes[0]:
            head = Span(self.start, spans[0].start)
            if _short(series, head, longest):
                spans[0] = Span(self.start, spans[0].end)
        if spans and spans[-1].end == series.minutes[-1]:
            tail = Span(spans[-1].end, self.end)
            if _short(series, tail, longest):
                spans[-1] = Span(spans[-1].start, self.end)
        return spans

    def unseen(self, series: Series, longest: float, span: Span) -> list[Span]:
        """Parts of the span on which a sensor was not heard."""
        gaps, at = [], span.start
        for seen in self.seen(series, longest):
            if seen.end < at - SLIP:
                continue
            if seen.start > at + SLIP:
                gaps.append(Span(at, min(seen.start, span.end)))
            at = seen.end
            if at >= span.end - SLIP:
                return gaps
        return [*gaps, Span(at, span.end)]

    def first_unseen(self, longest: float, span: Span) -> tuple[str, Span] | None:
        """(sensor, when) of the first time within the span that a sensor was unheard"""
        unseen = [
            (gaps[0], name)
            for name, series in self.sensors.items()
            if (gaps := self.unseen(series, longest, span))
        ]
        if not unseen:
            return None
        gap, name = min(unseen, key=lambda named: named[0].start)
        return name, gap

    def warmest(self, longest: float, span: Span) -> tuple[float, str, float] | None:
        """(value, sensor, minute) of the warmest reading within the span, if any."""
        peaks = [
            (value, -minute, name)
            for name, series in self.sensors.items()
            for minute, value in series.heard(longest, span)
        ]
        if not peaks:
            return None
        value, minute, sensor = max(peaks, key=lambda peak: peak[:2])
        return value, sensor, -minute


def _short(series: Series, span: Span, longest: float) -> bool:
    """Whether a sensor that says nothing here may be taken to be there still."""
    lost = any(span.start <= minute <= span.end for minute in series.lost)
    return span.minutes <= longest + SLIP and not lost


def _numbers(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise TraceError(f"{name} must be a number, not {value}")


def surely_at_least(trace: Trace, least: float, longest: float) -> list[Span]:
    """Spans on which every sensor was heard at `least` or above: the last governs."""
    _numbers(least=least, longest=longest)
    return _every(
        [span for run in series.runs(longest) for span in run.spans_at_least(least)]
        for series in trace.sensors.values()
    )


def possibly_at_least(trace: Trace, least: float, longest: float) -> list[Span]:
    """Spans on which no sensor was heard below `least`."""
    _numbers(least=least, longest=longest)
    return _every(
        _not_below(trace, series, least, longest) for series in trace.sensors.values()
    )


def _not_below(trace: Trace, series: Series, least: float, longest: float):
    """What is left of the recording without the spans where this sensor was below.

    A reading by itself that is below cuts in two. After a last reading (and before a
    first) that is below, a sensor that is silent for no longer than it may be is taken
    to be below still.
    """
    below = [s for run in series.runs(longest) for s in run.spans_below(least)]
    left, at = [], trace.start
    for span in below:
        start, end = span.start, span.end
        if start == series.minutes[0]:
            head = Span(trace.start, start)
            start = trace.start if _short(series, head, longest) else start
        if end == series.minutes[-1]:
            tail = Span(end, trace.end)
            end = trace.end if _short(series, tail, longest) else end
        if start > at:
            left.append(Span(at, start))
        at = end
    if at < trace.end or not below:
        left.append(Span(at, trace.end))
    return left


def fastest_rate(
    trace: Trace, span: Span, over_minutes: float, sign: int, longest: float
) -> tuple[float, str, float] | None:
    """(K/min, sensor, minute) of the steepest rise (+1) or fall (-1) within the span.

    The rate is taken over `over_minutes`, so that one jumpy reading is no ramp, where a
    sensor was heard all that time; None where none was. Rise over a window of a
    piecewise straight line is itself piecewise straight, so that only windows that
    begin or end at a reading count.
    """
    _numbers(over_minutes=over_minutes, longest=longest)
    best = None
    for name, series in trace.sensors.items():
        for run in series.runs(longest):
            heard = Span(
                max(span.start, run.minutes[0]), min(span.end, run.minutes[-1])
            )
            if heard.minutes < over_minutes - SLIP:
                continue
            rate, minute = _steepest(run, heard, over_minutes, sign)
            if best is None or rate > best[0]:
                best = (rate, name, minute)
    return best


def _steepest(run: Series, span: Span, over: float, sign: int) -> tuple[float, float]:
    knots = np.array([m for m in run.minutes if span.start <= m <= span.end])
    starts = np.concatenate([knots, knots - over, [span.start, span.end - over]])
    inside = (starts >= span.start - SLIP) & (starts <= span.end - over + SLIP)
    starts = starts[inside]
    rates = sign * (run.at(starts + over) - run.at(starts))
    steepest = int(np.argmax(rates))
    return float(rates[steepest]) / over, float(starts[steepest])


def _every(lists) -> list[Span]:
    """Spans that lie in a span of every list."""
    common: list[Span] | None = None
    for spans in lists:
        common = spans if common is None else _both(common, spans)
    return common or []


def _both(first: list[Span], second: list[Span]) -> list[Span]:
    """Parts that lie in a span of either list; both in order."""
    overlaps, i, j = [], 0, 0
    while i < len(first) and j < len(second):
        start = max(first[i].start, second[j].start)
        end = min(first[i].end, second[j].end)
        if start <= end:
            overlaps.append(Span(start, end))
        if first[i].end < second[j].end:
            i += 1
        else:
            j += 1
    return overlaps
