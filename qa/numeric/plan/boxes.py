"""Boxes of whole steps: the least and the greatest (k,) of each adjuster, inclusive."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

ROUNDING = 1e-6  # steps
FELT = 0.1  # of the greatest share in what is left; smaller ones have no whole number


@dataclass(frozen=True)
class Ties:
    """Sums of whole steps that stay within bounds: least <= whole (j, k) @ steps <=
    most, all of them whole numbers. `bound` are (tie, adjuster): what one tie leaves to
    that adjuster is one setting, once the others are set."""

    whole: np.ndarray
    least: np.ndarray
    most: np.ndarray

    @cached_property
    def bound(self) -> list[tuple[int, int]]:
        pairs, taken = [], np.zeros(self.whole.shape[1], dtype=bool)
        for number in np.flatnonzero(self.least >= self.most):
            row = self.whole[number]
            own = np.flatnonzero((np.abs(row) == 1) & ~taken)
            if len(own) and not row[[k for _, k in pairs]].any():
                pairs.append((int(number), int(own[0])))
                taken |= row != 0
        return pairs


def ties(low, high, base, shares, room) -> Ties:
    """What |base + shares @ steps| <= room (j,) leaves to whole steps in a box.

    Shares (j, k) that are nearly in the ratio of whole numbers bind steps to each
    other: that sum is whole too (Chvatal, Discrete Mathematics 4, 1973).
    """
    sizes = np.abs(shares)
    most = sizes.max(axis=1, initial=0.0)
    real = most > max(ROUNDING, FELT * most.max(initial=0.0))
    sizes, shares = sizes[real], shares[real]
    felt = sizes > FELT * most[real, None]
    unit = np.where(felt, sizes, np.inf).min(axis=1, initial=np.inf)
    shares, base, room = shares / unit[:, None], base[real] / unit, room[real] / unit
    whole = np.rint(shares)
    odd = shares - whole
    ends = odd * low, odd * high
    least = -room - base - np.maximum(*ends).sum(axis=1)
    most = room - base - np.minimum(*ends).sum(axis=1)
    return Ties(whole, np.ceil(least - ROUNDING), np.floor(most + ROUNDING))


def tied(low, high, by: Ties):
    """The box less what its ties rule out."""
    low, high = low.copy(), high.copy()
    for whole, least, most in zip(by.whole, by.least, by.most, strict=True):
        ends = whole * low, whole * high
        down, up = np.minimum(*ends), np.maximum(*ends)
        for k in np.flatnonzero(whole):
            reach = (
                (least - up.sum() + up[k]) / whole[k],
                (most - down.sum() + down[k]) / whole[k],
            )
            low[k] = max(low[k], math.ceil(min(reach) - ROUNDING))
            high[k] = min(high[k], math.floor(max(reach) + ROUNDING))
    return low, high


def size(low, high, by: Ties | None = None) -> int:
    """How many settings, at most, ties leave of a box."""
    wide = high - low + 1
    if by:
        wide[[k for _, k in by.bound]] = 1
    return math.prod(wide.tolist())


def settings(low, high, by: Ties | None = None) -> np.ndarray:
    """All settings (n, k) that ties leave of a box."""
    high_free, bound = high.copy(), by.bound if by else []
    for _, k in bound:
        high_free[k] = low[k]
    steps = low + np.indices(high_free - low + 1).reshape(len(low), -1).T
    for number, k in bound:
        whole = by.whole[number]
        others = steps @ whole - steps[:, k] * whole[k]
        steps[:, k] = (by.least[number] - others) * whole[k]
        steps = steps[(steps[:, k] >= low[k]) & (steps[:, k] <= high[k])]
    return steps


def halves(low, high) -> list:
    wide = int(np.argmax(high - low))
    middle = int(low[wide] + high[wide]) // 2
    lower, upper = high.copy(), low.copy()
    lower[wide], upper[wide] = middle, middle + 1
    return [(low, lower), (upper, high)]


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
