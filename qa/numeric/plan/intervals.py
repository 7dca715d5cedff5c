"""How well each move and each cut of a plan is known: 95 % intervals from the readings.

What would the same plan, by the same ways to move, have come to if the readings were
exact? Readings are drawn anew about those that were taken, with their own errors and
the zero of the gauge that those of a kind have in common, and planned again, straight
at the plan (parametric bootstrap: Efron and Tibshirani, "An Introduction to the
Bootstrap", 1993, 6.5); the seed is fixed. Half an interval is `COVER` standard
deviations of what comes: somewhat more than the 1.96 of a normal one, since a plan has
corners and the draws stand about the readings, not about the truth (by simulation, in
tests/numeric/test_intervals.py). Where adjusters set the part in whole steps only the
cuts are uncertain.
"""

import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.plan.lexicographic import Infeasible, NotSolved
from qa.numeric.plan.motions import freedom
from qa.numeric.plan.result import Plan
from qa.numeric.plan.seat import SeatProblem
from qa.numeric.plan.trim import CUT_MM, TrimProblem

DRAWS = 80
COVER = 2.1
SEED = 14
MOST_READINGS = 400  # with more the draws would take minutes


class Spread:
    """Half of a 95 % interval, and the digits that are known by it."""

    half: float

    @property
    def digits(self) -> int:
        """Decimals that are known: those down to the first digit of `half`."""
        if self.half <= 0:
            return 3
        return min(3, max(0, -math.floor(math.log10(self.half))))

    @property
    def shown(self) -> float:
        """`half` in those digits, rounded up."""
        return math.ceil(self.half * 10**self.digits) / 10**self.digits


@dataclass(frozen=True)
class Interval(Spread):
    """What is told and half of its 95 % interval, both in mm, or degrees of a turn."""

    name: str
    value: float
    half: float


@dataclass(frozen=True)
class CutInterval(Spread):
    """Half of the 95 % interval of the trim at a station, mm."""

    joint: int
    label: str
    trim: float
    half: float


def intervals(planner, plan: Plan):
    """(Interval of every motion that is used, CutInterval of every station cut).

    `planner` is of the same readings and options; both are empty where nothing is known
    of the readings, or there are very many.
    """
    options, every = planner.options, planner.every
    if not options.uncertainty_mm or len(every) > MOST_READINGS:
        return (), ()
    free, step = _freedom(planner, plan)
    trims = np.array([plan.stations[row].trim for row in planner.gaps.rows])
    cut = bool(trims.any())
    if not (step != 0).any() and not cut:
        return (), ()
    used = free.without(step == 0)
    if plan.settings is not None:
        used = free.without(np.ones(len(step), dtype=bool))
    problems = _problems(planner, used, trims)
    steps, depths = _drawn(problems, step, plan.settings is None, len(trims))
    spread = COVER * steps.std(axis=0, ddof=1) / free.unit
    moves = []
    if plan.settings is None:
        for k, (name, amount) in enumerate(plan.move.amounts):
            half = math.degrees(spread[k]) if free.motions[k].turns else spread[k]
            if step[k]:
                moves.append(Interval(name, amount, float(half)))
    half = COVER * depths.std(axis=0, ddof=1)
    cuts = [
        CutInterval(one.joint, one.label, one.trim, float(half[k]))
        for k, one in enumerate(plan.stations[row] for row in planner.gaps.rows)
        if one.trim > CUT_MM
    ]
    return tuple(moves), tuple(cuts)


def _freedom(planner, plan: Plan):
    """(freedom, rim movements (k,)) of the move of a plan."""
    every = planner.every
    pulls = every.take(every.scales.limited | (every.values < every.floor))
    motions, rho = plan.move.motions, planner.arrays.rho
    free = freedom(motions, rho, pulls.places, pulls.directions)
    return free, np.array(plan.move.raw) * free.unit


def _problems(planner, used, trims):
    """The problem of the plan for each draw of its readings."""
    every, options = planner.every, planner.options
    random = np.random.default_rng(SEED)
    common = options.common_u_mm or 0.0
    alone = math.sqrt(options.uncertainty_mm**2 - common**2)
    read = np.arange(len(every)) < len(planner.gaps) + len(planner.flushes)
    rules = planner.rules(every)
    aimed = np.zeros(len(every), dtype=bool)
    aimed[: len(trims)] = trims > 0
    for _ in range(DRAWS):
        zeros = common * random.normal(size=2)
        errors = alone * random.normal(size=len(every))
        errors += np.where(every.gap, zeros[0], zeros[1])
        noisy = every.with_values(every.values + np.where(read, errors, 0.0))
        if aimed.any():
            yield TrimProblem(noisy, used, rules, aimed)
        else:
            yield SeatProblem(noisy, used)


def _drawn(problems, step, moves: bool, count: int):
    """(rim movements (d, k), depths (d, count)) of every draw that can be planned."""
    steps, depths, basis = [], [], None
    for problem in problems:
        at, detail = step, None
        if moves:
            problem.basis = basis
            try:
                at, detail = problem.solve(step, np.inf)
            except (Infeasible, NotSolved):
                continue
            basis = problem.basis
        steps.append(at)
        depths.append(np.zeros(count))
        if isinstance(problem, TrimProblem):
            moved = problem.readings.moved(problem.freedom, at)[0]
            depths[-1] = problem.depths(moved, detail)[0][:count]
    return np.array(steps), np.array(depths)
