"""Parts set by adjusters beside parts that go freely, or by motions of their own.

For every choice of settings the others are planned as ever, the set parts standing
where the settings put them: that, by the exact rotation, is what settings come to. Few
settings are all tried. Of more, settings are searched over the lattice with the free
parts where they went last, and the free parts planned again, in turn, until neither
gains; then every adjuster is tried some steps further, one and two at a time. What is
found so is not proven, and that is said. Settings that a single programme tells to be
worse than the best (`outlook`) are not planned.
"""

from dataclasses import replace
from functools import cached_property
from itertools import combinations

import numpy as np

from qa.numeric.plan import boxes, set_remarks, trifles
from qa.numeric.plan.adjusters import Rig
from qa.numeric.plan.branching import best_settings
from qa.numeric.plan.free_planner import Cut, Planner, Solved
from qa.numeric.plan.going import motions_about
from qa.numeric.plan.lattice_aims import SeatAims, TrimAims, equal
from qa.numeric.plan.motions import UNSEEN, Freedom, NothingSeen, freedom
from qa.numeric.plan.outlook import may_come_before
from qa.numeric.plan.readings import Readings, together
from qa.numeric.plan.resolution import seat_bounds
from qa.numeric.plan.seat import NoFeasibleMotion, SeatProblem, solve_seat
from qa.numeric.plan.separate import solve_apart
from qa.numeric.plan.set_assembly import Rigs, SetAssemblyPlanner, at_most
from qa.numeric.plan.set_planner import WITHOUT_END
from qa.numeric.plan.trim import CUT_MM, TrimProblem, solve_trim

FEW = 64  # settings that are all tried
TURNS = 4  # of settings and free parts
FURTHER = (4, 1)  # steps that an adjuster is tried further
AIMED = 3  # times that cuts aim anew


