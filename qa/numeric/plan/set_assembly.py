"""Several parts, each set by its adjusters: whole steps of all of them at once.

Readings follow the relative motion of their two sides, so what each rig does adds up,
exactly and in every bound. The search is that of one part (`branching`) over all
adjusters together; with more than a few it is cut short and says that the best it found
is not proven.
"""

from dataclasses import replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from qa.numeric.plan import boxes, set_remarks
from qa.numeric.plan.adjusters import MOST_ADJUSTERS, Adjuster, Rig
from qa.numeric.plan.assembly_planner import AssemblyPlanner
from qa.numeric.plan.bodies import AssemblyError
from qa.numeric.plan.free_planner import Solved
from qa.numeric.plan.lattice import Lattice, Model
from qa.numeric.plan.lattice_aims import SeatAims
from qa.numeric.plan.motions import UNSEEN, Freedom, of_part
from qa.numeric.plan.result import Plan
from qa.numeric.plan.set_planner import SetPlanner

MOST_NODES = 200  # of the search of one aim


class Rigs:
    """The rigs of several parts as one: changes (k,) of all adjusters, one part after
    the other."""

    def __init__(self, rigs: list[Rig]):
        self.rigs = rigs
        ends = np.cumsum([0, *(rig.count for rig in rigs)])
        self.own = [slice(*pair) for pair in pairwise(ends.tolist())]
        self.count = int(ends[-1])
        self.adjusters = [adjuster for rig in rigs for adjuster in rig.adjusters]
        self.steps, self.least, self.most, self.unit = (
            np.concatenate([getattr(rig, name) for rig in rigs])
            for name in ("steps", "least", "most", "unit")
        )
        self.motions = tuple(motion for rig in rigs for motion in rig.motions)
        self.bodies = np.repeat(np.arange(len(rigs)), 6)
        self.overdetermined = any(rig.overdetermined for rig in rigs)

    @property
    def unset(self) -> np.ndarray:
        rows = [
            np.pad(rig.unset, ((0, 0), (6 * n, 6 * (len(self.rigs) - n - 1))))
            for n, rig in enumerate(self.rigs)
        ]
        return np.vstack(rows)

    def own_rates(self, step) -> np.ndarray:
        """mm of each adjuster per mm at the rim (k, 6 b), at rim movements."""
        rates = np.zeros((self.count, len(self.motions)))
        for n, (rig, own) in enumerate(zip(self.rigs, self.own, strict=True)):
            here = slice(6 * n, 6 * n + 6)
            rates[own, here] = rig.own_rates(step[here])
        return rates

    def step_of(self, move) -> np.ndarray:
        """Rim movements (6 b,) of a move as it is told."""
        raw = [move.each[mover].raw for mover in move.arrays.movers]
        return np.concatenate(raw) * self.unit

    def step(self, changes) -> np.ndarray:
        """Rim movements (6 b,) of all motions that changes (k,) mm make."""
        steps = []
        for rig, own in zip(self.rigs, self.own, strict=True):
            movements, _ = rig.solve(changes[None, own])
            steps.append(rig.step(movements)[0])
        return np.concatenate(steps)


class Lattices:
    """The lattices of several rigs as one, for a search: see Lattice."""

    most_nodes = MOST_NODES

    def __init__(self, rigs: Rigs, aims: SeatAims, each: list[Lattice]):
        self.rig, self.aims, self.each = rigs, aims, each
        self.low = np.concatenate([lattice.low for lattice in each])
        self.high = np.concatenate([lattice.high for lattice in each])
        self.names = (*aims.names, "movement")

    def tried(self, steps, count=None):
        values, movement, fits = self.moved(steps)
        aims = self.aims.least(values, values, count)
        allowed = fits & self.aims.allowed(values)
        return np.column_stack([aims, movement]), allowed

    def readings(self, steps):
        values, _, fits = self.moved(steps)
        return values, fits

    def moved(self, steps):
        start = self.aims.readings.values
        values, movement = np.tile(start, (len(steps), 1)), np.zeros(len(steps))
        fits = np.ones(len(steps), dtype=bool)
        for assembly, own in zip(self.each, self.rig.own, strict=True):
            ends, moved, fit = assembly.moved(steps[:, own])
            values += ends - start
            movement += moved
            fits &= fit
        return values, movement, fits

    def model(self, low, high) -> Model | None:
        parts = [
            assembly.model(low[own], high[own])
            for assembly, own in zip(self.each, self.rig.own, strict=True)
        ]
        if None in parts:
            return None
        start = self.aims.readings.values
        bound = [
            part
            for part, rig in zip(parts, self.rig.rigs, strict=True)
            if rig.overdetermined
        ]
        base, shares, room = left = self._stacked(
            bound, [part.left for part in bound], parts
        )
        return Model(
            start + sum(part.base - start for part in parts),
            np.hstack([part.slopes for part in parts]),
            sum(part.play for part in parts),
            self._stacked(parts, [part.move for part in parts]),
            left,
            boxes.ties(low, high, base, shares * self.rig.steps, room),
        )

    def _stacked(self, some, stacks, parts=None):
        """(base, slopes, room) of several parts, each of its own adjusters alone."""
        parts = parts or some
        if not some:
            nothing = np.zeros(0)
            return nothing, np.zeros((0, self.rig.count)), nothing
        slopes = []
        for part, (_base, own, _room) in zip(some, stacks, strict=True):
            at = self.rig.own[[part is other for other in parts].index(True)]
            rows = np.zeros((len(own), self.rig.count))
            rows[:, at] = own
            slopes.append(rows)
        base, room = (np.concatenate([stack[n] for stack in stacks]) for n in (0, 2))
        return base, np.vstack(slopes), room


