"""A recorded cure: temperatures of any number of sensors over time, and the vacuum.

Minutes, degC, kPa below ambient. Between two readings of a sensor the straight line
counts; a reading that is missing is left out, and the line runs over it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np


class TraceError(ValueError):
    """A recording that cannot be used; the message says which reading and why."""


@dataclass(frozen=True)
class Span:
    """From one minute to another."""

    start: float
    end: float

    @property
    def minutes(self) -> float:
        return self.end - self.start


@dataclass(frozen=True)
class Series:
    """Readings of one sensor: minutes, strictly rising, and as many values."""

    minutes: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.minutes or len(self.minutes) != len(self.values):
            raise TraceError("a sensor needs a value for every minute, at least one")
        if not all(map(math.isfinite, (*self.minutes, *self.values))):
            raise TraceError("minutes and values must be numbers")
        for before, after in zip(self.minutes, self.minutes[1:], strict=False):
            if after <= before:
                raise TraceError(
                    f"time does not go on: {after:g} min after {before:g} min"
                )

    def at(self, minutes) -> np.ndarray:
        """Values on the line at these minutes, held constant beyond the ends."""
        return np.interp(minutes, self.minutes, self.values)

    def spans_at_least(self, least: float) -> list[Span]:
        """Longest spans on which the line is at `least` or above, ends exact."""
        found: list[Span] = []
        start = self.minutes[0] if self.values[0] >= least else None
        for k in range(len(self.minutes) - 1):
            low, high = self.values[k], self.values[k + 1]
            if (low >= least) == (high >= least):
                continue
            share = (least - low) / (high - low)
            crossing = self.minutes[k] + share * (self.minutes[k + 1] - self.minutes[k])
            if start is None:
                start = crossing
            else:
                found.append(Span(start, crossing))
                start = None
        if start is not None:
            found.append(Span(start, self.minutes[-1]))
        return found

    def arrival(self, least: float, before: float) -> float:
        """When the line last came up to `least`, up to `before`: its span's start."""
        starts = [span.start for span in self.spans_at_least(least)]
        return max((s for s in starts if s <= before + 1e-6), default=self.minutes[0])

    def least(self, span: Span) -> tuple[float, float]:
        """(value, minute) of the least reading, or end of the line, within the span."""
        return min((v, m) for m, v in self._within(span))

    def greatest(self, span: Span) -> tuple[float, float]:
        """(value, minute) of the greatest; of equal ones the first."""
        value, minute = max((v, -m) for m, v in self._within(span))
        return value, -minute

    def silence(self, longest: float, span: Span) -> bool:
        """Whether the sensor said nothing for longer than this within the span."""
        inside = [m for m in self.minutes if span.start < m < span.end]
        before = max((m for m in self.minutes if m <= span.start), default=None)
        after = min((m for m in self.minutes if m >= span.end), default=None)
        first = span.start - longest - 1 if before is None else before
        last = span.end + longest + 1 if after is None else after
        stops = [first, *inside, last]
        return any(b - a > longest for a, b in zip(stops, stops[1:], strict=False))

    def _within(self, span: Span):
        for minute in (span.start, span.end):
            yield minute, float(self.at(minute))
        for minute, value in zip(self.minutes, self.values, strict=True):
            if span.start <= minute <= span.end:
                yield minute, value


@dataclass(frozen=True)
class Trace:
    """Sensors by name, at least one, and the vacuum where it was recorded."""

    sensors: dict[str, Series]
    vacuum: Series | None = None

    def __post_init__(self) -> None:
        if not self.sensors:
            raise TraceError("a trace needs at least one temperature")

    @cached_property
    def start(self) -> float:
        """First minute of any sensor."""
        return min(series.minutes[0] for series in self.sensors.values())

    @cached_property
    def end(self) -> float:
        """Last minute that every sensor reached."""
        return min(series.minutes[-1] for series in self.sensors.values())

    def warmest(self, span: Span) -> tuple[float, str, float]:
        """(value, sensor, minute) of the warmest reading within the span."""
        found = [(*s.greatest(span), name) for name, s in self.sensors.items()]
        value, minute, sensor = max(found, key=lambda one: (one[0], -one[1]))
        return value, sensor, minute

    def all_at_most(self, most: float, after: float) -> float:
        """First minute after which no sensor is above `most`; the end if none is."""
        last = after
        for series in self.sensors.values():
            for span in series.spans_at_least(most):
                last = max(last, span.end)
        return min(last, self.end)

    def silence(self, longest: float, span: Span | None) -> str | None:
        """Name of a sensor that was silent for too long within the span."""
        if span is None:
            return None
        silent = (n for n, s in self.sensors.items() if s.silence(longest, span))
        return next(silent, None)


def spans_at_least(trace: Trace, least: float) -> list[Span]:
    """Spans on which every sensor is at `least` or above, so that the last governs."""
    common: list[Span] | None = None
    for series in trace.sensors.values():
        own = series.spans_at_least(least)
        common = own if common is None else _both(common, own)
    return common or []


def fastest_rate(
    trace: Trace, span: Span, over_minutes: float, sign: int
) -> tuple[float, str, float] | None:
    """(K/min, sensor, minute) of the steepest rise (+1) or fall (-1) within the span.

    The rate is taken over `over_minutes`, so that one jumpy reading is no ramp; None
    when the span is shorter. Rise over a window of a piecewise straight line is itself
    piecewise straight, so that only windows that begin or end at a reading count.
    """
    if span.minutes < over_minutes - 1e-9:
        return None
    best = None
    for name, series in trace.sensors.items():
        knots = np.array([m for m in series.minutes if span.start <= m <= span.end])
        starts = np.concatenate(
            [knots, knots - over_minutes, [span.start, span.end - over_minutes]]
        )
        starts = starts[
            (starts >= span.start - 1e-9) & (starts <= span.end - over_minutes + 1e-9)
        ]
        rates = sign * (series.at(starts + over_minutes) - series.at(starts))
        steepest = int(np.argmax(rates))
        rate = float(rates[steepest]) / over_minutes
        if best is None or rate > best[0]:
            best = (rate, name, float(starts[steepest]))
    return best


def _both(first: list[Span], second: list[Span]) -> list[Span]:
    """Parts that lie in a span of either list."""
    found = []
    for one in first:
        for other in second:
            start, end = max(one.start, other.start), min(one.end, other.end)
            if start <= end:
                found.append(Span(start, end))
    return found
