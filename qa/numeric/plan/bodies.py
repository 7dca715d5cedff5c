"""Several bodies and the joints between them, as one set of arrays.

Every joint lies between a part and its surround. Gap and flushness follow the relative
motion of the two: g' = g - n . (D_A - D_B) + trims - build-ups and f' = f + s . (D_A -
D_B), with the displacement D of either side at the place of the station.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.plan.adjusters import Adjuster
from qa.numeric.plan.joint_arrays import JointArrays, Measured
from qa.numeric.plan.motions import Motion, rotation_vector, turned_by
from qa.numeric.plan.readings import Readings
from qa.numeric.plan.result import Move

STILL = Move()


class AssemblyError(ValueError):
    """Bodies and joints that do not go together; `joint` is the number of the one."""

    def __init__(self, text: str, joint: int | None = None):
        self.joint = joint
        super().__init__(text)


@dataclass(frozen=True)
class Body:
    """A part: fixed, or free as the options say, or going by motions of its own, or as
    its adjusters are set."""

    name: str
    fixed: bool = False
    motions: tuple[Motion, ...] | None = None
    adjusters: tuple[Adjuster, ...] | None = None


@dataclass(frozen=True)
class Between:
    """What was measured at a joint, the number of its part, and of its surround at
    every station."""

    measured: Measured
    part: int
    surrounds: tuple[int, ...]


class AssemblyArrays(JointArrays):
    """The rows of all joints; `sides` (n, b) of the bodies that may move, `movers`."""

    def __init__(self, bodies: Sequence[Body], joints: Sequence[Between], *judged):
        super().__init__([joint.measured for joint in joints], *judged)
        self.bodies = tuple(bodies)
        self.movers = [k for k, body in enumerate(bodies) if not body.fixed]
        self.part_of = [joint.part for joint in joints for _ in joint.surrounds]
        self.surround_of = [body for joint in joints for body in joint.surrounds]
        self._refuse(joints)
        column = {body: number for number, body in enumerate(self.movers)}
        self.sides = np.zeros((len(self.stations), len(self.movers)))
        for row, ends in enumerate(zip(self.part_of, self.surround_of, strict=True)):
            for body, side in zip(ends, (1.0, -1.0), strict=True):
                if body in column:
                    self.sides[row, column[body]] = side

    def _refuse(self, joints: Sequence[Between]) -> None:
        if not self.movers:
            raise AssemblyError("every part is fixed: there is nothing to move")
        for number, joint in enumerate(joints):
            name = self.bodies[joint.part].name
            if len(joint.surrounds) != len(joint.measured.joint.stations):
                raise AssemblyError("one surround for each station is needed", number)
            if joint.part in joint.surrounds:
                raise AssemblyError(f"{name} is on both of its sides", number)
            ends = {joint.part, *joint.surrounds}
            if all(self.bodies[body].fixed for body in ends):
                names = " and ".join(self.bodies[body].name for body in sorted(ends))
                raise AssemblyError(f"{names} are both fixed", number)

    def center_of(self, mover: int) -> tuple[np.ndarray, float]:
        """The mean (3,) of the places of a body, and their root-mean-square distance
        from it, mm."""
        places = self.places[self.sides[:, mover] != 0]
        if not len(places):
            return self.center, self.rho
        center = places.mean(axis=0)
        return center, float(np.sqrt(((places - center) ** 2).sum(axis=1).mean()))

    def rows_of(self, joints: Sequence[int]) -> np.ndarray:
        """Whether each row is one of these joints (n,)."""
        return np.isin(self.joint_of, joints)

    def order(self) -> list[int]:
        """Bodies in the order in which to seat them: out from what is fixed, or from
        the one with most stations, each after one that it lies against."""
        ends = list(zip(self.part_of, self.surround_of, strict=True))
        count = [sum(body in pair for pair in ends) for body in range(len(self.bodies))]
        left = sorted(range(len(count)), key=lambda k: (-count[k], k))
        ordered = [k for k, body in enumerate(self.bodies) if body.fixed]
        waiting = deque(ordered)
        while len(ordered) < len(self.bodies):
            if not waiting:
                waiting.append(next(k for k in left if k not in ordered))
                ordered.append(waiting[0])
            here = waiting.popleft()
            beside = {sum(pair) - here for pair in ends if here in pair}
            new = [k for k in left if k in beside and k not in ordered]
            ordered += new
            waiting += new
        return ordered


@dataclass(frozen=True)
class Moves:
    """What every body does: `each` is the move of the bodies in order of `arrays`."""

    arrays: AssemblyArrays
    each: tuple[Move, ...]

    def displaced(self, readings: Readings | JointArrays) -> np.ndarray:
        """How far the part goes against its surround (m, 3) mm at every reading."""
        moved = np.zeros(readings.places.shape)
        for body, side in zip(self.arrays.movers, readings.sides.T, strict=True):
            move = self.each[body]
            moved += side[:, None] * move.displacement(readings.places)
        return moved

    def against(self, joints: Sequence[int]) -> Move:
        """The part of these joints against its surround: how far it shifts at the mean
        of their stations, and turns. As it is told of the part where only that moves.
        """
        arrays = self.arrays
        rows = np.flatnonzero(arrays.rows_of(joints))
        shift = self.displaced(arrays)[rows].mean(axis=0)
        part, surround = (
            {arrays.bodies[of[row]].name: self.each[of[row]] for row in rows}
            for of in (arrays.part_of, arrays.surround_of)
        )
        mine, others = next(iter(part.values())), list(surround.values())
        angles = mine.turn_deg, mine.tilt_x_deg, mine.tilt_y_deg
        if any(other.raw for other in others):
            own, other = (turned_by(m.motions, m.raw) for m in (mine, others[0]))
            turn = own @ other.T
            tilt_x, tilt_y, turned = np.degrees(rotation_vector(turn)).tolist()
            angles = turned, tilt_x, tilt_y
        amounts = dict.fromkeys(n for m in (mine, *others) for n, _ in m.amounts)
        components = dict(zip(("turn", "tilt_x", "tilt_y"), angles, strict=True))
        components |= dict(zip("xyz", shift.tolist(), strict=True))
        named = tuple(
            (name, components[name]) for name in amounts if name in components
        )
        return Move(*shift.tolist(), *angles, named)
