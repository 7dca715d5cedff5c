"""How well a part can sit as it is: the best place for it, nothing cut.

In strict order: no gap closed below zero, the least overlap left, the least worst
normalized deviation, then the least worst of the gaps and of the flushes by itself, the
least length-weighted sum of deviations, the least movement at the rim. Nothing is
priced against anything else.
"""

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from itertools import cycle

import numpy as np

from qa.numeric.plan.lexicographic import FEASIBLE, Draft, Infeasible, NotSolved
from qa.numeric.plan.motions import Freedom, cross_matrix, displace
from qa.numeric.plan.proof import Proof, proof_of
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.rotation import Settled, better_start, exact_turn, settle

LEAST_WEIGHT_MM = 1e-3  # of a reading without a length of its own
MOST_SEARCHED = 300  # readings; with more, one turn of several is straightened too
OTHER_STARTS = ((1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1))
TOUCHING_MM = 5e-7  # less than this below zero is rounding, not a collision
LOW = ("under", "overlap", "worse")
# Aims that come to nothing where, and only where, all their columns are 0.
OF_COSTS = ("worse", "overlap", "step", "unresolved", "build_up", "short", "trim")
NOTHING = 1e-10
SLIGHT = 1e-4  # mm of a reading per mm of movement at the rim


class NoFeasibleMotion(ValueError):
    """Within its bounds the part cannot go anywhere without a collision."""


@dataclass(frozen=True)
class Seat:
    """A place for the part: rim movements (k,), exact readings (m,) there.

    `worst` is the largest normalized deviation, `total` their length-weighted sum, mm.
    `prove` works out how good any place could be.
    """

    step: np.ndarray
    values: np.ndarray
    worst: float
    total: float
    settled: bool
    passes: int
    prove: Callable[[], Proof | None]


def solve_seat(readings: Readings, freedom: Freedom) -> Seat:
    """The best place. Raises NoFeasibleMotion when every place collides."""
    problem = SeatProblem(readings, freedom)
    settled = settled_plan(problem)
    step = freedom.rounded(settled.step)
    values, _ = readings.moved(freedom, step)
    deviation = readings.deviation(values)
    worst = float(deviation.max(initial=0.0))
    total = float(readings.weights @ deviation)
    prove = partial(proof_of, problem, step)
    return Seat(step, values, worst, total, settled.settled, settled.passes, prove)


def settled_plan(problem) -> Settled:
    """Settle a problem; bounds that cannot be are refused in plain words.

    Where the solver fails by its roundings the part stays where it is, if it may.
    """
    free = problem.freedom
    try:
        settled = settle(problem, np.clip(0.0, free.low, free.high))
        if problem.several and not problem.tied and problem.few:
            settled = better_start(problem, settled, problem.starts())
        if problem.collision(settled) <= TOUCHING_MM:
            return settled
    except (Infeasible, NotSolved):
        settled = None
    if (free.low <= 0).all() and (free.high >= 0).all():
        still = np.zeros(len(free.low))
        problem.freedom, problem.turn = replace(free, low=still, high=still), None
        with suppress(Infeasible, NotSolved):
            return replace(settle(problem, still), settled=False)
    if settled is None:
        raise NoFeasibleMotion(
            "no feasible motion: the bounds leave no place for the part to go"
        )
    raise NoFeasibleMotion(
        "no feasible motion: wherever the bounds let the part go it collides, "
        f"by {problem.collision(settled):.3f} mm at least"
    )


