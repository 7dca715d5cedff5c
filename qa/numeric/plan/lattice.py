"""Settings of adjusters: what they do, and what none in a box of them can beat.

Readings straightened in the middle of a box of settings are wrong by as much as the
rotation inside the box can bend them (Taylor's formula; every third derivative of a
product of rotations is at most the arm): a bound for all settings in it; told with that
bend they are wrong by less (`bending`). How the boxes are searched is in `branching`;
between settings the exact rotation alone decides.
"""

from dataclasses import dataclass

import numpy as np

from qa.numeric.plan import bending, boxes
from qa.numeric.plan.adjusters import Rig
from qa.numeric.plan.bending import Bent
from qa.numeric.plan.lattice_aims import SeatAims
from qa.numeric.plan.pulling import Pull

SLACK_ROUNDING = 1e-9  # mm
MOST_ROUNDS = 40
MOST_NODES = 100_000  # of the search of one aim
ROUNDING_MM = 1e-12  # of the exact rotation
PULLED = 3  # times that angles are looked at again
MOST_ANGLE = 1.0  # radians; a box in which the part turns further is split


@dataclass(frozen=True)
class Model:
    """Readings straightened in a box: base (m,) + slopes (m, k) @ changes, wrong by at
    most `play` (m,); the same for how the part moves (base (6,) ...) and for what
    over-determined adjusters leave, which ties their steps to each other."""

    base: np.ndarray
    slopes: np.ndarray
    play: np.ndarray
    move: tuple[np.ndarray, np.ndarray, np.ndarray]
    left: tuple[np.ndarray, np.ndarray, np.ndarray]
    ties: boxes.Ties
    bent: Bent | None = None

    def near(self, steps, unit):
        """Those of settings (n, k) that a rigid part may come near enough to; `unit`
        (k,) mm a step."""
        base, slopes, room = self.left
        left = np.abs(base + (steps * unit) @ slopes.T)
        return steps[(left <= room + SLACK_ROUNDING).all(axis=1)]


