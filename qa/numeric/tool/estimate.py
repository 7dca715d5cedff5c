"""What the first fits of several parts say of the tool they were pulled from.

Every part is brought back to as pulled (what was cut from it is added back), its own
seating is taken out (least_squares.py), and what is left in common is the tool's. A
positive tool at a gap is a gap too wide, at flushness a part too proud. What is told is
up to one motion of the whole outline, which seating takes out of every part; of mold
and opening together where there was one opening; and true where the parts differ at
random from station to station, beyond their seating.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from qa.numeric.geometry.joint import Joint
from qa.numeric.plan.motions import Motion
from qa.numeric.tool.bounds import LEVEL, Family, correlation, critical_value
from qa.numeric.tool.characteristics import Characteristics, characteristics
from qa.numeric.tool.expectation import NextPart
from qa.numeric.tool.least_squares import Seating, Why, rank
from qa.numeric.tool.opening_effects import OpeningEffects, opening_effects
from qa.numeric.tool.scatter import Scatter, pooled_fit
from shop.numeric.finite import finite

MOST_CHARACTERISTICS = 2_000
LEAST_WORTH_MM = 0.1


class Advice(StrEnum):
    """What to do at a place of a female mold, whose surface makes the outside."""

    OUT = "out"  # the cut line goes out: the part is to be larger
    IN = "in"
    FILL = "fill"  # the mold's surface is built up: the part is to sit lower
    RELIEVE = "relieve"
    LEAVE = "leave"
    CANNOT_TELL = "cannot_tell"


class TooMuch(ValueError):
    """More characteristics than can be worked out at once."""


@dataclass(frozen=True)
class PulledReading:
    """One station of one part at its first fit, as pulled, in mm: gap less what was cut
    before. `station` is a row of the joint, `opening` names what it was tried in."""

    part: str
    station: int
    gap_mm: float | None = None
    flush_mm: float | None = None
    opening: str = ""


@dataclass(frozen=True)
class Alike:
    """What the gaps or flushnesses ("gap" or "flush") of the stations in these rows may
    be read off by alike, mm: the zero of the gauge that read them."""

    kind: str
    rows: frozenset[int]
    mm: float


@dataclass(frozen=True)
class ToolValue:
    """One characteristic of the tool in mm, None where it cannot be had; `why` then.

    `correction_mm` is what is added to the reading by doing as advised (JCGM 200, 2.53:
    a correction compensates the error): minus the tool, 0 where it is left. `after_mm`
    is what the next part is expected to show once it is done and the part is seated by
    least squares, `after_half_mm` how far from it that part may be: 95 % for all of
    them together (Bonferroni). `zero_mm` is how much of it gauges may be, by what they
    are off alike.
    """

    tool_mm: float | None = None
    standard_error_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None
    correction_mm: float | None = None
    advice: Advice = Advice.CANNOT_TELL
    why: Why | None = None
    after_mm: float | None = None
    after_half_mm: float | None = None
    zero_mm: float = 0.0

    @property
    def beyond(self) -> bool:
        """Whether it is off beyond its bounds and beyond what the gauge may be."""
        if self.low_mm is None:
            return False
        return self.low_mm > self.zero_mm or self.high_mm < -self.zero_mm


@dataclass(frozen=True)
class Share:
    """Expected shares of the next part, before and after the corrections."""

    now: float
    after: float
    whole_now: float
    whole_after: float


@dataclass(frozen=True)
class ToolReport:
    """What is told of a tool: gap and flush of every station of the joint, in order.

    `factor` is that of all bounds. `scatter` says how much parts differ. `bare` are the
    stations whose target is the limit itself, as (row, "gap" or "flush"). `apart` tells
    the openings.
    """

    parts: tuple[str, ...]
    openings: tuple[str, ...]
    gap: tuple[ToolValue, ...]
    flush: tuple[ToolValue, ...]
    scatter: Scatter
    factor: float | None
    share: Share | None
    seen_motions: int
    bare: tuple[tuple[int, str], ...] = field(default=())
    apart: OpeningEffects = field(default_factory=OpeningEffects)

    @property
    def values(self) -> tuple[ToolValue, ...]:
        return self.gap + self.flush

    @property
    def anything(self) -> bool:
        """Whether there is advice on anything."""
        return any(value.advice != Advice.CANNOT_TELL for value in self.values)


def estimate_tool(
    joint: Joint,
    readings: Sequence[PulledReading],
    motions: Sequence[Motion],
    sd_mm: float | None = None,
    worth_mm: float = LEAST_WORTH_MM,
    only: frozenset[int] | None = None,
    alike: Sequence[Alike] = (),
) -> ToolReport:
    """The tool of a joint, from readings of any parts and stations.

    motions: how a part may sit, none when it is held (`free_to_move`). sd_mm: how much
    parts differ at a station, when it is known. worth_mm: what is not worth correcting.
    only: the rows of the stations that are asked for, where it is not all of them.
    alike: what may be read off alike, each by itself: what of it does not pass for a
    motion of the part passes for the tool's, and what is off by no more cannot be told
    (why: ONE_GAUGE).
    ValueError for a number that is none, a station that the joint lacks, a reading that
    is there twice; TooMuch beyond 2,000 characteristics.
    """
    _refuse_odd(sd_mm, worth_mm, alike)
    count = len(joint.stations)
    wanted, left_out = _asked(characteristics(joint, motions), only)
    if wanted.limited.sum() > MOST_CHARACTERISTICS:
        raise TooMuch(
            f"{wanted.limited.sum()} characteristics with limits; at most "
            f"{MOST_CHARACTERISTICS}"
        )
    seatings, parts, openings = _seatings(wanted, readings)
    fit = pooled_fit(wanted, seatings, max(1, len(openings)), sd_mm)
    values, factor = _values(wanted, fit, worth_mm, alike)
    values = _foreseen(fit, values)
    for row in left_out:
        values[row] = ToolValue(why=Why.NOT_ASKED)
    return ToolReport(
        parts=parts,
        openings=openings,
        gap=tuple(values[:count]),
        flush=tuple(values[count:]),
        scatter=fit.scatter,
        factor=factor,
        share=_share(wanted, fit, values),
        seen_motions=rank(wanted.slopes[wanted.limited]),
        bare=tuple(
            (int(c) % count, "gap" if c < count else "flush")
            for c in np.flatnonzero(wanted.bare)
        ),
        apart=opening_effects(wanted, seatings, fit, openings, sd_mm),
    )


def _refuse_odd(sd_mm, worth_mm, alike: Sequence[Alike]) -> None:
    finite(sd_mm=sd_mm, worth_mm=worth_mm)
    if sd_mm is not None and sd_mm <= 0:
        raise ValueError(f"a standard deviation is more than 0, not {sd_mm}")
    if worth_mm < 0:
        raise ValueError(f"what is worth correcting is 0 or more, not {worth_mm}")
    for gauge in alike:
        finite(alike=gauge.mm)
        if gauge.mm < 0:
            raise ValueError(f"what is read off alike is 0 or more, not {gauge.mm}")


def _asked(
    every: Characteristics, only: frozenset[int] | None
) -> tuple[Characteristics, list[int]]:
    """(what is asked for, the limited rows that are not)."""
    if only is None:
        return every, []
    rows = np.arange(every.count) % (every.count // 2)
    out = every.limited & ~np.isin(rows, sorted(only))
    target = np.where(out, np.nan, every.target)
    return replace(every, target=target), np.flatnonzero(out).tolist()


def _seatings(asked: Characteristics, readings: Sequence[PulledReading]):
    """(seatings, names of parts, names of openings), both in order of appearance."""
    count = asked.count // 2
    cells: dict[tuple[str, str], dict[int, float]] = {}
    for reading in readings:
        finite(gap_mm=reading.gap_mm, flush_mm=reading.flush_mm)
        if not 0 <= reading.station < count:
            raise ValueError(f"the joint has no station in row {reading.station}")
        cell = cells.setdefault((reading.part, reading.opening), {})
        for row, value in (
            (reading.station, reading.gap_mm),
            (reading.station + count, reading.flush_mm),
        ):
            if value is None or not asked.limited[row]:
                continue
            if row in cell:
                raise ValueError(
                    f"part {reading.part} was read twice in row {reading.station}"
                )
            cell[row] = value - asked.target[row]
    cells = {key: cell for key, cell in cells.items() if cell}
    parts = tuple(dict.fromkeys(part for part, _ in cells))
    openings = tuple(dict.fromkeys(opening for _, opening in cells))
    seatings = []
    for (part, opening), cell in cells.items():
        rows = np.array(sorted(cell))
        values = np.array([cell[row] for row in rows.tolist()])
        seatings.append(
            Seating(parts.index(part), openings.index(opening), rows, values)
        )
    return seatings, parts, openings


def _values(asked: Characteristics, fit, worth_mm: float, alike):
    """(value of every characteristic, factor of the bounds or None)."""
    zeros = _zeros(asked.count, fit, alike)
    bounded_rows = np.flatnonzero(fit.bounded)
    errors = fit.standard_errors
    factor = None
    if len(bounded_rows):
        factor = critical_value(
            [
                Family(correlation(fit.covariance[np.ix_(rows, rows)]), degrees)
                for rows, degrees in fit.families
            ]
        )
    values = []
    for row, why in enumerate(fit.why):
        tool = float(fit.tool[row])
        if why == Why.NO_SCATTER:
            shown = tool if fit.several[row] else None
            values.append(ToolValue(tool_mm=shown, why=why))
        elif why:
            values.append(ToolValue(why=why))
        else:
            half = factor * float(errors[row])
            advice = _advice(tool, half, worth_mm, bool(asked.gap[row]))
            gauge = advice != Advice.LEAVE and abs(tool) - half <= zeros[row]
            advice = Advice.CANNOT_TELL if gauge else advice
            still = advice in (Advice.LEAVE, Advice.CANNOT_TELL)
            values.append(
                ToolValue(
                    tool_mm=tool,
                    standard_error_mm=float(errors[row]),
                    low_mm=tool - half,
                    high_mm=tool + half,
                    correction_mm=0.0 if still else -tool,
                    advice=advice,
                    why=Why.ONE_GAUGE if gauge else None,
                    zero_mm=float(zeros[row]),
                )
            )
    return values, factor


def _zeros(count: int, fit, alike: Sequence[Alike]) -> np.ndarray:
    """What readings that are off alike make of the tool (c,), once the motions that
    they pass for are taken out; each is off by itself."""
    square = np.zeros(count)
    for gauge in alike:
        read = np.zeros(count)
        read[[row + count // 2 * (gauge.kind == "flush") for row in gauge.rows]] = 1.0
        square += (gauge.mm * (fit.free @ read)) ** 2
    return np.sqrt(square)


def _advice(tool: float, half: float, worth_mm: float, gap: bool) -> Advice:
    """A gap too wide wants a larger part; a proud part a mold built up."""
    if abs(tool) <= half or abs(tool) < worth_mm:
        return Advice.LEAVE
    if gap:
        return Advice.OUT if tool > 0 else Advice.IN
    return Advice.FILL if tool > 0 else Advice.RELIEVE


def _foreseen(fit, values: list[ToolValue]) -> list[ToolValue]:
    """The values with what the next part is expected to show of each."""
    from scipy.special import ndtri, stdtrit

    rows = np.flatnonzero(fit.bounded)
    if not len(rows):
        return values
    square = np.ix_(rows, rows)
    corrected = np.array([values[row].correction_mm for row in rows])
    after = fit.free[square] @ (fit.tool[rows] + corrected)
    spread = fit.sd[rows] * np.sqrt(np.diag((fit.covariance + fit.free)[square]))
    degrees = fit.degrees[rows]
    known = np.isinf(degrees)
    point = 1 - (1 - LEVEL) / (2 * len(rows))
    factor = np.where(
        known, ndtri(point), stdtrit(np.where(known, 1.0, degrees), point)
    )
    foreseen = list(values)
    for row, mean, half in zip(rows, after, factor * spread, strict=True):
        foreseen[row] = replace(
            foreseen[row], after_mm=float(mean), after_half_mm=float(half)
        )
    return foreseen


def _share(asked: Characteristics, fit, values) -> Share | None:
    """The shares of what can be told; None where nothing can."""
    rows = np.flatnonzero(fit.bounded)
    if not len(rows):
        return None
    square = np.ix_(rows, rows)
    part = NextPart(
        low=(asked.low - asked.target)[rows],
        high=(asked.high - asked.target)[rows],
        own=fit.free[square],
        known=fit.covariance[square],
        sd=fit.sd[rows],
        degrees=fit.degrees[rows],
    )
    now = fit.tool[rows]
    corrected = np.array([values[row].correction_mm for row in rows])
    after = fit.free[square] @ (now + corrected)
    left, moved = np.zeros(len(rows), dtype=bool), corrected != 0
    return Share(
        now=part.characteristics(now, left),
        after=part.characteristics(after, moved),
        whole_now=part.whole_parts(now, left),
        whole_after=part.whole_parts(after, moved),
    )
