"""Several parts at once: each with its own freedom, or fixed, planned in one go.

What plans one part plans all of them: readings follow the relative motion of their two
sides, trims come off either, the aims and their order are those of one part. Where
nothing is fixed, what moves all alike is held. One part that moves is planned exactly
as by itself.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.plan.adjusters import Setting
from qa.numeric.plan.bodies import (
    STILL,
    AssemblyArrays,
    Moves,
)
from qa.numeric.plan.free_planner import Planner
from qa.numeric.plan.going import motions_about, move_of
from qa.numeric.plan.joint_arrays import JointArrays
from qa.numeric.plan.known import Known
from qa.numeric.plan.motions import Freedom, Motion, NothingSeen, freedom
from qa.numeric.plan.readings import Readings, together
from qa.numeric.plan.result import (
    CANNOT,
    CUT,
    FITS,
    Move,
    Plan,
    Reason,
    TrimPlan,
)


@dataclass(frozen=True)
class PartPlan:
    """What to do with a part as a whole. `held` as of a Plan, of its own motions;
    `settings` where it is set by adjusters, `known` how well all that is known."""

    name: str
    fixed: bool
    move: Move
    held: tuple
    settings: tuple[Setting, ...] | None = None
    known: Known | None = None


@dataclass(frozen=True)
class AssemblyPlan:
    """The answer. `whole` is of all joints together, `joints` of each: their moves are
    those of the part against its surround. `order` are the parts in the order in which
    to seat them."""

    whole: Plan
    parts: tuple[PartPlan, ...]
    joints: tuple[Plan, ...]
    order: tuple[int, ...]
    # Of each part what is asked at the joints that it is the part of, and which these
    # are; the move is its own. None of a part that is the part of none.
    own: tuple[tuple[tuple[int, ...], Plan] | None, ...]

    @property
    def exit_code(self) -> int:
        return self.whole.exit_code


class AssemblyPlanner(Planner):
    """A Planner whose moves are those of all bodies."""

    arrays: AssemblyArrays

    def _told(self) -> AssemblyPlan:
        whole, arrays = super()._told(), self.arrays
        free, moves = self.seat.freedom, whole.move
        parts = [
            PartPlan(
                body.name,
                body.fixed,
                move,
                self._held(free, number),
                self.settings_of(whole, number),
            )
            for number, (body, move) in enumerate(
                zip(arrays.bodies, moves.each, strict=True)
            )
        ]
        joints = [
            self._share(whole, [number], lambda made, at=number: made.against([at]))
            for number in range(len(arrays.parts))
        ]
        own = [self._own(whole, number) for number in range(len(parts))]
        return AssemblyPlan(
            whole, tuple(parts), tuple(joints), tuple(arrays.order()), tuple(own)
        )

    def _freedom(self, pulls: Readings) -> Freedom:
        arrays, every = self.arrays, together(self.gaps, self.flushes)
        motions, bodies, rhos, self.motions_of = [], [], [], []
        for number, mover in enumerate(arrays.movers):
            here = pulls.take(pulls.sides[:, number] != 0)
            center, rho = arrays.center_of(number)
            own = arrays.bodies[mover].motions
            if own is None:
                gap = every.gap[every.sides[:, number] != 0]
                measured = bool(gap.any()), bool((~gap).any())
                own = motions_about(center, rho, here, measured, self.options)
            self.motions_of.append(tuple(own))
            motions += self._named(own, mover)
            bodies += [number] * len(own)
            rhos += [rho] * len(own)
        if not motions:
            raise NothingSeen("no reading can see any motion that a part may make")
        where = pulls.places, pulls.directions, pulls.sides
        return freedom(motions, np.array(rhos), *where, bodies)

    def _named(self, motions, mover: int) -> list[Motion]:
        """Motions told apart by whose they are, where several bodies move."""
        if len(self.arrays.movers) == 1:
            return list(motions)
        name = self.arrays.bodies[mover].name
        return [replace(motion, part=name) for motion in motions]

    def _move(self, free: Freedom, step) -> Moves:
        arrays, raw = self.arrays, free.amounts(step)
        each = [STILL] * len(arrays.bodies)
        for number, mover in enumerate(arrays.movers):
            own = free.own(number)
            if len(own):
                motions = self.motions_of[number]
                center = arrays.center_of(number)[0]
                unbound = arrays.bodies[mover].motions is None
                each[mover] = move_of(motions, raw[own], center, free=unbound)
        return Moves(arrays, tuple(each))

    def gone(self, move: Moves) -> tuple[Freedom, np.ndarray]:
        free = self._freedom(self._pulls())
        raw = [move.each[mover].raw for mover in self.arrays.movers]
        return free, np.concatenate(raw) * free.unit

    def displaced(self, move: Moves, readings: Readings | JointArrays) -> np.ndarray:
        return move.displaced(readings)

    def settings_of(self, whole: Plan, body: int) -> tuple[Setting, ...] | None:
        """What to set at a body, None where it moves otherwise."""
        return None

    def _held(self, free: Freedom, body: int) -> tuple:
        """What is held of the motions of one body alone."""
        if body not in self.arrays.movers:
            return ()
        own = free.bodies == self.arrays.movers.index(body)
        return tuple(
            name
            for name, row in zip(free.held, free.locked, strict=True)
            if not row[~own].any()
        )

    def _own(self, whole: Plan, body: int) -> tuple[tuple[int, ...], Plan] | None:
        part_of, joint_of = self.arrays.part_of, self.arrays.joint_of
        joints = {j for j, part in zip(joint_of, part_of, strict=True) if part == body}
        if not joints:
            return None
        joints = sorted(joints)
        plan = self._share(whole, joints, lambda made: made.each[body])
        settings = self.settings_of(whole, body)
        held = self._held(self.seat.freedom, body)
        only = None if settings is None else plan.set_only
        return tuple(joints), replace(plan, settings=settings, held=held, set_only=only)

    def _share(self, whole: Plan, joints: list[int], move_in) -> Plan:
        """What the plan says of some of its joints; `move_in(moves)` is their move."""
        planner, here = copy(self), self.arrays.rows_of(joints)
        planner.gaps = self.gaps.take(here[self.gaps.rows])
        planner.flushes = self.flushes.take(here[self.flushes.rows])
        planner.every = self.every.take(here[self.every.rows])
        stations = [station for station in whole.stations if station.joint in joints]
        gapped = [station for station in stations if station.gap_now is not None]
        after = np.array([station.gap_after for station in gapped])
        level = np.array(
            [
                station.flush_after
                for station in stations
                if station.flush_now is not None
            ]
        )
        every = planner._after(planner.every, whole.move)
        every[: len(after)] = after
        trim = planner._share_of_trim(whole, gapped, move_in, after)
        outcome = CUT if trim and trim.needed else FITS
        if not planner.every.all_right(every):
            outcome = CANNOT
        limited = (
            kind.limited[here]
            for kind in (self.arrays.gap_scales, self.arrays.flush_scales)
        )
        return replace(
            whole,
            outcome=outcome,
            move=move_in(whole.move),
            seat=planner._fit_in(planner.gaps, move_in),
            level=planner._fit_in(planner.flushes, move_in),
            trim=trim,
            probability=planner.probability(after, level),
            stations=tuple(replace(s, joint=joints.index(s.joint)) for s in stations),
            notes=tuple(_notes_at(whole.notes, joints)),
            limited=sum(int(kind.sum()) for kind in limited),
            measured=int(planner.every.scales.limited.sum()),
            set_only=whole.set_only and planner.set_only(np.flatnonzero(here).tolist()),
        )

    def _fit_in(self, readings: Readings, move_in):
        fit = self._fit(readings)
        return fit and replace(fit, move=move_in(fit.move))

    def _share_of_trim(self, whole: Plan, gapped, move_in, after) -> TrimPlan | None:
        if whole.trim is None or not self.gaps.scales.limited.any():
            return None
        depths = [(each.trim, each.build_up, abs(each.unresolved)) for each in gapped]
        possible = self.gaps.all_right(after)
        needed = self.cut is not None and (
            not possible or any(depth[0] > 0 or depth[1] > 0 for depth in depths)
        )
        move = move_in(whole.trim.move)
        if len(self.arrays.parts) == 1:
            return replace(whole.trim, move=move)
        areas = self.gaps.weights @ np.array(depths).reshape(-1, 3)
        return TrimPlan(move, needed, possible, *areas.tolist())


def _notes_at(notes: Sequence[Reason], joints: list[int]):
    """The notes that say something of these joints, numbered by their place."""
    for note in notes:
        values = dict(note.values)
        if "station" in values:
            joint, label = values["station"]
            if joint not in joints:
                continue
            values["station"] = joints.index(joint), label
        if "stations" in values:
            places = [place for place in values["stations"] if place[0] in joints]
            if not places:
                continue
            values["stations"] = tuple((joints.index(j), label) for j, label in places)
        yield Reason(note.code, values)
