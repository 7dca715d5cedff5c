"""How much to take off next, and whether what was taken is what was planned.

A builder never cuts to the line: where nothing is known of how cuts come out, the next
bite is a fraction of the trim, but no less than the floor, the least cut that the tool
and the instrument can tell (common practice, no source).

Where the scatter of cuts is known, fractions only cost rounds. A trim then aims so far
inside the limit that one cut is enough in 19 of 20 cases, and a bite is all of it, less
only where it would come out too deep more often than the risk allows: that cannot be
put back, what is too shallow costs a round. No other bite at that risk leaves fewer
rounds to expect, since a deeper one is likelier the last.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

FEWEST = 3  # cuts that a lasting shortfall must be seen in
ALIKE_MM = 1e-6  # cuts that spread by less than a nanometer agree
LEAST_SPREAD_MM = 0.01  # what readings of a gap are good for at best
SURE = 0.95  # two-sided, that a shortfall is none of chance
ENOUGH = 0.95  # how often one cut is to be enough
MOST_CORRECTION = 1.5  # a bite is never stretched, or shrunk, by more than this


class BiteError(ValueError):
    """A value that is no number; the message says which."""


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
    cuts. `lasting` when the ratio differs from 1 by more than Student's t for 95 % on
    count - 1 degrees of freedom times its error (4.30 at three cuts, 3.18 at four;
    textbook table). Cuts that all agree tell nothing of how far they spread: then
    twice as many are asked for, and a spread of a hundredth is taken.
    """

    ratio: float
    spread: float
    error: float
    count: int
    planned: float  # root of the sum of squares of what was planned, mm

    @property
    def lasting(self) -> bool:
        fewest, error = FEWEST, self.error
        if self.spread < ALIKE_MM:
            fewest = 2 * FEWEST
            error = LEAST_SPREAD_MM / self.planned
        if self.count < fewest:
            return False
        return abs(self.ratio - 1) > student(self.count - 1) * error

    @property
    def missing(self) -> float:
        """Share of a cut that does not come off; negative when more comes off."""
        return 1 - self.ratio


@lru_cache
def student(freedom: int) -> float:
    """Student's t that is exceeded on either side with 5 % in all; ValueError below one
    degree of freedom."""
    from scipy.special import stdtrit

    if freedom < 1:
        raise ValueError(f"{freedom} degrees of freedom: at least 1 is needed")
    return float(stdtrit(freedom, (1 + SURE) / 2))


def next_bite(trim: float, fraction: float, floor: float) -> float:
    """min(trim, max(fraction * trim, floor)), mm; 0 when nothing is to be cut."""
    _numbers(trim=trim, fraction=fraction, floor=floor)
    return 0.0 if trim <= 0 else min(trim, max(fraction * trim, floor))


def aim_of(scatter: float) -> float:
    """How far inside the limit to aim, mm, so that a cut ends there in 19 of 20."""
    _numbers(scatter=scatter)
    return NormalDist().inv_cdf(ENOUGH) * scatter


def sure_bite(trim: float, room: float, scatter: float, risk: float, floor: float):
    """The deepest bite up to the trim that comes out deeper than `room` with `risk`.

    mm; `scatter` is the standard deviation of what comes off about what is asked. Where
    there is no such bite it is the floor, as little as can be told.
    """
    _numbers(trim=trim, scatter=scatter, risk=risk, floor=floor)
    if math.isnan(room) or not 0 < risk < 1:
        raise BiteError(f"room {room} and risk {risk} say nothing")
    if trim <= 0:
        return 0.0
    sure = room - NormalDist().inv_cdf(1 - risk) * scatter
    return min(trim, max(sure, floor))


def expected_scatter(shortfall: Shortfall | None) -> float | None:
    """The scatter to reckon with for one more cut, from those before, mm.

    None where they tell nothing yet. What few cuts tell counts for more: as much more
    as the quantile of Student's t is above the normal one, and the ratio is uncertain
    for a cut as deep as those (prediction from a regression through the origin).
    """
    if shortfall is None or shortfall.count < FEWEST:
        return None
    spread = max(shortfall.spread, LEAST_SPREAD_MM)
    once = math.sqrt(1 + 1 / shortfall.count)
    few = student(shortfall.count - 1) / NormalDist().inv_cdf((1 + SURE) / 2)
    return spread * once * few


def learned(rounds: Sequence[Round]) -> Shortfall | None:
    """What past cuts say; None without at least two that were planned above zero.

    Regression through the origin with equal errors: ratio = sum(p m) / sum(p^2), its
    standard error s / sqrt(sum(p^2)) with s on n - 1 degrees of freedom (textbook least
    squares).
    """
    for cut in rounds:
        _numbers(predicted=cut.predicted, measured=cut.measured)
    cuts = [cut for cut in rounds if cut.predicted > 0]
    if len(cuts) < 2:
        return None
    square = math.fsum(cut.predicted**2 for cut in cuts)
    ratio = math.fsum(cut.predicted * cut.measured for cut in cuts) / square
    rest = math.fsum((cut.measured - ratio * cut.predicted) ** 2 for cut in cuts)
    spread = math.sqrt(rest / (len(cuts) - 1))
    return Shortfall(
        ratio, spread, spread / math.sqrt(square), len(cuts), math.sqrt(square)
    )


def corrected_bite(bite: float, trim: float, shortfall: Shortfall | None) -> float:
    """The bite to ask for so that the bite wanted comes off, mm.

    Only a lasting shortfall changes it, by no more than half, and never past the trim.
    """
    _numbers(bite=bite, trim=trim)
    if shortfall is None or not shortfall.lasting or shortfall.ratio <= 0:
        return bite
    stretch = min(MOST_CORRECTION, max(1 / MOST_CORRECTION, 1 / shortfall.ratio))
    return min(trim, bite * stretch)


def _numbers(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise BiteError(f"{name} must be a number, not {value}")
