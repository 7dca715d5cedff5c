"""Boxes of whole steps: the least and the greatest (k,) of each adjuster, inclusive."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

ROUNDING = 1e-6  # steps
FEWEST = 8  # settings that a tie leaves to an adjuster; more leave it as it is
FELT = 0.1  # of the greatest share in what is left; smaller ones have no whole number


@dataclass(frozen=True)
class Ties:
    """Sums of steps that stay within bounds: least <= rows (j, k) @ steps <= most; the
    first `whole` of them are sums of whole numbers."""

    rows: np.ndarray
    least: np.ndarray
    most: np.ndarray
    whole: int

    @cached_property
    def bound(self) -> list[tuple[int, np.ndarray, float, float]]:
        """(adjuster, row (k,), least, most): what is left to that adjuster by a row is
        few settings once the others are set. No row counts an adjuster of those before.

        Gauss's elimination; what leaves the fewest comes first.
        """
        rows, least, most = self.rows.copy(), self.least.copy(), self.most.copy()
        bounds, real = [], np.abs(rows).max(axis=1, initial=0.0)
        while len(rows):
            sizes = np.abs(rows).max(axis=1)
            felt = sizes > FELT * real
            left = np.where(felt, (most - least) / np.where(felt, sizes, 1.0), np.inf)
            number = int(np.argmin(left))
            if not left[number] < FEWEST:
                break
            row, ends = rows[number].copy(), (least[number], most[number])
            pick = int(np.argmax(np.abs(row)))
            bounds.append((pick, row, *map(float, ends)))
            share = rows[:, pick] / row[pick]
            rows -= share[:, None] * row
            least -= np.maximum(share * ends[0], share * ends[1])
            most -= np.minimum(share * ends[0], share * ends[1])
            keep = np.arange(len(rows)) != number
            rows, least, most, real = rows[keep], least[keep], most[keep], real[keep]
        return bounds


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
    least, most = np.ceil(least - ROUNDING), np.floor(most + ROUNDING)
    loose = least < most  # what whole numbers leave open is told by the shares too
    shares, base, room = shares[loose], base[loose], room[loose]
    return Ties(
        np.vstack([whole, shares]),
        np.r_[least, -room - base - ROUNDING],
        np.r_[most, room - base + ROUNDING],
        len(whole),
    )


def tied(low, high, by: Ties):
    """The box less what its ties rule out."""
    rows = by.rows
    ends = rows * low, rows * high
    down, up = np.minimum(*ends), np.maximum(*ends)
    counts = np.abs(rows) > ROUNDING
    share = np.where(counts, rows, 1.0)
    by_least = (by.least[:, None] - (up.sum(axis=1)[:, None] - up)) / share
    by_most = (by.most[:, None] - (down.sum(axis=1)[:, None] - down)) / share
    first = np.where(counts, np.minimum(by_least, by_most), -np.inf).max(
        axis=0, initial=-np.inf
    )
    last = np.where(counts, np.maximum(by_least, by_most), np.inf).min(
        axis=0, initial=np.inf
    )
    return (
        np.maximum(low, np.ceil(np.maximum(first - ROUNDING, low))).astype(int),
        np.minimum(high, np.floor(np.minimum(last + ROUNDING, high))).astype(int),
    )


def size(low, high, by: Ties | None = None) -> int:
    """How many settings, at most, ties leave of a box."""
    wide = (high - low + 1).tolist()
    for k, row, least, most in by.bound if by else ():
        wide[k] = min(wide[k], int((most - least) / abs(row[k]) + ROUNDING) + 1)
    return math.prod(wide)


def settings(low, high, by: Ties | None = None) -> np.ndarray:
    """All settings (n, k) that ties leave of a box."""
    high_free, bound = high.copy(), by.bound if by else []
    for k, *_ in bound:
        high_free[k] = low[k]
    steps = low + np.indices(high_free - low + 1).reshape(len(low), -1).T
    for k, row, least, most in reversed(bound):
        others = steps @ row - steps[:, k] * row[k]
        ends = (least - others) / row[k], (most - others) / row[k]
        first = np.maximum(np.ceil(np.minimum(*ends) - ROUNDING), low[k]).astype(int)
        last = np.minimum(np.floor(np.maximum(*ends) + ROUNDING), high[k]).astype(int)
        count = np.maximum(last - first + 1, 0)
        steps = np.repeat(steps, count, axis=0)
        before = np.repeat(count.cumsum() - count, count)
        steps[:, k] = np.repeat(first, count) + np.arange(len(steps)) - before
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
