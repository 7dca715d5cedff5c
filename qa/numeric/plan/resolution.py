"""Aims have a resolution: below it nothing moves, and nothing is traded.

A reading is known to its expanded uncertainty (twice the standard one, GUM 6.3.3), a
cut to the least cut that is worth making. What a plan would gain by less nobody could
see. So ways to move are left out that are not needed: without them every reading can
end as the best plan leaves it, or worse by the resolution at most, and what conforms
there still does. Among the ways that are left the strict order decides as ever; a plan
with fewer ways that ends worse is not taken. Where no uncertainty is known the
resolution is 0, and the strict order decides alone.
"""

import numpy as np

from qa.numeric.plan.motions import Freedom
from qa.numeric.plan.nearest import least_point
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.trim import CUT_MM, TrimRules
from shop.numeric.units import to_mm

INSIDE_MM = to_mm(2)  # so far inside a limit roundings decide nothing
SAME_MM = 1e-9
MOST_PASSES = 10


def seat_bounds(readings: Readings, ends: np.ndarray, resolution: float):
    """(low, high) (m,) mm: where readings may end if the best plan ends at `ends`."""
    scales = readings.scales
    deviation = readings.deviation(ends) * (1 + 1e-12)
    with np.errstate(divide="ignore", invalid="ignore"):
        low = scales.aim - deviation / scales.below - resolution
        high = scales.aim + deviation / scales.above + resolution
    low = np.where(scales.below > 0, low, -np.inf)
    high = np.where(scales.above > 0, high, np.inf)
    # What conforms stays inside its limits; what does not gets no worse.
    low = np.maximum(low, np.minimum(scales.low + INSIDE_MM, ends))
    high = np.minimum(high, np.maximum(scales.high - INSIDE_MM, ends))
    low = np.maximum(low, np.minimum(readings.floor, ends))
    return np.minimum(low, ends), np.maximum(high, ends)


def trim_bounds(readings: Readings, ends, cuts, rules: TrimRules, resolution: float):
    """The same for readings before they are cut: less may come off, or a trifle more.

    `cuts` are trim and build-up (m,) mm. What is not cut stays uncut.
    """
    low, high = seat_bounds(readings, ends, resolution)
    trim, build_up = cuts
    moved = ends - trim + build_up
    more = np.minimum(max(resolution, rules.least), rules.most_trim - trim)
    low = np.where(trim > CUT_MM, moved - np.maximum(0.0, more), low)
    high = np.where(build_up > CUT_MM, moved, high)
    return np.minimum(low, moved), np.maximum(high, moved)


def needless(readings: Readings, freedom: Freedom, step, low, high) -> np.ndarray:
    """Which motions (k,) need not be used for readings to end within low..high (m,).

    `step` (k,) is how the best plan moves; ways that move less are left out first.
    """
    out = np.asarray(step) == 0
    _, slopes = readings.moved(freedom, step)
    effect = np.abs(slopes * step).max(axis=0, initial=0.0)
    for motion in np.argsort(effect, kind="stable"):
        if out[motion] or not freedom.low[motion] <= 0 <= freedom.high[motion]:
            continue
        out[motion] = True
        out[motion] = _reaches(readings, freedom, step, ~out, (low, high))
    return out & (np.asarray(step) != 0)


def _reaches(readings, freedom, step, used, ends) -> bool:
    """Whether the motions `used` (k,) alone bring readings between two ends."""
    at = np.where(used, step, 0.0)
    for _ in range(MOST_PASSES):
        values, slopes = readings.moved(freedom, at)
        base = values - slopes @ at
        lines = np.vstack([slopes, np.eye(len(at))])
        least = np.r_[ends[0] - base, freedom.low]
        most = np.r_[ends[1] - base, freedom.high]
        still = np.vstack([freedom.locked, np.eye(len(at))[~used]])
        point = least_point(lines, least, most, still)
        if point is None:
            return False
        far, at = np.abs(point - at).max(initial=0.0), point
        if far < SAME_MM:
            return True
    return False