class Problem:
    """What seat and trim share: straight rows at a place, aims one after the other.

    `draft(base, slopes, locked, box)` writes the rows down, right to within `play`, and
    returns the draft and its named columns; `aims(draft, parts)` yields (name, cost).
    `names` are those of `merit`, `told_aims` those that a person is told of.
    """

    tied = False
    play = 0.0

    def __init__(self, readings: Readings, freedom: Freedom):
        self.readings, self.freedom = readings, freedom
        turns = np.array([motion.turns for motion in freedom.motions], dtype=bool)
        self.felt = felt(readings, freedom)
        free = turns & (freedom.low < freedom.high)
        self.several = bool(free.sum() > 1 and readings.gap.any())
        self.few = len(readings) <= MOST_SEARCHED
        self.turn = exact_turn(freedom) if free.sum() == 1 or self.few else None
        self.basis, self.near, self.last = None, None, None
        self.nothing = 0  # how many of the first aims came to nothing the last time

    def moved(self, at) -> tuple[np.ndarray, np.ndarray]:
        """Readings (m,) after the exact movement `at`, and their rates (m, k). The same
        again of other values at the same places costs nothing."""
        if self.last is None or not np.array_equal(self.last[0], at):
            readings = self.readings
            linear = self.freedom.lines(
                readings.places, readings.directions, readings.sides, at
            )
            self.last = np.array(at), *linear
        return self.readings.values + self.last[1], self.last[2]

    def bend(self, step) -> float:
        """How wrong the readings last straightened are at `step`, mm."""
        base, slopes, columns = self.straight
        exact, _ = self.readings.moved(self.freedom, step)
        linear = base + slopes @ columns(step)
        return float(np.abs(linear - exact).max(initial=0.0))

    def ends(self, settled: Settled) -> np.ndarray:
        """The exact readings (m,) of a plan."""
        return self.readings.moved(self.freedom, settled.step)[0]

    def starts(self) -> list[np.ndarray]:
        """Other places to begin at: the turns half way to their bounds, every way; with
        several bodies fewer, and all of them alike."""
        free = self.freedom
        turns = [k for k, motion in enumerate(free.motions) if motion.turns]
        steps = []
        starts = OTHER_STARTS[: 2 if len(turns) > 3 else None]
        for signs in starts:
            at = np.clip(0.0, free.low, free.high)
            for k, sign in zip(turns, cycle(signs), strict=False):
                at[k] = (free.high if sign > 0 else free.low)[k] / 2
            steps.append(at)
        return steps

    def reached(self, step) -> dict[str, float]:
        """What each aim comes to, exactly."""
        return dict(zip(self.names, self.merit(step), strict=True))

    def collision(self, settled: Settled) -> float:
        """How deep it ends below a floor, and below where it is now, mm."""
        readings = self.readings
        deep = np.minimum(readings.floor, readings.values) - self.ends(settled)
        return float(deep.max(initial=0.0))

    def straighten(self, at, slopes, columns) -> tuple[np.ndarray, np.ndarray]:
        """(base, slopes): right at `at`, whatever slopes (m, c) are not felt."""
        values, _ = self.moved(at)
        base = values - slopes @ columns(at)
        self.straight = base, slopes, columns
        return base, slopes

    def solve(self, at, radius):
        """(step, detail) with readings straightened at `at`."""
        free = self.freedom
        low, high = free.low.copy(), free.high.copy()
        if np.isfinite(radius):
            turns = np.array([motion.turns for motion in free.motions], dtype=bool)
            low[turns] = np.maximum(low, at - radius)[turns]
            high[turns] = np.minimum(high, at + radius)[turns]
        slopes = self.felt * self.moved(at)[1]
        lines = self.straighten(at, slopes, lambda step: step)
        draft, parts = self.draft(*lines, free.locked, (low, high))
        settled = None
        if self.near and self.nothing:
            with suppress(Infeasible):
                settled = self._finish_near(draft, parts, self.nothing)
        return settled or self._finish_near(draft, parts, 0)

    def _finish_near(self, draft, parts, nothing: int):
        """`finish`, begun where a programme much like this one ended; the first aims,
        so many of them, are held at nothing without looking; the last never, since it
        is where a point comes from. Raises Infeasible where they cannot be, which tells
        nothing of the others."""
        programme = draft.programme(self.basis)
        programme.near = self.near
        costs = [cost for _, cost in self.aims(draft, parts)]
        nothing = min(nothing, len(costs) - 1)
        for cost in costs[:nothing]:
            programme.leave_out(cost)
        settled = self.finish(programme, draft, parts, nothing, unsure=nothing)
        self.basis, self.near = programme.first_basis, programme.bases or None
        return settled

    def finish(self, programme, draft, parts, done: int = 0, unsure: int = 0):
        """(movements, detail): aims in strict order, then the least movement.

        The first `done` aims are held already; whether there is a point at all is known
        from the aim number `unsure` on.
        """
        nothing = done
        for number, (name, cost) in enumerate(self.aims(draft, parts)):
            if number < done:
                continue
            value = programme.minimize(cost, sure=number > unsure)
            self.hold(name, value, programme, parts)
            if number == nothing and name in OF_COSTS and value <= NOTHING:
                nothing += 1
        self.nothing = nothing
        moves = programme.least_movement(tied=self.tied)
        return moves, self.detail(programme, draft, parts, moves)

    def circle_draft(self, at):
        """(draft, parts), the sine and versine of the turn at the rim last, in mm.

        What moves the places before it is straightened at `at`.
        """
        free, readings, turn = self.freedom, self.readings, self.turn
        motion, rest = free.motions[turn], np.arange(len(free.motions)) != turn
        body = free.bodies[turn]
        own = free.own(body, turn)
        before = [free.motions[k] for k in own], free.amounts(at)[own]
        axis = np.array(motion.rotation)
        arms = readings.places + displace(readings.places, *before)[0] - motion.origin
        sine = arms @ cross_matrix(axis).T
        versine = np.outer(arms @ axis, axis) - arms
        slopes = (self.felt * readings.moved(free, at)[1])[:, rest]
        around = np.einsum("jik,ik->ij", [sine, versine], readings.directions)
        around *= readings.sides[:, [body]]
        unit = free.unit[turn]
        slopes = np.hstack([slopes, around * self.felt[:, [turn]] / unit])

        def columns(step):
            angle = step[turn] / unit
            circle = math.sin(angle), 2 * math.sin(angle / 2) ** 2
            return np.r_[step[rest], unit * np.array(circle)]

        lines = self.straighten(at, slopes, columns)
        locked = np.hstack([free.locked[:, rest], np.zeros((len(free.locked), 2))])
        box = np.r_[free.low[rest], 0.0, 0.0], np.r_[free.high[rest], 0.0, 0.0]
        return self.draft(*lines, locked, box)

    def overlap_columns(self, draft: Draft, parts: dict) -> list:
        """Columns by which readings may stay below their floor, with their signs.

        As deep as they are now is "overlap"; deeper is "worse", which stays at 0
        wherever there is a place at all.
        """
        readings = self.readings
        bounded = np.isfinite(readings.floor)
        now = np.where(bounded, readings.floor - readings.values, 0.0)
        terms = []
        if (now > 0).any():
            parts["overlap"] = draft.columns(np.zeros(len(now)), np.maximum(now, 0))
            terms.append((parts["overlap"], 1.0))
        if bounded.any():
            worse = np.where(bounded, np.inf, 0.0)
            parts["worse"] = draft.columns(np.zeros(len(now)), worse)
            terms.append((parts["worse"], 1.0))
        return terms

    def overlap_aims(self, draft: Draft, parts: dict):
        """What comes before all other aims; a land has no length of its own."""
        if "worse" in parts:
            yield "worse", draft.cost((parts["worse"], 1.0))
        if "overlap" in parts:
            cost = self.readings.weights + LEAST_WEIGHT_MM
            yield "overlap", draft.cost((parts["overlap"], cost))

    def overlap_merit(self, values) -> tuple[float, float]:
        """What those aims come to at readings (m,)."""
        readings = self.readings
        deep = np.maximum(0, readings.floor - values)
        now = np.maximum(0, readings.floor - readings.values)
        weights = readings.weights + LEAST_WEIGHT_MM
        worse = np.maximum(0, deep - now)
        return float(worse.sum()), float(weights @ np.minimum(deep, now))

    def hold(self, name, value, programme, parts) -> None:
        """From now on only optima of the aim are allowed."""
        programme.hold()

    def detail(self, programme, draft, parts, step):
        return None


