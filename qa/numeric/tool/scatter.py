"""How much parts differ, and the tool with the errors that follow from it.

The standard deviation of an error is seen in the residuals. Where no motion touches
both, gap and flushness are fitted apart and each has its own: they are cut by a hand
and laid up on a surface, and scatter differently. One for both would cover in 95 % only
where they happen to be alike (in 82 % where one is twice the other), and so would a
choice between the two by a test (in 94 % even where they are alike).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.tool.characteristics import Characteristics
from qa.numeric.tool.least_squares import (
    ALIKE_MM,
    Seating,
    ToolFit,
    Why,
    fit_tool,
    rank,
)
from qa.numeric.tool.openings import Block, Openings, Spread, fit_openings

PLAIN = 0.01


@dataclass(frozen=True)
class Scatter:
    """The standard deviation between parts, mm, and its degrees of freedom.

    `sd_mm` is the one given, else the root mean square over all degrees of freedom,
    None where nothing was measured on two parts; `degrees` is None when it was given.
    `seen` is what residuals say in any case, (mm, degrees) by "gap" and "flush", or by
    "both" where a motion touches both; a part tried in several openings counts once.
    """

    sd_mm: float | None
    degrees: float | None
    given: bool
    seen: dict[str, tuple[float, float]]

    @property
    def more_than_given(self) -> bool:
        """Whether the residuals are plainly larger than given (chi-squared, 1 %)."""
        from scipy.special import gammaincc

        if not self.given or not self.seen:
            return False
        degrees = sum(degrees for _, degrees in self.seen.values())
        square = sum(degrees * sd**2 for sd, degrees in self.seen.values())
        return bool(gammaincc(degrees / 2, square / self.sd_mm**2 / 2) < PLAIN)


@dataclass(frozen=True)
class PooledFit:
    """The tool of c characteristics, mm, and what its errors are made of.

    `covariance` and `free` (c, c) are in units of the variance `sd` (c,) squared, with
    `degrees` (c,) behind it, infinite when it is known. `several` (c,): whether its
    kind was read on more than one part. `blocks` are the rows fitted together;
    `openings` are those beneath the tool, where there are several.
    """

    tool: np.ndarray
    covariance: np.ndarray
    free: np.ndarray
    why: tuple[Why | None, ...]
    sd: np.ndarray
    degrees: np.ndarray
    several: np.ndarray
    blocks: tuple[np.ndarray, ...]
    scatter: Scatter
    openings: tuple[Block, ...]

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
        families = []
        for rows in self.blocks:
            rows = rows[self.bounded[rows]]
            if len(rows):
                degrees = float(self.degrees[rows[0]])
                families.append((rows, None if np.isinf(degrees) else degrees))
        return families


@dataclass(frozen=True)
class _Block:
    """Characteristics that are fitted together, and their fit."""

    name: str
    rows: np.ndarray
    fit: ToolFit
    parts: int
    openings: Openings | None
    again: float  # parts for each seating: below 1 where parts were tried again

    @property
    def degrees(self) -> float:
        return self.fit.degrees * self.again

    @property
    def variance(self) -> float:
        return self.fit.square / self.fit.degrees if self.fit.degrees else 0.0

    @property
    def repeats(self) -> float:
        """The share of the variance that parts show again in other openings.

        All of it where that cannot be seen; none where no part was tried in two.
        """
        if self.again == 1:
            return 0.0
        if not self.fit.cross_degrees or not self.variance:
            return 1.0
        repeated = self.fit.cross / self.fit.cross_degrees / self.variance
        return float(np.clip(repeated, 0.0, 1.0))

    @property
    def covariance(self) -> np.ndarray:
        """Of the tool, in units of the variance."""
        again = self.repeats
        return (1 - again) * self.fit.covariance + again * self.fit.repeated


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
        covariance[square] = block.covariance
        free[square] = fit.free
        tool[rows] = fit.tool
        several[rows] = block.parts > 1
        sd[rows], degrees[rows] = _own(block, scatter)
        blind = not sd[rows[0]]
        for row, reason in zip(rows, fit.why, strict=True):
            why[row] = reason or (Why.NO_SCATTER if blind else None)
    return PooledFit(
        tool=tool,
        covariance=covariance,
        free=free,
        why=tuple(why),
        sd=sd,
        degrees=degrees,
        several=several,
        blocks=tuple(block.rows for block in blocks),
        scatter=scatter,
        openings=tuple(
            Block(b.name, b.rows, b.openings, Spread(*_own(b, scatter)))
            for b in blocks
            if b.openings
        ),
    )


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
    apart = fit_openings(slopes[rows], own, fit)
    return _Block(name, rows, fit, parts, apart, parts / len(own) if own else 1.0)


def _scatter(blocks: Sequence[_Block], sd_mm: float | None) -> Scatter:
    seen = [block for block in blocks if block.fit.degrees]
    degrees = sum(block.fit.degrees for block in seen)
    variance = sum(block.fit.square for block in seen) / degrees if degrees else None
    pooled = None if variance is None else float(np.sqrt(variance))
    own = {b.name: (float(np.sqrt(b.variance)), float(b.degrees)) for b in seen}
    unknown = sd_mm is None and seen
    return Scatter(
        sd_mm=pooled if sd_mm is None else sd_mm,
        degrees=sum(degrees for _, degrees in own.values()) if unknown else None,
        given=sd_mm is not None,
        seen=own,
    )


def _own(block: _Block, scatter: Scatter) -> tuple[float, float]:
    """(standard deviation, degrees of freedom) of a block; 0 where it is not seen."""
    if scatter.given:
        return scatter.sd_mm, np.inf
    sd = float(np.sqrt(block.variance)) if block.fit.degrees else 0.0
    return (sd, float(block.degrees)) if sd >= ALIKE_MM else (0.0, np.inf)