class SetAssemblyPlanner(AssemblyPlanner, SetPlanner):
    """An AssemblyPlanner whose parts move as their adjusters are set."""

    @cached_property
    def set_movers(self) -> list[int]:
        """The movers that are set, by their number among the movers: all of them."""
        return list(range(len(self.arrays.movers)))

    @cached_property
    def rig(self) -> Rigs:
        arrays = self.arrays
        own = [arrays.bodies[mover].adjusters for mover in arrays.movers]
        at_most(own)
        own = [self._named_settings(n, adjusters) for n, adjusters in enumerate(own)]
        return Rigs(
            [Rig(adjusters, arrays.center_of(n)[1]) for n, adjusters in enumerate(own)]
        )

    def _solve_seat(self) -> Solved:
        rigs = self.rig.rigs
        self.motions_of = [rig.motions for rig in rigs]
        slopes = self.slopes(self.every, np.zeros(len(self.rig.motions)))
        most = np.linalg.norm(slopes, axis=0)
        self.blind = most < UNSEEN * np.sqrt(max(1, len(slopes)))
        self._remark(rigs)
        self.steps = self._best(SeatAims(self.every, self.anywhere)).steps
        return self._at(self.steps)

    def _remark(self, rigs: list[Rig]) -> None:
        """What adjusters leave open, part by part; names say whose they are."""
        held, self.held_of = [], []
        for n, rig, own in zip(self.set_movers, rigs, self.rig.own, strict=True):
            here = self.every.take(self.every.sides[:, n] != 0)
            still, seen = set_remarks.still(rig, here)
            self.held_of.append(still)
            held += [of_part(code, self._whose(n)) for code in still]
            self.remarks += set_remarks.about(rig, self.blind[own], seen, self.options)
        self.held = tuple(held)

    def _whose(self, n: int) -> str:
        """The part that goes before names, "" where only one moves."""
        movers = self.arrays.movers
        return self.arrays.bodies[movers[n]].name if len(movers) > 1 else ""

    def _named_settings(self, n: int, adjusters) -> list[Adjuster]:
        whose = self._whose(n)
        return [replace(own, name=of_part(own.name, whose)) for own in adjusters]

    def _lattice(self, aims: SeatAims) -> Lattices:
        each = [
            Lattice(
                rig,
                aims,
                self.arrays.center_of(n)[0],
                self.options.slack_mm,
                self.blind[own],
                sides=aims.readings.sides[:, n],
            )
            for n, rig, own in zip(
                self.set_movers, self.rig.rigs, self.rig.own, strict=True
            )
        ]
        return Lattices(self.rig, aims, each)

    def _at(self, steps) -> Solved:
        step = self.rig.step(steps * self.rig.steps)
        frozen = replace(self.anywhere, low=step, high=step)
        return Solved(frozen, self._move(frozen, step), step)

    def slopes(self, readings, step) -> np.ndarray:
        slopes = []
        for k, (n, rig) in enumerate(zip(self.set_movers, self.rig.rigs, strict=True)):
            here = step[6 * k : 6 * k + 6]
            own = rig.own_rates(here) @ rig.basis
            seen = rig.rates(readings.places, readings.directions, here) @ rig.basis
            slopes.append(readings.sides[:, n, None] * (seen @ np.linalg.pinv(own)))
        return np.hstack(slopes)

    def _held(self, _free: Freedom, body: int) -> tuple:
        place = self.set_place(body)
        if place is None:
            return super()._held(_free, body)
        return self.held_of[place]

    def set_place(self, body: int) -> int | None:
        """The number of a body among those that are set, None where it is not."""
        movers = self.arrays.movers
        if body not in movers or movers.index(body) not in self.set_movers:
            return None
        return self.set_movers.index(movers.index(body))

    def settings_of(self, whole: Plan, body: int):
        place = self.set_place(body)
        if place is None:
            return None
        here = whole.settings[self.rig.own[place]]
        own = self.arrays.bodies[body].adjusters
        return tuple(
            replace(setting, adjuster=adjuster)
            for setting, adjuster in zip(here, own, strict=True)
        )


def at_most(own) -> None:
    """Refuse more adjusters of all parts than are searched together."""
    count = sum(map(len, own))
    if count > MOST_ADJUSTERS:
        raise AssemblyError(f"{count} adjusters in all; at most {MOST_ADJUSTERS}")