class SeatProblem(Problem):
    """Where the part sits best."""

    told_aims = ("overlap", "worst")

    def __init__(self, readings: Readings, freedom: Freedom):
        super().__init__(readings, freedom)
        limited, gaps = readings.scales.limited, readings.gap
        kinds = [np.flatnonzero(limited & kind) for kind in (gaps, ~gaps)]
        self.kinds = [rows for rows in kinds if len(rows)]
        by_kind = (f"worst{number}" for number in range(len(self.kinds)))
        self.names = ("worse", "overlap", "worst", *by_kind, "total", "movement")

    def merit(self, step) -> tuple:
        values, _ = self.readings.moved(self.freedom, step)
        deviation = self.readings.deviation(values)
        worst = [float(deviation[rows].max()) for rows in self.kinds]
        return (
            *self.overlap_merit(values),
            max(worst, default=0.0),
            *worst,
            float(self.readings.weights @ deviation),
            float(step @ step),
        )

    def draft(self, base, slopes, locked, box):
        """Rows reading = aim - under + over - overlap; deviation <= worst.

        With two kinds each has a worst of its own, at most the worst of all.
        """
        scales, nothing = self.readings.scales, np.zeros(len(base))
        # Where the floor is above the aim, even the floor has a deviation.
        aim = np.maximum(scales.aim, self.readings.floor)
        draft, parts = Draft(box), {}
        parts["under"] = draft.columns(nothing, aim - self.readings.floor)
        parts["over"] = draft.columns(nothing, np.inf)
        parts["worst"] = draft.columns(np.zeros(1), np.inf)
        ends = [(parts["under"], 1.0), (parts["over"], -1.0)]
        ends += self.overlap_columns(draft, parts)
        draft.rows(aim - base - self.play, aim - base + self.play, slopes, *ends)
        draft.rows(0.0, 0.0, locked)
        slope = {1.0: scales.below, -1.0: scales.above}
        for number, rows in enumerate(self.kinds):
            worst, level = parts["worst"], np.zeros((len(rows), slopes.shape[1]))
            if len(self.kinds) > 1:
                worst = parts[f"worst{number}"] = draft.columns(np.zeros(1), np.inf)
                pair = (parts["worst"], 1.0), (worst, -1.0)
                draft.rows(0.0, np.inf, level[:1], *pair)
            draft.rows(
                scales.deviation(aim)[rows],
                np.inf,
                level,
                (np.repeat(worst, len(rows)), 1.0),
                *((columns[rows], -slope[sign][rows]) for columns, sign in ends),
            )
        return draft, parts

    def aims(self, draft, parts):
        yield from self.overlap_aims(draft, parts)
        for name in ("worst", "worst0", "worst1"):
            if name in parts:
                yield name, draft.cost((parts[name], 1.0))
        weights, scales = self.readings.weights, self.readings.scales
        below = ((parts[n], weights * scales.below) for n in LOW if n in parts)
        yield "total", draft.cost((parts["over"], weights * scales.above), *below)

    def hold(self, name, worst, programme, parts) -> None:
        """The least worst deviation becomes a bound of every reading by itself."""
        if not name.startswith("worst"):
            return programme.hold()
        scales = self.readings.scales
        rows = np.arange(len(self.readings)) if name == "worst" else None
        if rows is None:
            rows = self.kinds[int(name.removeprefix("worst"))]
        reach = worst + 4 * FEASIBLE * max(1.0, worst)
        programme.bound(parts[name], np.zeros(1), np.full(1, reach))
        aim = np.maximum(scales.aim, self.readings.floor)
        for side, slope, most in (
            ("under", scales.below, np.full(len(aim), reach)),
            ("over", scales.above, reach - scales.deviation(aim)),
        ):
            bound = rows[slope[rows] > 0]
            columns = parts[side][bound]
            high = np.minimum(
                programme.column_high[columns], most[bound] / slope[bound]
            )
            low = programme.column_low[columns]
            programme.bound(columns, low, np.maximum(low, high))
        return None


def felt(readings: Readings, freedom: Freedom) -> np.ndarray:
    """How much of each slope (m, k) a plan makes use of: 0 or 1, between near SLIGHT.

    What a motion does to a reading only by the curvature of its way, or by a joint not
    quite flat, is followed exactly but never sought: else a door would be tilted to its
    limits to gain a ten-thousandth of that in its gaps, and 10 nm of z would tilt it.
    Where no motion is felt at all, the slight ones still may not go through a floor.
    """
    slopes = np.abs(readings.moved(freedom, np.zeros(len(freedom.motions)))[1])
    share = np.clip(slopes / SLIGHT - 1, 0.0, 1.0)
    blind = ~share.any(axis=1) & np.isfinite(readings.floor)
    return np.where(blind[:, None], 1.0, share)
