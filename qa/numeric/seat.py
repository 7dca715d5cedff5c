"""How well a part can sit as it is: the best place for it, nothing cut.

In strict order: no gap closed below zero, the least worst normalized deviation, the
least length-weighted sum of deviations, the least movement at the rim.
"""

from dataclasses import dataclass

import numpy as np

from qa.numeric.lexicographic import FEASIBLE, Draft, Infeasible
from qa.numeric.motions import Freedom, cross_matrix
from qa.numeric.readings import Readings
from qa.numeric.settling import Settled, settle

TOUCHING_MM = 1e-6  # less than this below zero is rounding, not a collision
LOW = ("under", "overlap", "worse")
COLLISION = 100.0  # price of a new collision against the overlap that is there


class NoFeasibleMotion(ValueError):
    """Within its bounds the part cannot go anywhere without a collision."""


@dataclass(frozen=True)
class Seat:
    """A place for the part: rim movements (k,), exact readings (m,) there.

    `worst` is the largest normalized deviation, `total` their length-weighted sum, mm.
    """

    step: np.ndarray
    values: np.ndarray
    worst: float
    total: float
    settled: bool
    passes: int


def solve_seat(readings: Readings, freedom: Freedom) -> Seat:
    """The best place. Raises NoFeasibleMotion when every place collides."""
    found = settled_plan(_SeatProblem(readings, freedom))
    values, _ = readings.moved(freedom, found.step)
    refuse_collisions(readings, values)
    deviation = readings.deviation(values)
    worst = float(deviation.max(initial=0.0))
    total = float(readings.weights @ deviation)
    return Seat(found.step, values, worst, total, found.settled, found.passes)


def settled_plan(problem) -> Settled:
    """Settle a problem; bounds that cannot be are refused in plain words."""
    free = problem.freedom
    try:
        return settle(problem, np.clip(0.0, free.low, free.high))
    except Infeasible:
        raise NoFeasibleMotion(
            "no feasible motion: the bounds leave no place for the part to go"
        ) from None


def refuse_collisions(readings: Readings, values: np.ndarray) -> None:
    """Raises NoFeasibleMotion where readings end below their floor and present."""
    depth = np.minimum(readings.floor, readings.values) - values
    if (depth > TOUCHING_MM).any():
        raise NoFeasibleMotion(
            "no feasible motion: wherever the bounds let the part go it collides, "
            f"by {float(depth.max()):.3f} mm at least"
        )


class Problem:
    """What seat and trim share: straight rows at a place, aims one after the other.

    `draft(base, slopes, locked, box)` writes the rows down and returns the draft and
    its named columns; `aims(draft, parts)` yields (name, cost).
    """

    tied = False

    def __init__(self, readings: Readings, freedom: Freedom):
        self.readings, self.freedom = readings, freedom
        self.basis = None

    def bend(self, step) -> float:
        """How wrong the readings last straightened are at `step`, mm."""
        base, slopes = self.straight
        exact, _ = self.readings.moved(self.freedom, step)
        return float(np.abs(base + slopes @ step - exact).max(initial=0.0))

    def solve(self, at, radius):
        """(step, detail) with readings straightened at `at`."""
        free = self.freedom
        low, high = free.low.copy(), free.high.copy()
        if np.isfinite(radius):
            turns = np.array([motion.turns for motion in free.motions], dtype=bool)
            low[turns] = np.maximum(low, at - radius)[turns]
            high[turns] = np.minimum(high, at + radius)[turns]
        self.straight = self.readings.straightened(free, at)
        draft, parts = self.draft(*self.straight, free.locked, (low, high))
        programme = draft.programme(self.basis)
        found = self.finish(programme, draft, parts)
        self.basis = programme.first_basis
        return found

    def finish(self, programme, draft, parts, done: int = 0):
        """(movements, detail): aims in strict order, then the least movement.

        The first `done` aims are held already.
        """
        for number, (name, cost) in enumerate(self.aims(draft, parts)):
            if number < done:
                continue
            value = programme.minimize(cost, sure=number > 0)
            self.hold(name, value, programme, parts)
        moves = programme.least_movement(tied=self.tied)
        return moves, self.detail(programme, draft, parts, moves)

    def circle_draft(self, turn: int):
        """(draft, parts) with the sine and versine of one turn as last movements."""
        free, readings = self.freedom, self.readings
        motion, rest = free.motions[turn], np.arange(len(free.motions)) != turn
        axis = np.array(motion.rotation)
        arms = readings.places - motion.origin
        sine = arms @ cross_matrix(axis).T
        versine = arms - np.outer(arms @ axis, axis)
        along = free.lines(readings.places, readings.directions, 0 * free.low)[1]
        slopes = np.column_stack(
            [
                along[:, rest],
                np.einsum("ij,ij->i", sine, readings.directions),
                -np.einsum("ij,ij->i", versine, readings.directions),
            ]
        )
        nothing = np.zeros((len(free.locked), 2))
        locked = np.hstack([free.locked[:, rest], nothing])
        box = np.r_[free.low[rest], 0.0, 0.0], np.r_[free.high[rest], 0.0, 0.0]
        return self.draft(readings.values, slopes, locked, box)

    def overlap_columns(self, draft: Draft, parts: dict) -> list:
        """Columns by which readings may stay below their floor, with their signs."""
        readings = self.readings
        bounded = np.isfinite(readings.floor)
        now = np.where(bounded, readings.floor - readings.values, 0.0)
        worse = np.where(bounded, np.inf, 0.0)
        terms = []
        if (now > 0).any():
            parts["overlap"] = draft.columns(np.zeros(len(now)), np.maximum(now, 0))
            terms.append((parts["overlap"], 1.0))
        if bounded.any():
            parts["worse"] = draft.columns(np.zeros(len(now)), worse)
            terms.append((parts["worse"], 1.0))
        return terms

    def overlap_cost(self, draft: Draft, parts: dict):
        """The aim that comes before all others; a land has no length of its own."""
        weights = self.readings.weights + 1e-3
        if "overlap" not in parts:
            return draft.cost((parts["worse"], weights))
        worse = COLLISION * weights.max()
        return draft.cost((parts["overlap"], weights), (parts["worse"], worse))

    def hold(self, name, value, programme, parts) -> None:
        """From now on only optima of the aim are allowed."""
        programme.hold()

    def detail(self, programme, draft, parts, step):
        return None


