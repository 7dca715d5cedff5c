"""The linear programme of a box of settings: what none of them can beat."""

import math

import numpy as np

from qa.numeric.plan import boxes
from qa.numeric.plan.lattice import Lattice, Model
from qa.numeric.plan.lexicographic import Draft, Infeasible, NotSolved
from qa.numeric.plan.nearest import nearest_of_hull
from qa.numeric.plan.seat import TOUCHING_MM, SeatProblem

NEAR = 1e-5  # steps: roundings of the solver at the ends of a box
SURE = 1e-8  # relative: roundings of the solver that must not cut off the best


class Relaxed:
    """No settings in a box are better in an aim, by its number, than the least of this
    programme, the aims before it held at their `caps`."""

    def __init__(self, lattice: Lattice, number: int, caps, model: Model, low, high):
        self.model, self.unit = model, lattice.rig.steps
        self.columns, self.size = np.arange(len(low)), boxes.size(low, high, model.ties)
        problem = lattice.aims.problem
        problem.play = model.play
        ends, none = (low * self.unit, high * self.unit), np.zeros((0, len(low)))
        names = lattice.aims.names
        alone = number == 0 and names[0] == "worst"
        make = _draft_of_worst if alone else type(problem).draft
        draft, parts = make(problem, model.base, model.slopes, none, ends)
        problem.play = 0.0
        if lattice.rig.overdetermined:
            base, slopes, room = model.left
            draft.rows(-room - base, room - base, slopes)
            ties = model.ties
            whole = slice(ties.whole)
            rows = ties.rows[whole] / self.unit
            draft.rows(ties.least[whole], ties.most[whole], rows)
        if alone:
            costs = {"worst": draft.cost((parts["worst"], 1.0))}
        else:
            costs = dict(problem.aims(draft, parts))
        limits = [draft.limit(costs[name]) for name in names if name in costs]
        self.cost = costs[names[number]] if number < len(names) else None
        self.programme = draft.programme()
        for limit, most in zip(limits[:number], caps, strict=False):
            self.programme.cap(limit, most + SURE * max(1.0, abs(most)))
        self.row = limits[number] if self.cost is not None else None
        if "worse" in parts:
            worse = parts["worse"]
            nothing = np.zeros(len(worse))
            high = np.minimum(self.programme.column_high[worse], TOUCHING_MM)
            self.programme.bound(worse, nothing, high)

    def solve(self, low, high):
        """(bound, where in steps (k,), prices (k,)) of a box; inf when it is empty."""
        programme = self.programme
        programme.bound(self.columns, low * self.unit, high * self.unit)
        nothing = np.zeros(len(low))
        try:
            if self.cost is None:
                return *self._movement(), nothing
            value = programme.minimize(self.cost)
        except Infeasible:
            return math.inf, nothing, nothing
        except NotSolved:
            return -math.inf, (low + high) / 2, nothing
        at = programme.values[self.columns] / self.unit
        value -= SURE * max(1.0, abs(value))
        return value, at, programme.prices(self.columns) * self.unit

    def _movement(self):
        """The least movement that the programme allows (Wolfe's nearest point)."""
        base, slopes, play = self.model.move
        count = len(self.programme.column_low)

        def lowest(direction):
            cost = np.zeros(count)
            cost[self.columns] = direction @ slopes
            self.programme.minimize(cost)
            return base + slopes @ self.programme.values[self.columns]

        point = nearest_of_hull(lowest, lowest(np.zeros(len(base))))
        size = float(np.linalg.norm(point))
        least = max(0.0, size - float(np.linalg.norm(play)) - SURE)
        at = np.linalg.lstsq(slopes, point - base, rcond=None)[0]
        return least**2, at / self.unit

    def shrunk(self, low, high, most, at):
        """The box (low, high) of all that can reach `most`; None when nothing can. An
        end that a known point comes to is not looked for; `at` (k,), in steps, is one.
        """
        programme = self.programme
        programme.bound(self.columns, low * self.unit, high * self.unit)
        if self.row is not None:
            programme.cap(self.row, most + SURE * max(1.0, abs(most)))
        low, high = low.copy(), high.copy()
        known = at[None]
        try:
            for k in self.columns[low < high]:
                if known[:, k].min() - NEAR > low[k]:
                    known = np.vstack([known, self._furthest(k, 1.0)])
                    low[k] = max(low[k], math.ceil(known[-1, k] - NEAR))
                if known[:, k].max() + NEAR < high[k]:
                    known = np.vstack([known, self._furthest(k, -1.0)])
                    high[k] = min(high[k], math.floor(known[-1, k] + NEAR))
                if low[k] > high[k]:
                    return None
        except Infeasible:
            return None
        except NotSolved:
            pass
        if self.row is not None:
            programme.cap(self.row, np.inf)
        return low, high

    def _furthest(self, k: int, sign: float) -> np.ndarray:
        """Where in steps (k,) one adjuster goes least, by -1 most."""
        cost = np.arange(len(self.programme.column_low)) == k
        self.programme.minimize(sign * cost)
        return self.programme.values[self.columns] / self.unit


def _draft_of_worst(problem: SeatProblem, base, slopes, locked, box):
    """The draft of `problem` for its worst deviation alone, without columns for what
    each reading comes to: solved in half the time."""
    readings, scales = problem.readings, problem.readings.scales
    draft = Draft(box)
    parts = {"worst": draft.columns(np.zeros(1), np.inf)}
    floor = np.minimum(readings.floor, readings.values) - TOUCHING_MM
    rows = np.isfinite(floor)
    draft.rows((floor - base - problem.play)[rows], np.inf, slopes[rows])
    for sign, scale in ((1.0, scales.below), (-1.0, scales.above)):
        rows = np.flatnonzero(scale > 0)
        off = scale * (sign * (scales.aim - base) - problem.play)
        steep = sign * scale[:, None] * slopes
        worst = np.repeat(parts["worst"], len(rows)), 1.0
        draft.rows(off[rows], np.inf, steep[rows], worst)
    draft.rows(0.0, 0.0, locked)
    return draft, parts