class MixedAssemblyPlanner(SetAssemblyPlanner):
    """A SetAssemblyPlanner of which some parts are not set."""

    by_settings = False

    @cached_property
    def set_movers(self) -> list[int]:
        """The movers that are set, by their number among the movers."""
        arrays = self.arrays
        adjusters = [arrays.bodies[mover].adjusters for mover in arrays.movers]
        return [number for number, own in enumerate(adjusters) if own]

    @cached_property
    def rig(self) -> Rigs:
        arrays = self.arrays
        own = [
            self._named_settings(n, arrays.bodies[arrays.movers[n]].adjusters)
            for n in self.set_movers
        ]
        at_most(own)
        rhos = [arrays.center_of(n)[1] for n in self.set_movers]
        rigs = Rigs([Rig(*each) for each in zip(own, rhos, strict=True)])
        rigs.bodies = np.repeat(self.set_movers, 6)
        return rigs

    # where free parts may go, and set ones stand

    @cached_property
    def loose(self) -> Freedom:
        """The freedom of the parts that are not set; `motions_of` of every mover."""
        arrays, every = self.arrays, together(self.gaps, self.flushes)
        pulls, motions, bodies, rhos = self._pulls(), [], [], []
        self.motions_of = [()] * len(arrays.movers)
        for n, rig in zip(self.set_movers, self.rig.rigs, strict=True):
            self.motions_of[n] = rig.motions
        for n, mover in enumerate(arrays.movers):
            if n in self.set_movers:
                continue
            center, rho = arrays.center_of(n)
            own_motions = arrays.bodies[mover].motions
            if own_motions is None:
                gap = every.gap[every.sides[:, n] != 0]
                measured = bool(gap.any()), bool((~gap).any())
                here = pulls.take(pulls.sides[:, n] != 0)
                own_motions = motions_about(center, rho, here, measured, self.options)
            self.motions_of[n] = tuple(own_motions)
            motions += self._named(own_motions, mover)
            bodies += [n] * len(own_motions)
            rhos += [rho] * len(own_motions)
        where = pulls.places, pulls.directions, pulls.sides
        try:
            return freedom(motions, np.array(rhos), *where, bodies)
        except NothingSeen:  # they stay where they are
            self.motions_of = [
                own if n in self.set_movers else ()
                for n, own in enumerate(self.motions_of)
            ]
            none = np.zeros(0)
            return Freedom((), none, none, none, np.zeros((0, 0)), (), none.astype(int))

    def _freedom(self, _pulls: Readings) -> Freedom:
        return self._frozen(self.steps)

    def _frozen(self, steps) -> Freedom:
        """Free parts free, set ones where whole steps put them."""
        step = self.rig.step(steps * self.rig.steps)
        return self.beside(step, step, np.zeros((0, len(step))))

    def beside(self, low, high, locked) -> Freedom:
        """The freedom of all, in the order of the movers; of set parts (6 b,) these
        bounds and what is locked (j, 6 b)."""
        loose, rig = self.loose, self.rig
        bodies = np.r_[loose.bodies, rig.bodies]
        order = np.argsort(bodies, kind="stable")
        locks = np.zeros((len(loose.locked) + len(locked), len(bodies)))
        locks[: len(loose.locked), : len(loose.motions)] = loose.locked
        locks[len(loose.locked) :, len(loose.motions) :] = locked
        motions = (*loose.motions, *rig.motions)
        return Freedom(
            motions=tuple(motions[k] for k in order),
            unit=np.r_[loose.unit, rig.unit][order],
            low=np.r_[loose.low, low][order],
            high=np.r_[loose.high, high][order],
            locked=locks[:, order],
            held=loose.held,
            bodies=bodies[order],
        )

    @cached_property
    def anywhere(self) -> Freedom:
        rig, far = self.rig, np.full(len(self.rig.motions), WITHOUT_END)
        return Freedom(rig.motions, rig.unit, -far, far, rig.unset, (), rig.bodies)

    def of_set(self, free: Freedom) -> np.ndarray:
        """Whether each motion (k,) is that of a part that is set."""
        return np.isin(free.bodies, self.set_movers)

    # what settings come to

    def _seated(self, steps):
        """(aims, seat) of settings; None where they cannot be."""
        free = self._placed(steps)
        if free is None:
            return None
        try:
            seat, settled = solve_apart(self.every, free, solve_seat)
        except NoFeasibleMotion:
            return None
        ends = self.every.moved(free, seat.step)[0][None]
        aims = SeatAims(self.every, self.anywhere)
        if not aims.allowed(ends)[0]:
            return None
        return aims.least(ends, ends)[0], (free, seat, settled)

    def _cut(self, steps, aimed):
        """(aims, trim) of settings with cuts."""
        free = self._placed(steps)
        if free is None:
            return None

        def solve(readings, free):
            return solve_trim(readings, free, self.rules(readings))

        try:
            trim, settled = solve_apart(self.every, free, solve)
        except NoFeasibleMotion:
            return None
        moved = self.every.moved(free, trim.step)[0][None]
        rules = self.rules(self.every)
        aims = TrimAims(self.every, self.anywhere, rules, aimed)
        if not aims.allowed(moved)[0]:
            return None
        return aims.least(moved, moved)[0], (free, trim, settled)

    def _placed(self, steps) -> Freedom | None:
        """The freedom with settings made; None where rigid parts cannot make them."""
        changes = steps * self.rig.steps
        for rig, own in zip(self.rig.rigs, self.rig.own, strict=True):
            _, left = rig.solve(changes[None, own])
            if not np.abs(left).max(initial=0.0) <= self.options.slack_mm + 1e-9:
                return None
        return self._frozen(steps)

    # the search

    def _solve_seat(self) -> Solved:
        self._seen()
        self._remark(self.rig.rigs)
        best, (free, seat, self.settled) = self._searched(
            self._seated,
            lambda readings: SeatAims(readings, self.anywhere),
            lambda free: SeatProblem(self.every, free),
        )
        self.steps = np.array(best)
        self.prove = lambda: None
        return Solved(free, self._move(free, seat.step), seat.step)

    def _solve_trim(self) -> Cut:
        if self.stays or not (self.rules(self.every).most_trim > 0).any():
            return Planner._solve_trim(self)
        aimed, rules = np.zeros(len(self.every), dtype=bool), self.rules(self.every)
        for _ in range(AIMED):
            best, (free, trim, settled) = self._searched(
                lambda steps, aimed=aimed: self._cut(steps, aimed),
                lambda readings, aimed=aimed: TrimAims(
                    readings, self.anywhere, rules, aimed
                ),
                lambda free, aimed=aimed: TrimProblem(
                    self.every, free, replace(rules, ramps=()), aimed
                ),
                self.steps,
            )
            more = np.zeros(len(self.every), dtype=bool)
            more[: len(trim.trim)] = trim.trim > CUT_MM
            if rules.aim <= 0 or not (more & ~aimed).any():
                break
            aimed = aimed | more
        self.steps = np.array(best)
        move = self._move(free, trim.step)
        self.seat = Solved(free, move, trim.step)
        self.settled &= settled
        return Cut(trim, move)

    def _searched(self, come_to, aims_at, problem_at, start=None):
        """(steps, what they come to) of the best settings found.

        What settings `come_to` is planned unless the problem of their freedom says that
        they are worse than the best.
        """
        rig, tried = self.rig, Tried(come_to)
        names = aims_at(self.every).names

        def unless_worse(steps):
            free = tried.first and not tried.knows(steps) and self._placed(steps)
            if free:
                aims, (_, at, _) = tried.best
                named = dict(zip(names, aims.tolist(), strict=True))
                if not may_come_before(problem_at(free), at.step, named):
                    tried.leave_out(steps)
            tried.plan(steps)

        low, high = rig.least, rig.most
        still = np.zeros(rig.count, dtype=int)
        if boxes.size(low, high, None) <= FEW:
            tried.plan(still)
            for steps in boxes.settings(low, high, None):
                unless_worse(steps)
        else:
            if set_remarks.NOT_PROVEN not in self.remarks:
                self.remarks.append(set_remarks.NOT_PROVEN)
            self._in_turn(tried.plan, aims_at, still)
            if start is not None:
                tried.plan(start)
            self._further(unless_worse, tried)
        if tried.first is None:
            raise NoFeasibleMotion(
                "no settings are allowed, not even leaving all as it is"
            )
        return tried.first, tried.best[1]

    def _in_turn(self, aims_of, aims_at, steps) -> None:
        """Settings for the free parts where they are, free parts for these settings."""
        for _ in range(TURNS):
            solved = aims_of(steps)
            if solved is None:
                return
            free, at, _ = solved[1]
            step = np.where(self.of_set(free), 0.0, at.step)
            values = self.every.moved(free, step)[0]
            searched = best_settings(
                self._lattice(aims_at(self.every.with_values(values)))
            )
            if searched is None or (searched.steps == steps).all():
                return
            steps = searched.steps

    def _further(self, try_out, tried) -> None:
        """Every adjuster, and every two, further than at the best, while that gains."""
        low, high = self.rig.least, self.rig.most
        units = np.eye(self.rig.count, dtype=int)
        pairs = [a + sign * b for a, b in combinations(units, 2) for sign in (1, -1)]
        for ways in ([far * way for far in FURTHER for way in units], pairs):
            best = None
            while (now := tried.first) != best:
                best = now
                for way in ways:
                    for sign in (1, -1):
                        try_out(np.clip(np.array(best) + sign * way, low, high))

    # what is told

    def _seen(self) -> None:
        self.steps = np.zeros(self.rig.count, dtype=int)
        slopes = self.slopes(self.every, np.zeros(6 * len(self.set_movers)))
        most = np.linalg.norm(slopes, axis=0)
        self.blind = most < UNSEEN * np.sqrt(max(1, len(slopes)))

    def slopes(self, readings, step) -> np.ndarray:
        """Of what is set alone: `step` (6 b,), or of all movers."""
        if len(step) != 6 * len(self.set_movers):
            step = np.asarray(step)[self.of_set(self.seat.freedom)]
        return super().slopes(readings, step)

    def at_rest(self) -> Solved:
        self.steps = np.zeros(self.rig.count, dtype=int)
        free = self._frozen(self.steps)
        still = np.zeros(len(free.motions))
        return Solved(free, self._move(free, still), still)

    def _drop_trifles(self) -> None:
        self._drop_settings()
        Planner._drop_trifles(self)

    def _drop_settings(self) -> None:
        """Leave as set what gains less than the resolution, least effect first."""
        ends = self._after(self.every, self.seat.move)
        bounds = seat_bounds(self.every, ends, self.options.resolution_mm)
        effect = self.slopes(self.every, self.seat.step) * self.steps * self.rig.steps
        fewer, at = self.steps, None
        for adjuster in np.argsort(np.abs(effect).max(axis=0), kind="stable"):
            if not fewer[adjuster]:
                continue
            tried = np.where(np.arange(len(fewer)) == adjuster, 0, fewer)
            solved = self._seated(tried)
            if solved is None:
                continue
            free, seat, _ = solved[1]
            after = self.every.moved(free, seat.step)[0]
            inside = (after >= bounds[0]).all() and (after <= bounds[1]).all()
            if inside and trifles.as_right((self, after), (self, ends)):
                fewer, at = tried, Solved(free, self._move(free, seat.step), seat.step)
        if at is not None:
            self._leave(fewer)
            self.seat = at


class Tried:
    """Settings that were planned, with what they `come_to`; `first` (k,) of them are
    first in the strict order: of equals the fewest adjusters, then the fewest steps."""

    def __init__(self, come_to):
        self._come_to, self._known, self.first = come_to, {}, None

    def knows(self, steps) -> bool:
        return _key(steps) in self._known

    @property
    def best(self):
        return self._known[self.first]

    def leave_out(self, steps) -> None:
        """Settings that are worse than the first ones."""
        self._known[_key(steps)] = None

    def plan(self, steps):
        """What settings come to; None where they cannot be, or were left out."""
        key = _key(steps)
        if key not in self._known:
            planned = self._known[key] = self._come_to(np.array(key))
            if planned and (
                self.first is None or _before(key, planned[0], self.first, self.best[0])
            ):
                self.first = key
        return self._known[key]


def _key(steps) -> tuple[int, ...]:
    return tuple(int(step) for step in steps)


def _before(steps, aims, others, their) -> bool:
    for mine, its in zip(aims, their, strict=True):
        if abs(mine - its) > equal(min(mine, its)):
            return bool(mine < its)
    return _effort(steps) < _effort(others)


def _effort(steps) -> tuple:
    return sum(map(bool, steps)), sum(map(abs, steps)), steps
