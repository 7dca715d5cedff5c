"""From straight lines to the exact rotation.

Rows of a programme are straight in the movements; a rotation is not. Where one turn is
the only rotation, its sine and versine (1 - cos) enter the rows as two columns. The
best value of an aim is then a convex function of those two, each solution gives a plane
below it (its reduced costs), and along the circle a plane is a curve
a (1 - cos) + b sin + c. The least of the highest curve is the next turn to try (cutting
planes, Kelley, J. SIAM 8, 1960), and in the end the best turn of all, not only one that
is better than its neighbors. Elsewhere the readings are straightened at the present
place and planned again until they no longer change.
"""

import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.lexicographic import Infeasible

SETTLED_MM = 1e-9  # predicted readings agree with the exact rotation
EQUAL = 1e-9  # aims this close, relative or absolute, are the same
MOST_TURNS = 60
SAME_TURN = 1e-4  # radians; where the best turns span less, any will do


@dataclass(frozen=True)
class Settled:
    """Movements (k,) at which the straight-line picture agrees with the exact one."""

    step: np.ndarray
    settled: bool
    passes: int
    detail: object


def settle(problem, start: np.ndarray) -> Settled:
    """The best place, exact in the rotation.

    A problem has `freedom`, `table(free)` and `stages` for the search of one turn,
    `solve(at, radius)` which plans with readings straightened at `at`, movements that
    turn kept within `radius` of it, `bend(at, step)`, the error of that straightening
    in mm, and `merit(step)`, its exact aims. Raises Infeasible.
    """
    free = problem.freedom
    turns = np.array([motion.turns for motion in free.motions], dtype=bool)
    passes = 0
    if only_turn(free) is not None:
        search = TurnSearch(problem, only_turn(free))
        turn, still_free, passes = search.run()
        start = start.copy()
        start[turns] = turn * free.unit[turns]
        if not still_free:
            step, detail = problem.solve(start, 0.0)
            return Settled(step, True, passes + 1, detail)
    return _straighten_again(problem, start, turns, passes)


def _straighten_again(problem, at, turns, passes) -> Settled:
    """Newton's way: settles in two or three passes when the plan lies in a corner.

    Where it does not, the turns are kept within a radius that is halved whenever the
    exact merit is not better.
    """
    for extra in range(1, 11):
        step, detail = problem.solve(at, np.inf)
        if not turns.any() or problem.bend(at, step) < SETTLED_MM:
            return Settled(step, True, passes + extra, detail)
        at = step
    best, radius = at, float(np.abs(at[turns]).max(initial=0.0)) / 2 or 1.0
    score = problem.merit(best)
    for extra in range(11, 150):
        step, detail = problem.solve(best, radius)
        found = problem.merit(step)
        if better(found, score):
            best, score = step, found
        else:
            radius /= 2
        if radius < 1e-7:
            step, detail = problem.solve(best, 0.0)
            return Settled(step, True, passes + extra, detail)
    return Settled(best, False, passes + extra, detail)


def better(one: tuple, other: tuple) -> bool:
    """Whether a tuple of aims comes before another, in strict order."""
    for first, second in zip(one, other, strict=True):
        if abs(first - second) > EQUAL * max(1.0, abs(second)):
            return first < second
    return False


def only_turn(free) -> int | None:
    """The motion that is the only rotation, if nothing before or with it translates."""
    turning = [k for k, motion in enumerate(free.motions) if motion.turns]
    if len(turning) != 1 or turning[0] != 0 or any(free.motions[0].translation):
        return None
    return None if free.locked[:, 0].any() else 0


