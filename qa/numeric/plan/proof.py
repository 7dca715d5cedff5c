"""How good any plan could be: a bound for the first aim that a plan leaves above zero.

Readings are straightened at the plan and may be wrong by as much as a rotation of the
angle left can bend them, arm x angle^2 / 2 (Taylor's remainder; every second derivative
of a product of rotations is at most the arm). Whatever is as good as the plan lies in
that looser programme. How far each rotation can go in it bounds the angle, and so on
(optimality-based bound tightening); its least value in the end bounds the aim for all
moves within the bounds, near or far.
"""

from dataclasses import dataclass

import numpy as np

from qa.numeric.plan.lexicographic import Infeasible, NotSolved

MOST_READINGS = 300  # with more it would take longer than the plan
ROUNDS = 4
SAME = 1e-9


@dataclass(frozen=True)
class Proof:
    """No move within the bounds brings `aim` below `least`; the plan has `reached`."""

    aim: str
    least: float
    reached: float


def proof_of(problem, step: np.ndarray) -> Proof | None:
    """The proof for the plan at `step`; None when all aims of note are at zero.

    `problem` as for settling, with `play` (m,) mm by which its readings may be wrong.
    """
    if not problem.several or len(problem.readings) > MOST_READINGS or problem.tied:
        return None
    reached = problem.reached(step)
    names = [name for name in problem.told_aims if reached[name] > SAME]
    if not names:
        return None
    bound = _least(problem, step, names[0], reached)
    return None if bound is None else Proof(names[0], bound, reached[names[0]])


def _least(problem, step, name, reached) -> float | None:
    free, readings = problem.freedom, problem.readings
    turns = np.flatnonzero([motion.turns for motion in free.motions])
    origins = [np.array(free.motions[k].origin) for k in turns]
    arms = [np.linalg.norm(readings.places - origin, axis=1) for origin in origins]
    shifts = np.abs(np.r_[free.low, free.high])[np.r_[~_turning(free), ~_turning(free)]]
    arms = np.max(arms, axis=0) + shifts.sum()
    low, high = free.low.copy(), free.high.copy()
    values, slopes = readings.moved(free, step)
    base = values - slopes @ step
    try:
        for _ in range(ROUNDS if len(turns) <= 3 else 1):
            far = np.maximum(np.abs(low - step), np.abs(high - step))[turns]
            angle = float((far / free.unit[turns]).sum())
            programme, cost = _looser(
                problem, (base, slopes), (low, high), arms * angle**2 / 2, name, reached
            )
            for k in turns:
                axis = np.zeros(len(cost))
                axis[k] = 1.0
                low[k] = max(low[k], programme.minimize(axis) - SAME)
                high[k] = min(high[k], -programme.minimize(-axis) + SAME)
        return max(0.0, programme.minimize(cost))
    except (Infeasible, NotSolved):  # by a rounding: then nothing is proven
        return None


def _turning(free) -> np.ndarray:
    return np.array([motion.turns for motion in free.motions], dtype=bool)


def _looser(problem, lines, box, play, name, reached):
    """(programme, cost of the aim): all that is as good as the plan up to this aim."""
    problem.play = play
    draft, parts = problem.draft(*lines, problem.freedom.locked, box)
    problem.play = 0.0
    caps = []
    for aim, cost in problem.aims(draft, parts):
        caps.append((draft.limit(cost), reached[aim] * (1 + SAME) + SAME))
        if aim == name:
            break
    programme = draft.programme()
    for row, most in caps:
        programme.cap(row, most)
    return programme, cost
