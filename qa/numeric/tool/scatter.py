"""How much parts differ, and the tool with the errors that follow from it.

Errors of all readings have one standard deviation, seen in the residuals, unless gap
and flushness plainly differ in it. Where no motion touches both they are fitted apart,
so that their residuals can be compared (F test); where they differ at the 5 % level
each keeps its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.tool.characteristics import Characteristics
from qa.numeric.tool.least_squares import Seating, ToolFit, Why, fit_tool, rank

APART = 0.05  # gap and flushness scatter differently below this probability
ALIKE_MM = 1e-7  # a tenth of what readings hold: parts read alike to the last digit


@dataclass(frozen=True)
class Scatter:
    """The standard deviation between parts, mm, and its degrees of freedom.

    `sd_mm` is the one given, else that of all residuals together, None where nothing
    was measured on two parts; `degrees` is None when it was given. `seen_mm` and
    `seen_degrees` are what the residuals say in any case, `by_kind` the same of gap and
    of flushness when they were fitted apart. `differ` says that each keeps its own.
    `repeats` is the share of variance that a part showed again in another opening, None
    where no part was tried in two.
    """

    sd_mm: float | None
    degrees: float | None
    given: bool
    seen_mm: float | None
    seen_degrees: float
    by_kind: dict[str, tuple[float, float]]
    differ: bool
    repeats: float | None


@dataclass(frozen=True)
class PooledFit:
    """The tool of c characteristics, mm, and what its errors are made of.

    `covariance` and `free` (c, c) are in units of the variance `sd` (c,) squared, with
    `degrees` (c,) behind it, infinite when it is known. `several` (c,): whether its
    kind was read on more than one part.
    """

    tool: np.ndarray
    covariance: np.ndarray
    free: np.ndarray
    why: tuple[Why | None, ...]
    sd: np.ndarray
    degrees: np.ndarray
    several: np.ndarray
    scatter: Scatter

    @property
    def bounded(self) -> np.ndarray:
        """Which have bounds (c,)."""
        return np.array([why is None for why in self.why], dtype=bool)

    @property
    def standard_errors(self) -> np.ndarray:
        return self.sd * np.sqrt(np.diag(self.covariance))

    @property
    def families(self) -> list[tuple[np.ndarray, float | None]]:
        """(rows, degrees or None) of estimates that share a standard deviation."""
        rows = np.flatnonzero(self.bounded)
        if not self.scatter.differ:
            return [(rows, _known(self.degrees[rows[0]]))] if len(rows) else []
        gaps = rows < len(self.tool) // 2
        parts = [part for part in (rows[gaps], rows[~gaps]) if len(part)]
        return [(part, _known(self.degrees[part[0]])) for part in parts]


@dataclass(frozen=True)
class _Block:
    """Characteristics that are fitted together, and their fit."""

    name: str
    rows: np.ndarray
    fit: ToolFit
    parts: int
    again: float  # parts for each seating: below 1 where parts were tried again

    @property
    def degrees(self) -> float:
        return self.fit.degrees * self.again

    @property
    def variance(self) -> float:
        return self.fit.square / self.fit.degrees if self.fit.degrees else np.nan


def pooled_fit(
    asked: Characteristics,
    seatings: Sequence[Seating],
    openings: int,
    sd_mm: float | None,
) -> PooledFit:
    """The tool from what was read, with `sd_mm` between parts where it is known."""
    blocks = [
        _block(name, rows, asked.slopes, seatings, openings)
        for name, rows in _split(asked)
    ]
    scatter = _scatter(blocks, sd_mm)
    count = asked.count
    covariance, free = np.zeros((count, count)), np.zeros((count, count))
    tool, sd, degrees = np.zeros(count), np.zeros(count), np.full(count, np.inf)
    why = [Why.NO_LIMITS] * count
    several = np.zeros(count, dtype=bool)
    for block in blocks:
        rows, fit = block.rows, block.fit
        square = np.ix_(rows, rows)
        repeats = scatter.repeats or 0.0
        covariance[square] = (1 - repeats) * fit.covariance + repeats * fit.repeated
        free[square] = fit.free
        tool[rows] = fit.tool
        several[rows] = block.parts > 1
        sd[rows], degrees[rows] = _own(block, scatter)
        blind = not sd[rows[0]] > 0 if len(rows) else False
        for row, reason in zip(rows, fit.why, strict=True):
            why[row] = reason or (Why.NO_SCATTER if blind else None)
    return PooledFit(tool, covariance, free, tuple(why), sd, degrees, several, scatter)


def _split(asked: Characteristics):
    """(name, characteristics) of what is fitted by itself.

    No motion touches both gap and flushness when together they see no fewer motions
    than each by itself, whatever the motions are called.
    """
    limited = asked.limited
    gaps, flushes = limited & asked.gap, limited & ~asked.gap
    kinds = [("gap", np.flatnonzero(gaps)), ("flush", np.flatnonzero(flushes))]
    kinds = [(name, rows) for name, rows in kinds if len(rows)]
    apart = sum(rank(asked.slopes[rows]) for _, rows in kinds)
    if rank(asked.slopes[limited]) == apart:
        return kinds
    return [("both", np.flatnonzero(limited))]


def _block(name, rows, slopes, seatings, openings) -> _Block:
    wanted = np.zeros(len(slopes), dtype=bool)
    wanted[rows] = True
    place = np.cumsum(wanted) - 1
    own = [seating.only(wanted) for seating in seatings]
    own = [
        Seating(each.part, each.opening, place[each.rows], each.values)
        for each in own
        if len(each.rows)
    ]
    parts = len({seating.part for seating in own})
    fit = fit_tool(slopes[rows], own, openings)
    return _Block(name, rows, fit, parts, parts / max(1, len(own)))


def _scatter(blocks: Sequence[_Block], sd_mm: float | None) -> Scatter:
    seen = [block for block in blocks if block.fit.degrees]
    degrees = sum(block.fit.degrees for block in seen)
    square = sum(block.fit.square for block in seen)
    variance = square / degrees if degrees else None
    effective = sum(block.degrees for block in seen)
    found = None if variance is None else float(np.sqrt(variance))
    return Scatter(
        sd_mm=found if sd_mm is None else sd_mm,
        degrees=effective if sd_mm is None and seen else None,
        given=sd_mm is not None,
        seen_mm=found,
        seen_degrees=effective,
        by_kind={
            block.name: (float(np.sqrt(block.variance)), block.degrees)
            for block in seen
            if block.name != "both"
        },
        differ=sd_mm is None and _differ(seen),
        repeats=_repeats(blocks, variance),
    )


def _differ(seen: Sequence[_Block]) -> bool:
    """Whether two kinds plainly have different standard deviations (F test)."""
    if len(seen) < 2:
        return False
    one, other = sorted(seen, key=lambda block: block.variance)
    if np.sqrt(one.variance) < ALIKE_MM:
        return np.sqrt(other.variance) >= ALIKE_MM
    from scipy.special import fdtrc

    beyond = fdtrc(other.degrees, one.degrees, other.variance / one.variance)
    return bool(2 * beyond < APART)


def _repeats(blocks: Sequence[_Block], variance: float | None) -> float | None:
    """The share of the variance that parts show again in other openings.

    All of it where that cannot be seen.
    """
    if all(block.again == 1 for block in blocks):
        return None
    expected = sum(block.fit.cross_degrees for block in blocks)
    if not expected or not variance:
        return 1.0
    cross = sum(block.fit.cross for block in blocks)
    return float(np.clip(cross / expected / variance, 0.0, 1.0))


def _own(block: _Block, scatter: Scatter) -> tuple[float, float]:
    """(standard deviation, degrees of freedom) of a block; 0 where it is not seen."""
    if scatter.given:
        return scatter.sd_mm, np.inf
    if not block.fit.degrees:
        return 0.0, np.inf
    variance, degrees = scatter.seen_mm**2, scatter.seen_degrees
    if scatter.differ:
        variance, degrees = block.variance, block.degrees
    sd = float(np.sqrt(variance))
    return (sd, degrees) if sd >= ALIKE_MM else (0.0, np.inf)


def _known(degrees: float) -> float | None:
    return None if np.isinf(degrees) else float(degrees)
