"""A plan without what gains less than the resolution of its aims (`resolution`).

A part that conforms, as surely as is wished, is left as it is. Else ways to move that
are not needed are left out and the rest is planned again; that is taken only where it
is judged as right as before, after the exact motion.
"""

import numpy as np

from qa.numeric.plan.resolution import needless, seat_bounds, trim_bounds
from qa.numeric.plan.result import Reason
from qa.numeric.plan.seat import NoFeasibleMotion, solve_seat
from qa.numeric.plan.separate import solve_apart
from qa.numeric.plan.trim import CUT_MM

LEAVE_IT = Reason("leave", {})
SAME_MM2 = 1e-6


def may_stay(planner) -> bool:
    """Whether a part at rest conforms, as surely as is wished: then nothing moves."""
    every, options = planner.every, planner.options
    if not options.resolved or not every.all_right(every.values):
        return False
    free = planner.seat.freedom
    if not planner.by_settings and ((free.low > 0) | (free.high < 0)).any():
        return False
    return options.wish is None or _chance(planner, every.values) >= options.wish


def seat_without(planner):
    """(seat, whether it settled) by fewer ways to move; None where all are needed."""
    seat, every = planner.seat, planner.every
    ends = every.moved(seat.freedom, seat.step)[0]
    bounds = seat_bounds(every, ends, planner.options.resolution_mm)
    out = needless(every, seat.freedom, seat.step, *bounds)
    if not out.any():
        return None
    try:
        without, settled = solve_apart(every, seat.freedom.without(out), solve_seat)
    except NoFeasibleMotion:
        return None
    after = every.moved(seat.freedom, without.step)[0]
    if settled < planner.settled or not as_right((planner, after), (planner, ends)):
        return None
    planner.remarks.append(left_out(planner, seat.freedom, out))
    return without, settled


def cut_without(planner, free, solve, planned):
    """(trim, whether it settled) by fewer ways to move, or as it was `planned`."""
    trim, settled = planned
    every, options = planner.every, planner.options
    ends, cuts = _after_cut(every, free, trim)
    bounds = trim_bounds(every, ends, cuts, planner.rules(every), options.resolution_mm)
    out = needless(every, free, trim.step, *bounds)
    if not out.any():
        return planned
    try:
        again, too = solve_apart(every, free.without(out), solve)
    except NoFeasibleMotion:
        return planned
    after = _after_cut(every, free, again)[0]
    right = as_right((planner, after), (planner, ends))
    if too < settled or not right or not no_more_is_cut(again, trim):
        return planned
    planner.remarks.append(left_out(planner, free, out))
    return again, too


def _after_cut(every, free, cut):
    """Readings (m,) where they end, and trim and build-up (2, m), of all of them."""
    ends = every.moved(free, cut.step)[0]
    cuts = np.zeros((2, len(every)))
    own = slice(0, len(cut.values))
    ends[own] = cut.values
    cuts[:, own] = cut.trim, cut.build_up
    return ends, cuts


def no_more_is_cut(after, before) -> bool:
    """Whether one trim leaves no more than another, and cuts no more stations."""
    return (
        int((after.trim > CUT_MM).sum()) <= int((before.trim > CUT_MM).sum())
        and after.unresolved_area <= before.unresolved_area + SAME_MM2
        and after.build_up_area <= before.build_up_area + SAME_MM2
    )


def as_right(after, before) -> bool:
    """Whether all that was right still is, as surely as is wished.

    Each is a planner, for its probability, and readings (m,) where they end.
    """
    every, wish = before[0].every, before[0].options.wish
    if every.all_right(after[1]) < every.all_right(before[1]):
        return False
    if (every.conform(before[1]) & ~every.conform(after[1])).any():
        return False
    return wish is None or _chance(*after) >= min(wish, _chance(*before))


def _chance(planner, values) -> float:
    """That all conform at readings (m,); 0 where nothing is known of it."""
    gaps, count = len(planner.gaps), len(planner.flushes)
    chance = planner.probability(values[:gaps], values[gaps : gaps + count])
    return 0.0 if chance is None else chance


def left_out(planner, free, out) -> Reason:
    names = [free.motions[k].code for k in np.flatnonzero(out)]
    return Reason("trifles", {"names": names, "mm": planner.options.resolution_mm})
