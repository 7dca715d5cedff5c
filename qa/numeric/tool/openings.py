"""What openings do that parts were tried in: each, less the mean of all of them.

The openings are those of the least squares of the tool (least_squares.py), up to one
motion of the whole outline, since every part sits anew in each. What counts against
them is how the same part reads in two of them: its own deviations come again and cancel
as far as it was tried in all. So the variance of an error is split in what is new in
every seating, seen by a second least squares with an effect of every part at every
station, and in what is the part's, which counts only where openings were read on
different parts. Where the split cannot be seen, the worse of both is taken for all of
it, and the bounds hold whatever the correlations are (Z. Sidak, J. Amer. Statist.
Assoc. 62 (1967) 626).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.tool.bounds import Family, correlation, critical_value
from qa.numeric.tool.least_squares import (
    ALIKE_MM,
    NOTHING,
    Seating,
    ToolFit,
    Why,
    taken_out,
)

MOST_VALUES = 2_000  # of all openings; their covariance is a dense matrix
CANCELS = 1e-9  # of a variance


@dataclass(frozen=True)
class OpeningValue:
    """One characteristic in one opening, mm from the mean of the openings; `why` where
    something of it cannot be had."""

    opening_mm: float | None = None
    standard_error_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None
    why: Why | None = None

    @property
    def way(self) -> int:
        """1 where it is more than the mean for certain, -1 where it is less."""
        if self.low_mm is None:
            return 0
        return int(self.low_mm > 0) - int(self.high_mm < 0)


@dataclass(frozen=True)
class Openings:
    """Openings (k,) of c characteristics: `values` (k, c) mm, of which `told` (c,) hold
    for t. Covariances (k t, k t), openings first, per variance of an error that is new
    in every seating and of one that is the part's: `fresh`, `own`. `new_mm` is the
    standard deviation of what is new, with `degrees` of freedom, 0 where none is seen.
    """

    values: np.ndarray
    estimable: np.ndarray
    fresh: np.ndarray
    own: np.ndarray
    new_mm: float
    degrees: int


@dataclass(frozen=True)
class Spread:
    """The standard deviation of an error in mm, and its degrees of freedom, infinite
    when it is known; 0 mm where it is not seen."""

    sd_mm: float
    degrees: float


@dataclass(frozen=True)
class Block:
    """Characteristics that are fitted together: their rows among all, the openings
    beneath their tool, the spread of an error."""

    name: str
    rows: np.ndarray
    openings: Openings
    spread: Spread


def fit_openings(
    slopes: np.ndarray, seatings: Sequence[Seating], fit: ToolFit
) -> Openings | None:
    """The openings beneath a tool. None where there is one, or there are too many."""
    openings, bounded_rows = len(fit.openings), fit.estimable
    if openings < 2:
        return None
    # They are numbered among all, also among those where nothing of these was read.
    numbered = 1 + max(seating.opening for seating in seatings)
    if numbered * len(slopes) > MOST_VALUES:
        return None
    free = fit.free[bounded_rows]
    off = np.eye(openings) - 1 / openings
    values = off @ np.array([opening.u for opening in fit.openings]) @ free.T
    shown = np.zeros((openings, len(slopes)))
    shown[:, bounded_rows] = values
    size = openings * int(bounded_rows.sum())
    fresh, own = np.zeros((size, size)), np.zeros((size, size))
    ways: dict[int, np.ndarray] = {}
    for number, opening in enumerate(fit.openings):
        share = np.outer(off[number], off[number])
        fresh += np.kron(share, free @ opening.inverse @ free.T)
        for seating in opening.seatings:
            rows = seating.rows
            way = np.zeros((len(free), len(slopes)))
            keep = taken_out(slopes[rows])[0]
            way[:, rows] = free @ opening.inverse[:, rows] @ keep
            way = np.kron(off[number][:, None], way)
            ways[seating.part] = ways.get(seating.part, 0.0) + way
    for way in ways.values():
        own += way @ way.T
    square, degrees = _within(slopes, seatings, numbered)
    new = float(np.sqrt(square / degrees)) if degrees else 0.0
    return Openings(shown, bounded_rows, fresh, own, new, degrees)


def _within(
    slopes: np.ndarray, seatings: Sequence[Seating], openings: int
) -> tuple[float, int]:
    """(residual sum of squares, degrees of freedom) of how parts read in several.

    An effect of the part at every station is taken out first, then the motions of its
    seatings, then the openings. What was read in one opening only says nothing here.
    """
    count = openings * len(slopes)
    normal, right, free = np.zeros((count, count)), np.zeros(count), 0
    parts = []
    for part in sorted({seating.part for seating in seatings}):
        cells, values, keep = _again(slopes, [s for s in seatings if s.part == part])
        if not len(cells):
            continue
        parts.append((cells, values, keep))
        normal[np.ix_(cells, cells)] += keep
        right[cells] += keep @ values
        free += round(float(np.trace(keep)))
    sizes, axes = np.linalg.eigh(normal)
    live = sizes > NOTHING
    fitted = (axes[:, live] / sizes[live]) @ (axes[:, live].T @ right)
    rest = [keep @ (values - fitted[cells]) for cells, values, keep in parts]
    return sum(float(e @ e) for e in rest), free - int(live.sum())


def _again(slopes: np.ndarray, seatings: Sequence[Seating]):
    """(cells, values, matrix that takes part and motions out) of what one part read in
    several openings; a cell is opening times characteristic."""
    times = np.zeros(len(slopes), dtype=int)
    for seating in seatings:
        times[seating.rows] += 1
    seatings = [seating.only(times > 1) for seating in seatings]
    rows = np.concatenate([seating.rows for seating in seatings])
    cells = np.concatenate([s.rows + s.opening * len(slopes) for s in seatings])
    values = np.concatenate([seating.values for seating in seatings])
    moved = np.zeros((len(rows), len(seatings) * slopes.shape[1]))
    at = 0
    for number, seating in enumerate(seatings):
        columns = slice(number * slopes.shape[1], (number + 1) * slopes.shape[1])
        moved[at : at + len(seating.rows), columns] = slopes[seating.rows]
        at += len(seating.rows)
    same = (rows[:, None] == rows) / np.maximum(times[rows], 1)
    centered = np.eye(len(rows)) - same
    return (
        cells,
        values,
        centered - (np.eye(len(rows)) - taken_out(centered @ moved)[0]),
    )


def bounded(
    blocks: Sequence[Block],
) -> tuple[dict[int, list[OpeningValue]], float | None]:
    """(values of every opening by characteristic, factor of all their bounds)."""
    families, errors = [], []
    for block in blocks:
        covariance, unit_mm, degrees = _covariance(block.openings, block.spread)
        errors.append(np.sqrt(np.maximum(np.diag(covariance), 0.0)) * unit_mm)
        if len(covariance) and errors[-1].all():
            known = None if np.isinf(degrees) else degrees
            families.append(Family(correlation(covariance), known))
    factor = critical_value(families) if families else None
    by_row = {}
    for block, error in zip(blocks, errors, strict=True):
        openings, rows_told = block.openings, np.flatnonzero(block.openings.estimable)
        error = error.reshape(len(openings.values), len(rows_told))
        for column, row in enumerate(rows_told):
            by_row[int(block.rows[row])] = [
                _value(float(value), float(size), factor)
                for value, size in zip(
                    openings.values[:, row], error[:, column], strict=True
                )
            ]
    return by_row, factor


def _value(value: float, error: float, factor: float | None) -> OpeningValue:
    if not error:
        return OpeningValue(opening_mm=value, why=Why.NO_SCATTER)
    half = factor * error
    return OpeningValue(value, error, value - half, value + half)


def _covariance(openings: Openings, spread: Spread):
    """(covariance of all values in units of a standard deviation squared, that in mm,
    degrees of freedom behind it); 0 mm where nothing is seen."""
    fresh, own = openings.fresh, openings.own
    if not openings.degrees:
        worst = np.maximum(np.diag(fresh), np.diag(own))
        return np.diag(worst), spread.sd_mm, spread.degrees
    if openings.new_mm < ALIKE_MM:
        return fresh, 0.0, np.inf
    # A matrix of the design alone is simulated once for all that have it.
    if np.diag(own).max(initial=0.0) <= CANCELS * np.diag(fresh).max(initial=0.0):
        return fresh, openings.new_mm, openings.degrees
    of_parts = max(0.0, (spread.sd_mm / openings.new_mm) ** 2 - 1)
    degrees = min(float(openings.degrees), spread.degrees)
    return fresh + of_parts * own, openings.new_mm, degrees
