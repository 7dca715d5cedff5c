"""Adjusters that a plan would take further than their range lets them go."""

import numpy as np

from qa.numeric.plan.lattice_aims import SeatAims, TrimAims, equal
from qa.numeric.plan.result import Reason
from qa.numeric.plan.trim import CUT_MM

GAIN = 0.01  # of an aim: less is not worth a word


def about(planner) -> list[Reason]:
    """What to know of adjusters that a plan has at an end of their range."""
    adjusters, steps = planner.rig.adjusters, planner.steps
    ends = [
        (adjusters[k].name, adjusters[k].now + adjusters[k].change(steps[k]), sign)
        for k, sign in wanting(planner)
    ]
    return [Reason("settings_end", {"ends": ends})] if ends else []


def wanting(planner) -> list[tuple[int, int]]:
    """(adjuster, 1 or -1) of each at an end of its range that would do better one step
    beyond, by itself or with a step of one other."""
    steps, aims = planner.steps, _aims(planner)
    lattice, units = planner._lattice(aims), np.eye(planner.rig.count, dtype=int)
    low, high = lattice.low, lattice.high
    ends = [
        (k, sign)
        for k in np.flatnonzero(low < high)
        for sign, end in ((1, high), (-1, low))
        if steps[k] == end[k]
    ]
    if not ends:
        return []
    near = np.vstack([steps, steps + units, steps - units])
    near = near[((near >= low) & (near <= high)).all(axis=1)]
    at = planner._after(planner.every, planner.seat.move)
    at = at - lattice.moved(steps[None])[0]  # what parts that are not set do beside
    first = _first(aims, at, *lattice.moved(near)[::2])
    return [
        (int(k), sign)
        for k, sign in ends
        for beyond in [near + sign * units[k]]
        if _before(_first(aims, at, *lattice.moved(beyond)[::2]), first, GAIN)
    ]


def _aims(planner) -> SeatAims:
    """What the settings of a plan were chosen by."""
    every, rules = planner.every, planner.rules(planner.every)
    may_cut = (rules.most_trim > 0).any() or (rules.most_build_up > 0).any()
    if planner.cut is None or planner.stays or not may_cut:
        return SeatAims(every, planner.anywhere)
    cut = planner.cut.solved.trim > CUT_MM
    aimed = np.zeros(len(every), dtype=bool)
    aimed[: len(cut)] = cut
    return TrimAims(every, planner.anywhere, rules, aimed)


def _first(aims: SeatAims, more, values, fits) -> np.ndarray:
    """Of the aims of readings (n, m) that can be the row first in the strict order."""
    values = values + more
    allowed = fits & aims.allowed(values)
    rows = np.where(allowed[:, None], aims.least(values, values), np.inf)
    best = rows[0]
    for row in rows[1:]:
        best = row if _before(row, best) else best
    return best


def _before(row, other, gain=0.0) -> bool:
    """Whether a row comes first in the strict order, by more than a share of an aim."""
    for mine, its in zip(row, other, strict=True):
        if mine != its and abs(mine - its) > equal(min(mine, its)):
            return bool(mine < its and its - mine > gain * max(1.0, abs(mine)))
    return False
