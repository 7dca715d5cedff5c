"""Whether settings can come before others, told by one programme and not by a plan.

The free parts are straightened where they go beside the best settings known. What each
aim comes to there may be wrong by what the readings bend on the way: as much as the
prices of its rows make of a few times that. Settings that are worse by more, in the
first aim in which they are not as good, need no plan.
"""

import numpy as np

from qa.numeric.plan.lexicographic import Infeasible, NotSolved
from qa.numeric.plan.seat import TOUCHING_MM, Problem

BENDS = 4.0  # times what the readings bend on the way
ALIKE = 1e-6  # aims this close are the same, for all that is known before planning


def may_come_before(problem: Problem, at, aims: dict[str, float]) -> bool:
    """Whether the plan of a problem may be better than one that comes to `aims`, in
    strict order; `at` (k,) is where to straighten."""
    free = problem.freedom
    at = np.clip(at, free.low, free.high)
    slopes = problem.felt * problem.moved(at)[1]
    lines = problem.straighten(at, slopes, lambda step: step)
    draft, parts = problem.draft(*lines, free.locked, (free.low, free.high))
    programme = draft.programme()
    try:
        for name, cost in problem.aims(draft, parts):
            if name == "worse":
                if programme.minimize(cost) > TOUCHING_MM:
                    return True  # where nothing is clear, the plan itself says so
                programme.leave_out(cost)
            elif name in aims:
                more = programme.minimize(cost) - aims[name]
                rounding = ALIKE * max(1.0, abs(aims[name]))
                if abs(more) > rounding:
                    bend = problem.bend(programme.values[: len(at)])
                    return more <= rounding + BENDS * bend * programme.felt()
                problem.hold(name, aims[name], programme, parts)
    except (Infeasible, NotSolved):
        pass
    return True
