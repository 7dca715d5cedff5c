"""From straight lines to the exact rotation.

Rows of a programme are straight in the movements; a rotation is not. The last turn
enters the rows with its sine and versine (1 - cos) as two columns. The best value of an
aim is then a convex function of those two, each solution gives a plane below it (its
reduced costs), and along the circle a plane is a curve a (1 - cos) + b sin + c. The
least of the highest curve is the next turn to try (cutting planes, Kelley, J. SIAM 8,
1960), and in the end the best turn of all, not only one that is better than its
neighbors. Other rotations are straightened at the present place and planned again until
the readings no longer change: the best near where that began.
"""

import math
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan.lexicographic import Infeasible, NotSolved

SETTLED_MM = 1e-9  # predicted readings agree with the exact rotation
EQUAL = 1e-9  # aims this close, relative or absolute, are the same
ALIKE = 1e-6  # the same between plans from other starts: roundings decide nothing
NEAR_MM = 1e-3  # from here Newton's way ends at the same plan
MOST_PASSES = 10
NOTHING = 1e-10  # an aim this small is met
MOST_HALVED, FEW_HALVED = 150, 70  # passes; several bodies are begun elsewhere too
MOST_TURNS = 60
FEW_TURNS = 12  # where other rotations have to settle too, and Newton's way follows
MOST_SEARCHES = 8  # of the turn, each with the other rotations straightened again
BLOCKED = 1e-7  # radians about a turn that cannot be
SAME_TURN = 1e-4  # radians; where the best turns span less, any will do


@dataclass(frozen=True)
class Settled:
    """Movements (k,) at which the straight-line picture agrees with the exact one."""

    step: np.ndarray
    settled: bool
    passes: int
    detail: object


def settle(problem, start: np.ndarray) -> Settled:
    """The best place that is found from `start`, exact in the rotation.

    A problem has `freedom`; `turn`, the motion that is searched exactly, or None;
    `circle_draft(at)`, `aims` and `finish` for that search; `solve(at, radius)` which
    plans with readings straightened at `at`, movements that turn kept within `radius`
    of it; `bend(step)`, the error of that straightening in mm; and `merit(step)`, its
    exact aims. Raises Infeasible.
    """
    free = problem.freedom
    turns = np.array([motion.turns for motion in free.motions], dtype=bool)
    passes, at = 0, start
    if problem.turn is not None:
        with suppress(Infeasible, NotSolved):  # by a rounding; else it is raised below
            for _ in range(MOST_SEARCHES):
                search = TurnSearch(problem, at)
                turn, still_free = search.run()
                problem.basis = search.programme.first_basis
                at, detail = search.finish(turn, problem)
                passes += search.count
                if still_free:
                    break
                if problem.bend(at) < SETTLED_MM:
                    return Settled(at, True, passes, detail)
    problem.basis = None
    return _straighten_again(problem, at, turns, passes)


def better_start(problem, settled: Settled, starts) -> Settled:
    """The best of a plan and of those that Newton's way finds from other starts."""
    best = problem.merit(settled.step)
    problem.basis = None
    first = settled.step
    for start in (first, *starts):
        known = None if start is first else settled.step
        with suppress(Infeasible, NotSolved):
            other = _newton(problem, start, known)
            if other.settled and better(problem.merit(other.step), best, ALIKE):
                settled, best = other, problem.merit(other.step)
    return settled


def _newton(problem, at, known=None) -> Settled:
    """Straightened again and again: two or three passes where the plan is a corner.

    One that comes near a plan already `known` will end there, and is given up.
    """
    for passes in range(1, MOST_PASSES + 1):
        step, detail = problem.solve(at, np.inf)
        if problem.bend(step) < SETTLED_MM:
            return Settled(step, True, passes, detail)
        at = step
        if known is not None and np.abs(step - known).max() < NEAR_MM:
            break
    return Settled(at, False, passes, detail)


def _straighten_again(problem, at, turns, passes) -> Settled:
    """Newton's way, and where it does not settle, with the turns kept within a radius
    that is halved whenever the exact merit is not better."""
    tried = _newton(problem, at)
    if tried.settled:
        return replace(tried, passes=passes + tried.passes)
    # Each programme is much like the one before: its aims begin where those ended.
    at, problem.near = tried.step, []
    best, radius = at, float(np.abs(at[turns]).max(initial=0.0)) / 2 or 1.0
    score = problem.merit(best)
    for extra in range(MOST_PASSES + 1, FEW_HALVED if turns.sum() > 3 else MOST_HALVED):
        step, detail = problem.solve(best, radius)
        tried = problem.merit(step)
        if better(tried, score):
            best, score = step, tried
        else:
            radius /= 2
        if radius < 1e-7:
            step, detail = problem.solve(best, 0.0)
            return Settled(step, True, passes + extra, detail)
    return Settled(best, False, passes + extra, detail)


def better(candidate: tuple, best: tuple, equal: float = EQUAL) -> bool:
    """Whether a tuple of aims comes before another, in strict order."""
    for first, second in zip(candidate, best, strict=True):
        if abs(first - second) > equal * max(1.0, abs(second)):
            return first < second
    return False