class TurnSearch:
    """The best turn for aims in strict order."""

    def __init__(self, problem, turn: int):
        free = problem.freedom
        self.low, self.high = free.low[turn], free.high[turn]
        self.low, self.high = self.low / free.unit[turn], self.high / free.unit[turn]
        draft, self.costs = problem.circle_draft(turn)
        self.limits = [draft.limit(cost) for cost in self.costs]
        self.programme = draft.programme()
        self.circle = np.array([draft.motions - 2, draft.motions - 1])
        self.curves = [[] for _ in self.costs]
        self.best: list[float] = []
        self.count = 0

    def run(self) -> tuple[float, bool, int]:
        """(best turn in radians, whether others are as good, turns tried)."""
        turn = min(max(0.0, self.low), self.high)
        for aim in range(len(self.costs)):
            turn = self._least(aim, turn)
        around = [turn - SAME_TURN, turn + SAME_TURN]
        still_free = any(
            self.low <= t <= self.high and self._allowed(np.array([t]), len(self.best))
            for t in around
        )
        return turn, bool(still_free), self.count

    def _least(self, aim: int, turn: float) -> float:
        best, best_turn = math.inf, turn
        for _ in range(MOST_TURNS):
            value = self._try(aim, turn)
            if value < best - self._rounding(aim, value) or best == math.inf:
                best, best_turn = value, turn
            last, (turn, bound) = turn, self._lowest(aim)
            if best - bound <= self._rounding(aim, best) or turn == last:
                break
        if not math.isfinite(best):
            raise Infeasible("no turn fulfills all the rows and bounds")
        self.best.append(best)
        self._hold(aim, True)
        return best_turn

    def _try(self, aim: int, turn: float) -> float:
        """The aim at this turn; inf where an earlier aim is worse than its best."""
        self.count += 1
        point = np.array([math.sin(turn), 2 * math.sin(turn / 2) ** 2])
        self.programme.bound(self.circle, point, point)
        try:
            return self._cut(aim, point)
        except Infeasible:
            if aim == 0:
                raise
        for earlier in range(aim):
            for later in range(aim):
                self._hold(later, later < earlier)
            if self._cut(earlier, point) > self._most(earlier, 1):
                break
        for earlier in range(aim):
            self._hold(earlier, True)
        return math.inf

    def _most(self, aim: int, times: int) -> float:
        """The best of an aim and a rounding, or some."""
        return self.best[aim] + times * self._rounding(aim, self.best[aim])

    def _rounding(self, aim: int, value: float) -> float:
        return EQUAL * max(1.0, abs(value), float(np.abs(self.costs[aim]).max()))

    def _hold(self, aim: int, held: bool) -> None:
        most = self._most(aim, 4) if held else math.inf
        self.programme.cap(self.limits[aim], most)

    def _cut(self, aim: int, point) -> float:
        value = self.programme.minimize(self.costs[aim])
        sine, versine = self.programme.prices(self.circle)
        curve = versine, sine, value - sine * point[0] - versine * point[1]
        self.curves[aim].append(curve)
        return value

    def _lowest(self, aim: int) -> tuple[float, float]:
        """Where the highest curve of an aim is least, and how low that is."""
        curves = np.array(self.curves[aim])
        spots = [self.low, self.high, *_stationary(curves)]
        one, other = np.triu_indices(len(curves), 1)
        spots += _roots(curves[one] - curves[other])
        for earlier in range(aim):
            limit = [0.0, 0.0, self._most(earlier, 1)]
            spots += _roots(np.array(self.curves[earlier]) - limit)
        spots = np.unique(np.clip(np.array(spots), self.low, self.high))
        spots = spots[self._allowed(spots, aim)]
        if not len(spots):
            return 0.0, math.inf
        heights = _heights(curves, spots)
        near = np.flatnonzero(heights <= heights.min() + 1e-13)
        pick = near[np.argmin(np.abs(spots[near]))]
        return float(spots[pick]), float(heights[pick])

    def _allowed(self, spots, aims: int):
        """Turns (j,) at which none of the first aims is known to be worse."""
        allowed = np.ones(len(spots), dtype=bool)
        for aim in range(aims):
            curves = np.array(self.curves[aim])
            allowed &= _heights(curves, spots) <= self._most(aim, 2)
        return allowed


def _heights(curves, turns) -> np.ndarray:
    """The highest of curves (j, 3) at each turn (i,)."""
    parts = np.array([2 * np.sin(turns / 2) ** 2, np.sin(turns), np.ones(len(turns))])
    return (curves @ parts).max(axis=0)


def _stationary(curves) -> list[float]:
    """Turns where a (1 - cos) + b sin + c is level: a sin + b cos = 0."""
    return [math.atan(-b / a) for a, b, _ in curves if a]


def _roots(curves) -> list[float]:
    """Turns where a (1 - cos) + b sin + c = 0, a quadratic in the half tangent."""
    found = []
    for a, b, c in curves:
        square = 2 * a + c
        rest = b * b - square * c
        if rest < 0:
            continue
        # The root that does not cancel first, the other from their product.
        big = -(b + math.copysign(math.sqrt(rest), b))
        if square:
            found.append(2 * math.atan(big / square))
        if big:
            found.append(2 * math.atan(c / big))
    return found
