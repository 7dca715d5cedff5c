"""What no common motion reaches is planned apart, each knowing where the other goes.

In a flat joint x, y and the turn move the gaps, z and the tilts the flushness: two
small programmes instead of one, with the same answer, since each aim is a greatest or a
sum over both. What a motion does to the other part by a rounding or by the curvature of
its way is followed, by planning again until it no longer changes.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from qa.numeric.plan.motions import Freedom
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.seat import NoFeasibleMotion, felt

MOST_READINGS = 5000  # in space; with twice as many it took minutes
MOST_ROUNDS = 6
SAME_MM = 1e-9


class TooMany(NoFeasibleMotion):
    """More readings than can be planned in a minute: refused at once."""


def solve_apart(readings: Readings, freedom: Freedom, solve: Callable):
    """(what was found for the gaps, whether all settled), motions of all parts in it.

    `solve(readings, freedom)` plans some readings with the motions of the others held
    where they are; it returns something with `step` and `settled`. Gaps come first in
    `readings`; what is returned is of them, or of everything when it hangs together.
    """
    parts = _parts(readings, freedom)
    if (
        len(parts) == 1
        and len(readings) > MOST_READINGS
        and _in_space(readings, freedom)
    ):
        raise TooMany(
            f"{len(readings)} readings of gaps and flushness in space: at most "
            f"{MOST_READINGS} are planned together"
        )
    step = np.clip(0.0, freedom.low, freedom.high)
    for _ in range(MOST_ROUNDS):
        settled, left = True, []
        for rows, own in parts:
            low = np.where(own, freedom.low, step)
            high = np.where(own, freedom.high, step)
            solution = solve(rows, replace(freedom, low=low, high=high))
            step = solution.step
            settled &= solution.settled
            left.append(rows.moved(freedom, step)[0])
        shifts = [
            np.abs(rows.moved(freedom, step)[0] - values).max(initial=0.0)
            for (rows, _), values in zip(parts, left, strict=True)
        ]
        if max(shifts) < SAME_MM:
            return solution, settled
    return solution, False


def _in_space(readings: Readings, freedom: Freedom) -> bool:
    """Whether more than one rotation moves the gaps."""
    turns = [motion.turns for motion in freedom.motions] & (freedom.low < freedom.high)
    return bool(felt(readings, freedom)[readings.gap].any(axis=0)[turns].sum() > 1)


def _parts(readings: Readings, freedom: Freedom):
    """(readings, own motions (k,)) of each part; the gaps last."""
    every = np.ones(len(freedom.motions), dtype=bool)
    gaps = readings.gap
    slopes = readings.moved(freedom, np.zeros(len(every)))[1]
    moves = (felt(readings, freedom) * slopes != 0) & (freedom.low < freedom.high)
    by_gaps, by_rest = moves[gaps].any(axis=0), moves[~gaps].any(axis=0)
    if (by_gaps & by_rest).any() or not by_gaps.any() or not by_rest.any():
        return [(readings, every)]
    return [(readings.take(~gaps), by_rest), (readings.take(gaps), ~by_rest)]
