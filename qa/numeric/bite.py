"""How much to take off next, and whether what was taken is what was planned.

A builder never cuts to the line: the next bite is a fraction of the trim, but no less
than the floor, the least cut that the tool and the instrument can tell (common
practice, no source).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

FEWEST = 3  # cuts that a lasting shortfall must be seen in
MOST_CORRECTION = 1.5  # a bite is never stretched, or shrunk, by more than this


@dataclass(frozen=True)
class Round:
    """One cut at one station, mm: what was planned to come off and what did."""

    predicted: float
    measured: float


@dataclass(frozen=True)
class Shortfall:
    """Measured over predicted removal, from several cuts.

    `ratio` by least squares through zero, `spread` the standard deviation of measured
    about ratio x predicted in mm, `error` the standard error of the ratio, `count` the
    cuts. `lasting` when the ratio differs from 1 by more than twice its error.
    """

    ratio: float
    spread: float
    error: float
    count: int

    @property
    def lasting(self) -> bool:
        return self.count >= FEWEST and abs(self.ratio - 1) > 2 * self.error

    @property
    def missing(self) -> float:
        """Share of a cut that does not come off; negative when more comes off."""
        return 1 - self.ratio


def next_bite(trim: float, fraction: float, floor: float) -> float:
    """min(trim, max(fraction * trim, floor)), mm; 0 when nothing is to be cut."""
    return 0.0 if trim <= 0 else min(trim, max(fraction * trim, floor))


def removal(before: float, after: float, moved: float = 0.0) -> float:
    """What came off between two readings of a gap, mm.

    `moved` is what a move of the part alone adds to the gap (minus gap direction times
    displacement).
    """
    return after - before - moved


def learned(rounds: Sequence[Round]) -> Shortfall | None:
    """What past cuts say; None without at least two that were planned above zero.

    Regression through the origin with equal errors: ratio = sum(p m) / sum(p^2), its
    standard error s / sqrt(sum(p^2)) with s on n - 1 degrees of freedom (textbook least
    squares).
    """
    cuts = [each for each in rounds if each.predicted > 0]
    if len(cuts) < 2:
        return None
    square = math.fsum(each.predicted**2 for each in cuts)
    ratio = math.fsum(each.predicted * each.measured for each in cuts) / square
    rest = math.fsum((each.measured - ratio * each.predicted) ** 2 for each in cuts)
    spread = math.sqrt(rest / (len(cuts) - 1))
    return Shortfall(ratio, spread, spread / math.sqrt(square), len(cuts))


def corrected_bite(bite: float, trim: float, shortfall: Shortfall | None) -> float:
    """The bite to ask for so that the bite wanted comes off, mm.

    Only a lasting shortfall changes it, by no more than half, and never past the trim.
    """
    if shortfall is None or not shortfall.lasting or shortfall.ratio <= 0:
        return bite
    stretch = min(MOST_CORRECTION, max(1 / MOST_CORRECTION, 1 / shortfall.ratio))
    return min(trim, bite * stretch)