class Lattice:
    """Whole steps of a rig within their ranges, for readings and aims.

    `stays` (k,) adjusters that are left alone; `about` (3,) the point whose shift
    counts as movement; `slack` mm. `sides` (m,) say how readings follow the part: 1,
    -1 where it is the surround, 0 where they do not.
    """

    most_nodes = MOST_NODES

    def __init__(
        self, rig: Rig, aims: SeatAims, about, slack: float, stays=None, sides=None
    ):
        self.rig, self.aims, self.slack = rig, aims, slack
        readings = aims.readings
        count = len(readings)
        sides = np.ones(count) if sides is None else sides
        self.values = np.r_[readings.values, np.zeros(3 + rig.count)]
        center = np.tile(np.asarray(about, dtype=float), (3, 1))
        self.places = np.vstack([readings.places, center, rig.places])
        followed = readings.directions * sides[:, None]
        self.directions = np.vstack([followed, np.eye(3), rig.directions])
        self.lines = rig.lines(self.places, self.directions)
        self.read, self.about = slice(0, count), slice(count, count + 3)
        self.own = slice(count + 3, None)
        self._alike = self._read_as_set(count)
        self.low, self.high = rig.least.copy(), rig.most.copy()
        if stays is not None:
            self.low[stays] = self.high[stays] = 0
        self.names = (*aims.names, "movement")

    def _read_as_set(self, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(readings, adjusters, signs): which readings are taken right where and along
        what an adjuster sets, so that they go just as far, the part not bound twice."""
        if self.rig.overdetermined:
            return (np.zeros(0, dtype=int),) * 3
        read, own = self.lines[:, :count, None], self.lines[:, None, self.own]
        signs = (np.abs(read - own).max(axis=0) < ROUNDING_MM) * 1
        signs -= np.abs(read + own).max(axis=0) < ROUNDING_MM
        return (*np.nonzero(signs), signs[np.nonzero(signs)])

    # what settings do, exactly

    def tried(self, steps, count=None) -> tuple[np.ndarray, np.ndarray]:
        """(aims (n, j), allowed (n,)) of settings (n, k), by the exact rotation; of the
        aims `count` at least."""
        values, movement, fits = self.moved(steps)
        aims = self.aims.least(values, values, count)
        return np.column_stack([aims, movement]), fits & self.aims.allowed(values)

    def moved(self, steps) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(readings (n, m) mm, movement squared (n,), whether a rigid part can go there
        (n,)) of settings."""
        moved, movements, fits = self._moved(steps)
        values, shift = moved[:, self.read], moved[:, self.about]
        turns = self.rig.step(movements)[:, :3]
        movement = (shift**2).sum(axis=1) + (turns**2).sum(axis=1)
        return values, movement, fits

    def readings(self, steps) -> tuple[np.ndarray, np.ndarray]:
        """(readings (n, m) mm, whether a rigid part can go there (n,)) of settings."""
        moved, _, fits = self._moved(steps)
        return moved[:, self.read], fits

    def _moved(self, steps):
        movements, left, features = self.rig.solved(steps * self.rig.steps)
        fits = (np.abs(left) <= self.slack + SLACK_ROUNDING).all(axis=1)
        if not fits.all():
            features[~fits] = 0.0
        return self.values + features @ self.lines, movements, fits

    # what no setting in a box can beat

    def model(self, low, high) -> Model | None:
        """The readings straightened in the middle of a box of steps; None where it is
        too large for that to say anything."""
        rig = self.rig
        middle = (low + high) / 2 * rig.steps
        half = (high - low) / 2 * rig.steps
        at, left = rig.solve(middle[None])
        if not np.isfinite(left).all():
            return None
        step = rig.step(at)[0]
        rates = rig.rates(self.places, self.directions, step) @ rig.basis
        inverse = np.linalg.pinv(rates[self.own])
        turn, turns = rig.basis[:3] @ inverse, rig.basis[:3] / rig.rho
        bends, tilting = rig.bends(at[0], self.lines), rig.tilting(at[0])
        own, lines = bends[:, :, self.own], self.lines[:, self.own]
        pull = Pull(self._slack, rates[self.own], turns, own, lines, tilting)
        angles = self._angles(pull, np.abs(turn) / rig.rho, half)
        if angles is None:
            return None
        arms = bending.arms_of(self.lines, tilting)
        slopes, third = rates @ inverse, bending.third(arms, angles) + ROUNDING_MM
        base = self.values + (rig.features(at) @ self.lines)[0] - slopes @ middle
        # What a turn bends, less what the adjusters then make up for.
        curves, wrong = bends - own @ slopes.T, third + np.abs(slopes) @ third[self.own]
        mean, spread = bending.halfway(curves, angles)
        away, most = rates @ pull.back, pull.most(angles)
        straight = base + mean, slopes, spread + wrong + np.abs(away) @ most
        turned_mean, spread = bending.halfway(-own @ turn.T, angles)
        spread += (
            np.abs(turn) @ third[self.own] + np.abs(rig.basis[:3] @ pull.back) @ most
        )
        turned = step[:3] - turn @ middle + turned_mean, turn, spread
        astray = (np.abs(turned_mean) + spread) / rig.rho
        wrong += bending.crossed(curves, angles, astray)
        wrong += np.abs(away) @ pull.off(angles, astray, third[self.own])
        pulled = np.einsum("mi,ijd->jdm", away, pull.along)
        rows, which, signs = self._alike
        slopes[rows], curves[:, :, rows] = 0.0, 0.0
        slopes[rows, which] = signs
        for constant in (base, straight[0]):
            constant[rows] = self.values[rows]
        for play in (straight[2], wrong):
            play[rows] = ROUNDING_MM
        by = (turn / rig.rho, middle), (pull.spare, middle - left[0], pulled)
        return self._model(low, high, straight, turned, (base, curves, wrong, *by))

    def _model(self, low, high, straight, turned, bent) -> Model:
        """Of all that is followed, what readings, the middle and adjusters do."""
        read, about, own = (
            [part[rows] for part in straight]
            for rows in (self.read, self.about, self.own)
        )
        move = tuple(np.concatenate(pair) for pair in zip(about, turned, strict=True))
        rest = np.eye(self.rig.count) - own[1]
        left = -own[0], rest, self._slack + own[2]
        ties = boxes.ties(low, high, left[0], rest * self.rig.steps, left[2])
        base, curves, play, turn, (spare, nothing, pulled) = bent
        pulled = spare, nothing, pulled[:, :, self.read]
        bending = (
            base[self.read],
            turn,
            curves[:, :, self.read],
            pulled,
            play[self.read],
        )
        return Model(*read, move, left, ties, Bent(*bending))

    @property
    def _slack(self) -> float:
        return self.slack if self.rig.overdetermined else 0.0

    def _angles(self, pull: Pull, turn, half) -> np.ndarray | None:
        """How far (3,) each angle can go where adjusters go by at most `half` (k,) mm.
        None if that has no end.

        What is left at them turns the part no further than its pull: less, the less far
        the angles go at most.
        """
        angles = self._angles_of(pull, turn, turn @ (half + pull.slack))
        for _ in range(PULLED if pull.slack and angles is not None else 0):
            pulled = np.abs(pull.turns @ pull.back) @ pull.most(angles)
            nearer = self._angles_of(pull, turn, turn @ half + pulled)
            if nearer is None:
                break
            angles = np.minimum(angles, nearer)
        return angles

    def _angles_of(self, pull: Pull, turn, reach) -> np.ndarray | None:
        """The same where slopes would take them by at most `reach` (3,), and are wrong
        by what those angles bend.

        The way there from the middle is a continuous one, and none leaves a set of
        angles that cannot take it further than itself.
        """
        angles = reach
        for _ in range(MOST_ROUNDS):
            more = reach + turn @ bending.most(pull.sizes, pull.arms, angles)
            if (more <= angles * (1 + 1e-9)).all():
                return angles
            angles = more * (1 + 1e-6)
            if angles.sum() > MOST_ANGLE:
                return None
        return None
