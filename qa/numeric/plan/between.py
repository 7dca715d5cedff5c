"""How bad it may be between stations, from the waviness that the stations show.

Between two stations a gap departs from the straight line between them as a Brownian
bridge does whose increments are as large as those that are seen from station to
station: of all kinds of waviness with such increments the roughest, so that a smoother
one departs less. A bridge from a to b over a length h goes above m >= a, b with the
probability exp(-2 (m - a)(m - b) / (s2 h)), s2 the variance of increments per mm
(reflection principle; Borodin and Salminen, "Handbook of Brownian Motion", 2002). The
bound is where that comes to `RISK` in all, over all stretches and both limits, with s2
as large as it may well be (`chi2`, one-sided).

What was cut runs straight from station to station in the same sense: the waviness is
that before the cut, the ends are those after it.
"""

import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.plan.joint_arrays import JointArrays
from qa.numeric.plan.readings import Readings

RISK = 0.05
FEWEST = 4  # increments that a waviness is told from
SAME_PLACE_MM = 1e-6
NARROW = 1e-6  # of a normalized deviation


@dataclass(frozen=True)
class Between:
    """The worst normalized deviation between stations of one kind, with 95 %.

    `worst` as at stations: 1 is the limit. `span` are the two stations of one joint
    between which it is likeliest, `low` says that it is below the aim there, `limit`
    the limit there in mm, and `value` what may be there, mm.
    """

    kind: str
    worst: float
    joint: int
    span: tuple[str, str]
    low: bool
    value: float

    @property
    def conforms(self) -> bool:
        return self.worst <= 1


def between(arrays: JointArrays, readings: Readings, kind, uncut, ends, odd=None):
    """Between stations where readings (m,) end at `ends`, and at `uncut` without cuts.

    `odd` is the number of a row whose reading stands out: no waviness is told from it.
    None where there are too few stations to tell a waviness from.
    """
    number = {int(row): k for k, row in enumerate(readings.rows)}
    spans = [
        (number[first], number[other], length)
        for first, other, length, _ in arrays.neighbors(readings.rows)
        if length > SAME_PLACE_MM
    ]
    if len(spans) < FEWEST:
        return None
    first, other, lengths = map(np.array, zip(*spans, strict=True))
    first, other = first.astype(int), other.astype(int)
    scales = readings.scales
    apart = uncut - scales.aim
    steps = np.diff([apart[first], apart[other]], axis=0)[0]
    even = (readings.rows[first] != odd) & (readings.rows[other] != odd)
    if even.sum() < FEWEST:
        return None
    s2 = float((steps[even] ** 2).sum() / lengths[even].sum()) * _at_most(even.sum())
    sides = []
    for low, slope in ((True, scales.below), (False, scales.above)):
        off = slope * ((scales.aim - ends) if low else (ends - scales.aim))
        limited = (slope[first] > 0) & (slope[other] > 0)
        spread = s2 * lengths * np.maximum(slope[first], slope[other]) ** 2
        ends_of = (np.where(limited, off[k], -np.inf) for k in (first, other))
        sides.append((*ends_of, np.where(limited, spread, 0.0)))
    worst = _where_risk_is(sides)
    if worst is None:
        return None
    chances = np.array([_above(worst, *side) for side in sides])
    if not chances.any():  # nothing waves: the worst station
        chances = np.array([np.maximum(*side[:2]) for side in sides])
    side, span = np.unravel_index(int(np.argmax(chances)), chances.shape)
    low = side == 0
    row = first[span] if sides[side][0][span] >= sides[side][1][span] else other[span]
    slope = (scales.below if low else scales.above)[row]
    value = scales.aim[row] + (-worst if low else worst) / slope
    labels = [arrays.stations[readings.rows[k[span]]].label for k in (first, other)]
    joint = arrays.joint_of[readings.rows[row]]
    return Between(kind, worst, joint, tuple(labels), bool(low), float(value))


def _at_most(count: int) -> float:
    """By how much a variance from so many increments may be too small, one in five."""
    from scipy.special import chdtri

    return count / float(chdtri(count, 0.8))


def _above(level: float, start, finish, spread) -> np.ndarray:
    """The chance (k,) that each bridge goes above a level no lower than its ends."""
    wide = spread > 0
    rise = [np.where(wide, np.maximum(level - end, 0), 0.0) for end in (start, finish)]
    chance = np.exp(-2 * rise[0] * rise[1] / np.where(wide, spread, 1.0))
    return np.where(wide, chance, 0.0)


def _where_risk_is(sides) -> float | None:
    """The level that all bridges together go above with the chance RISK."""
    tops = np.concatenate([np.maximum(start, finish) for start, finish, _ in sides])
    if not np.isfinite(tops).any():
        return None

    def risk(level):
        stays = sum(
            np.log1p(-np.minimum(_above(level, *s), 1 - 1e-15)).sum() for s in sides
        )
        return -math.expm1(stays)

    low = max(0.0, float(tops.max()))
    high = low + 1.0
    while risk(high) > RISK:
        high = low + 2 * (high - low)
    while high - low > NARROW:
        middle = (low + high) / 2
        low, high = (middle, high) if risk(middle) > RISK else (low, middle)
    return high