def exact_turn(free) -> int | None:
    """The last motion that turns, if nothing with it or after it is in its way.

    It turns without translating, and what follows only translates: a place then goes
    round a circle, whatever the motions before have done to it.
    """
    turning = [k for k, motion in enumerate(free.motions) if motion.turns]
    if not turning or any(free.motions[turning[-1]].translation):
        return None
    last = turning[-1]
    still = free.low[last] == free.high[last]
    return None if still or free.locked[:, last].any() else last


class TurnSearch:
    """The best turn for aims in strict order, each at least 0."""

    def __init__(self, problem, at: np.ndarray):
        free, turn = problem.freedom, problem.turn
        # Sine and versine are columns in mm at the rim: a solver's 1e-9 is then no more
        # at the end of a long arm.
        unit = self.unit = free.unit[turn]
        self.low, self.high = free.low[turn] / unit, free.high[turn] / unit
        self.start = min(max(at[turn] / unit, self.low), self.high)
        self.draft, self.parts = problem.circle_draft(at)
        self.aims = list(problem.aims(self.draft, self.parts))
        self.costs = [cost for _, cost in self.aims]
        self.sizes = [float(np.abs(cost).max()) for cost in self.costs]
        self.limits = [self.draft.limit(cost) for cost in self.costs]
        self.circle = np.array([self.draft.motions - 2, self.draft.motions - 1])
        self.tangent = self.draft.tie(self.circle)
        self.programme = self.draft.programme(problem.basis)
        self.low_ends = self.programme.column_low.copy()
        self.high_ends = self.programme.column_high.copy()
        self.curves = [[] for _ in self.costs]
        self.best: list[float] = []
        self.blocked: list[float] = []  # turns that only a rounding seems to allow
        self.count = 0
        self.most_turns = FEW_TURNS if problem.several else MOST_TURNS

    def run(self) -> tuple[float, bool]:
        """(best turn in radians, whether turns about it are as good)."""
        turn = self.start
        for aim in range(len(self.costs)):
            turn = self._least(aim, turn)
        around = np.array([turn - SAME_TURN, turn + SAME_TURN])
        around = around[(around >= self.low) & (around <= self.high)]
        return turn, bool(self._allowed(around, len(self.best)).any())

    def finish(self, turn: float, problem):
        """(movements (k,), detail) of the plan at a turn."""
        self._fix(turn)
        done = 0
        while done < len(self.best) and self.best[done] <= NOTHING:
            done += 1
        self._hold(done)  # aims that cost nothing are held as they are
        parts = self.programme, self.draft, self.parts
        try:
            finished = problem.finish(*parts, done)
        except Infeasible:
            self._hold(0)
            finished = problem.finish(*parts)
        at = turn * problem.freedom.unit[problem.turn]
        return np.insert(finished[0][:-2], problem.turn, at), finished[1]

    def _least(self, aim: int, turn: float) -> float:
        """The least of an aim, and the turn where it is reached."""
        best = self._try(aim, turn, sure=aim > 0)
        best, turn = self._newton(aim, best, turn)
        probes = [
            turn + SAME_TURN,
            turn - SAME_TURN,
        ]  # slopes on both sides of a corner
        tried = set()
        for _ in range(self.most_turns):
            if best <= self._rounding(aim, best):
                break
            far, bound = self._lowest(aim)
            if best - bound <= self._rounding(aim, best):
                break
            probe = probes.pop() if probes else far
            probe = min(max(probe, self.low), self.high)
            if probe in tried:
                if probes:
                    continue
                break
            tried.add(probe)
            value = self._try(aim, probe)
            if value < best - self._rounding(aim, value) / 2:
                best, turn = self._newton(aim, value, probe)
        if not math.isfinite(best):
            raise Infeasible("no turn fulfills all the rows and bounds")
        self.best.append(best)
        self._hold(aim + 1)
        return turn

    def _newton(self, aim: int, best: float, turn: float) -> tuple[float, float]:
        """(best, turn) after Newton's steps along tangents, until one is not needed."""
        at = turn
        for _ in range(5):
            if best <= self._rounding(aim, best):
                break
            turned, value, off = self._slide(aim, at)
            if off <= 1e-15:  # the tangent point lies on the circle
                if value < best - self._rounding(aim, value) / 2:
                    best, turn = value, turned
                break
            at = turned
        return best, turn

    def _slide(self, aim: int, turn: float) -> tuple[float, float, float]:
        """(best turn, aim there, distance from the circle) on the tangent at `turn`."""
        programme, circle = self.programme, self.circle
        sine, versine = math.sin(turn), 2 * math.sin(turn / 2) ** 2
        slope = math.tan(turn)
        level = versine - slope * sine
        low, high = math.sin(self.low), math.sin(self.high)
        unit = self.unit
        ends = np.array([[low, -1.0], [high, 2.0]]) * unit
        programme.bound(circle, *ends)
        programme.retie(self.tangent, circle, (-slope, 1.0), level * unit)
        self.count += 1
        value = programme.minimize(self.costs[aim], sure=aim > 0)
        # A plane below the aim over sine and versine: the price of the tangent, and
        # that of the bound where the sine has run into it.
        price = programme.row_price(self.tangent) * unit
        edge = float(programme.prices(circle)[0]) * unit
        sine, versine = (float(v) / unit for v in programme.values[circle])
        rest = value - price * level - edge * sine
        self.curves[aim].append((price, edge - price * slope, rest))
        programme.untie(self.tangent)
        angle = math.asin(min(1.0, max(-1.0, sine)))
        return angle, value, abs(2 * math.sin(angle / 2) ** 2 - versine)

    def _fix(self, turn: float) -> np.ndarray:
        point = np.array([math.sin(turn), 2 * math.sin(turn / 2) ** 2])
        self.programme.bound(self.circle, point * self.unit, point * self.unit)
        return point

    def _try(self, aim: int, turn: float, *, sure: bool = False) -> float:
        """The aim at this turn; inf where an earlier aim is worse than its best."""
        self.count += 1
        point = self._fix(turn)
        try:
            return self._cut(aim, point, sure=sure)
        except Infeasible:
            if aim == 0:
                raise
        self._blame(aim, point)
        self.blocked.append(turn)
        self._hold(aim)
        return math.inf

    def _blame(self, aim: int, point) -> None:
        """A curve of the earlier aim that is worse here than its best."""
        # By itself an aim gives the plainer curve; held to those before it, the higher.
        for held in (False, True):
            for earlier in range(aim):
                self._hold(earlier if held else 0, exactly=False)
                try:
                    if self._cut(earlier, point) > self._most(earlier, 1):
                        return
                except Infeasible:  # the aim before is worse here, by a rounding
                    return

    def _cut(self, aim: int, point, *, sure: bool = False) -> float:
        value = self.programme.minimize(self.costs[aim], sure=sure)
        sine, versine = self.programme.prices(self.circle) * self.unit
        curve = versine, sine, value - sine * point[0] - versine * point[1]
        self.curves[aim].append(curve)
        return value

    def _most(self, aim: int, times: int) -> float:
        """The best of an aim and a rounding, or some."""
        return self.best[aim] + times * self._rounding(aim, self.best[aim])

    def _rounding(self, aim: int, value: float) -> float:
        size = self.sizes[aim]
        return EQUAL * max(1.0, size, abs(value) if math.isfinite(value) else 0.0)

    def _hold(self, aims: int, *, exactly: bool = True) -> None:
        """Keep the first aims, and only them, at their best.

        `exactly`: what is met costs nothing at all, not even a rounding.
        """
        programme, free = self.programme, slice(self.draft.motions, None)
        high = self.high_ends.copy()
        for aim, row in enumerate(self.limits):
            held = aim < aims
            nothing = exactly and held and self.best[aim] <= NOTHING
            if nothing:
                high[self.costs[aim] > 0] = 0.0
            most = self._most(aim, 4) if held and not nothing else math.inf
            if programme.row_high[row] != most:
                programme.cap(row, most)
        columns = np.arange(self.draft.motions, len(high))
        programme.bound(columns, self.low_ends[free], high[free])

    def _lowest(self, aim: int) -> tuple[float, float]:
        """Where the highest curve of an aim is least, and how low that is."""
        curves = np.array([(0.0, 0.0, 0.0), *self.curves[aim]])
        first, other = np.triu_indices(len(curves), 1)
        spots = [np.array([self.low, self.high]), _stationary(curves)]
        spots.append(_roots(curves[first] - curves[other]))
        for earlier in range(aim):
            limit = [0.0, 0.0, self._most(earlier, 1)]
            spots.append(_roots(np.array(self.curves[earlier]) - limit))
        blocked = np.array(self.blocked)
        spots += [blocked - 2 * BLOCKED, blocked + 2 * BLOCKED]
        spots = np.clip(np.concatenate(spots), self.low, self.high)
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
        for turn in self.blocked:
            allowed &= np.abs(spots - turn) > BLOCKED
        return allowed


def _heights(curves, turns) -> np.ndarray:
    """The highest of curves (j, 3) at each turn (i,)."""
    parts = np.array([2 * np.sin(turns / 2) ** 2, np.sin(turns), np.ones(len(turns))])
    return (curves @ parts).max(axis=0)


def _stationary(curves) -> np.ndarray:
    """Turns where a (1 - cos) + b sin + c is level: a sin + b cos = 0."""
    curves = curves[curves[:, 0] != 0]
    return np.arctan(-curves[:, 1] / curves[:, 0])


def _roots(curves) -> np.ndarray:
    """Turns where a (1 - cos) + b sin + c = 0, a quadratic in the half tangent."""
    a, b, c = curves.T
    square = 2 * a + c
    rest = b * b - square * c
    real = rest >= 0
    b, c, square, rest = b[real], c[real], square[real], rest[real]
    # The root that does not cancel first, the other from their product.
    big = -(b + np.copysign(np.sqrt(rest), b))
    linear, quadratic = square != 0, big != 0
    halves = np.concatenate(
        [big[linear] / square[linear], c[quadratic] / big[quadratic]]
    )
    return 2 * np.arctan(halves)