class _SeatProblem(Problem):
    def merit(self, step) -> tuple:
        values, _ = self.readings.moved(self.freedom, step)
        deviation = self.readings.deviation(values)
        return (
            float(np.maximum(0, self.readings.floor - values).sum()),
            float(deviation.max(initial=0.0)),
            float(self.readings.weights @ deviation),
            float(step @ step),
        )

    def draft(self, base, slopes, locked, box):
        """Rows reading = aim - under + over - overlap; deviation <= worst."""
        scales, nothing = self.readings.scales, np.zeros(len(base))
        # Where the floor is above the aim, even the floor has a deviation.
        aim = np.maximum(scales.aim, self.readings.floor)
        draft, parts = Draft(box), {}
        parts["under"] = draft.columns(nothing, aim - self.readings.floor)
        parts["over"] = draft.columns(nothing, np.inf)
        parts["worst"] = draft.columns(np.zeros(1), np.inf)
        ends = [(parts["under"], 1.0), (parts["over"], -1.0)]
        ends += self.overlap_columns(draft, parts)
        draft.rows(aim - base, aim - base, slopes, *ends)
        draft.rows(0.0, 0.0, locked)
        limited = np.flatnonzero(scales.limited)
        slope = {1.0: scales.below[limited], -1.0: scales.above[limited]}
        draft.rows(
            scales.deviation(aim)[limited],
            np.inf,
            np.zeros((len(limited), slopes.shape[1])),
            (np.repeat(parts["worst"], len(limited)), 1.0),
            *((columns[limited], -slope[sign]) for columns, sign in ends),
        )
        return draft, parts

    def aims(self, draft, parts):
        if "worse" in parts:
            yield "overlap", self.overlap_cost(draft, parts)
        yield "worst", draft.cost((parts["worst"], 1.0))
        weights, scales = self.readings.weights, self.readings.scales
        below = ((parts[n], weights * scales.below) for n in LOW if n in parts)
        yield "total", draft.cost((parts["over"], weights * scales.above), *below)

    def hold(self, name, worst, programme, parts) -> None:
        """The least worst deviation becomes a bound of every reading by itself."""
        if name != "worst":
            return programme.hold()
        scales = self.readings.scales
        reach = worst + 4 * FEASIBLE * max(1.0, worst)
        programme.bound(parts["worst"], np.full(1, reach), np.full(1, reach))
        aim = np.maximum(scales.aim, self.readings.floor)
        left = {
            "under": (reach, scales.below),
            "over": (reach - scales.deviation(aim), scales.above),
        }
        for side, (most, slope) in left.items():
            rows = slope > 0
            columns = parts[side][rows]
            high = np.broadcast_to(most, len(rows))[rows] / slope[rows]
            high = np.minimum(programme.column_high[columns], high)
            low = programme.column_low[columns]
            programme.bound(columns, low, np.maximum(low, high))
        return None
