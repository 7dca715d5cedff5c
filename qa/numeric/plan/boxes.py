"""Boxes of whole steps: the least and the greatest (k,) of each adjuster, inclusive."""

import math

import numpy as np


def size(low, high) -> int:
    return math.prod((high - low + 1).tolist())


def halves(low, high) -> list:
    wide = int(np.argmax(high - low))
    middle = int(low[wide] + high[wide]) // 2
    one, other = high.copy(), low.copy()
    one[wide], other[wide] = middle, middle + 1
    return [(low, one), (other, high)]


def split(low, high, at, felt) -> tuple[int, int]:
    """(adjuster, last step of the lower half); `felt` (k,) is what a step does."""
    open_ = high > low
    part = np.abs(at - np.rint(at))
    pick = int(np.argmax(np.where(open_, part * felt, -1.0)))
    if part[pick] < 0.01:
        pick = int(np.argmax((high - low) * felt))
    return pick, int(np.clip(math.floor(at[pick]), low[pick], high[pick] - 1))


def priced(low, high, at, prices, room):
    """The box less what its prices rule out: each step from a bound costs so much."""
    low, high = low.copy(), high.copy()
    if not math.isfinite(room):
        return low, high
    room = max(room, 0.0)
    for k in np.flatnonzero(np.abs(prices) > 1e-9):
        reach = math.floor(room / abs(prices[k]) + 1e-6)
        if prices[k] > 0 and at[k] <= low[k] + 1e-6:
            high[k] = min(high[k], low[k] + reach)
        elif prices[k] < 0 and at[k] >= high[k] - 1e-6:
            low[k] = max(low[k], high[k] - reach)
    return low, high
