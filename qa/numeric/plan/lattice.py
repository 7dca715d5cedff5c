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

SLACK_ROUNDING = 1e-9  # mm
MOST_ROUNDS = 40
MOST_NODES = 100_000  # of the search of one aim
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
        arms = np.linalg.norm(self.places - rig.center, axis=1)
        arms[:count] *= np.abs(sides)
        self.arms = arms, arms * np.linalg.norm(self.directions[:, :2], axis=1)
        own = slice(count + 3, None)
        self.own_arms = self.arms[0][own], self.arms[1][own]
        self.read, self.about = slice(0, count), slice(count, count + 3)
        self.own = slice(count + 3, None)
        self.low, self.high = rig.least.copy(), rig.most.copy()
        if stays is not None:
            self.low[stays] = self.high[stays] = 0
        self.names = (*aims.names, "movement")

    # what settings do, exactly

    def tried(self, steps, count=None) -> tuple[np.ndarray, np.ndarray]:
        """(aims (n, j), allowed (n,)) of settings (n, k), by the exact rotation; of the
        aims `count` at least."""
        values, movement, fits = self.moved(steps)
        found = self.aims.least(values, values, count)
        return np.column_stack([found, movement]), fits & self.aims.allowed(values)

    def moved(self, steps) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(readings (n, m) mm, movement squared (n,), whether a rigid part can go there
        (n,)) of settings."""
        found, movements, fits = self._moved(steps)
        values, shift = found[:, self.read], found[:, self.about]
        turns = self.rig.step(movements)[:, :3]
        movement = (shift**2).sum(axis=1) + (turns**2).sum(axis=1)
        return values, movement, fits

    def readings(self, steps) -> tuple[np.ndarray, np.ndarray]:
        """(readings (n, m) mm, whether a rigid part can go there (n,)) of settings."""
        found, _, fits = self._moved(steps)
        return found[:, self.read], fits

    def _moved(self, steps):
        movements, left = self.rig.solve(steps * self.rig.steps)
        fits = (np.abs(left) <= self.slack + SLACK_ROUNDING).all(axis=1)
        features = self.rig.features(np.where(fits[:, None], movements, 0.0))
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
        turn = rig.basis[:3] @ inverse
        slack = self.slack if rig.overdetermined else 0.0
        bends = rig.bends(at[0], self.lines)
        own = bends[:, :, self.own]
        reach = half + slack, np.abs(turn) / rig.rho
        angles = self._angles(np.abs(own), *reach)
        if angles is None:
            return None
        back = self._back(rates[self.own])
        pull = np.abs(back) @ self._pulling(own, angles) * slack
        slopes, third = rates @ inverse, bending.third(self.arms, angles)
        base = self.values + (rig.features(at) @ self.lines)[0] - slopes @ middle
        # What a turn bends, less what the adjusters then make up for.
        curves, wrong = bends - own @ slopes.T, third + np.abs(slopes) @ third[self.own]
        mean, spread = bending.halfway(curves, angles)
        straight = base + mean, slopes, spread + wrong + np.abs(rates) @ pull
        turned_mean, spread = bending.halfway(-own @ turn.T, angles)
        spread += np.abs(turn) @ third[self.own] + np.abs(rig.basis[:3]) @ pull
        turned = step[:3] - turn @ middle + turned_mean, turn, spread
        astray = (np.abs(turned_mean) + spread) / rig.rho
        off = np.abs(mean)[self.own] + straight[2][self.own]
        wrong += bending.crossed(curves, angles, astray)
        wrong += np.abs(rates @ back) @ self._pulling_off(own, angles, astray, off)
        spare = np.linalg.svd(rates[self.own])[0][:, rig.basis.shape[1] :].T
        pulled = np.einsum("mi,ijk,dk->jdm", rates @ back, own, spare)
        by = (turn / rig.rho, middle), (spare, middle - left[0], pulled)
        return self._model(low, high, straight, turned, (base, curves, wrong, *by))

    def _model(self, low, high, straight, turned, bent) -> Model:
        """Of all that is followed, what readings, the middle and adjusters do."""
        slack = self.slack if self.rig.overdetermined else 0.0
        read, about, own = (
            [part[rows] for part in straight]
            for rows in (self.read, self.about, self.own)
        )
        move = tuple(np.concatenate(pair) for pair in zip(about, turned, strict=True))
        rest = np.eye(self.rig.count) - own[1]
        left = -own[0], rest, slack + own[2]
        ties = boxes.ties(low, high, left[0], rest * self.rig.steps, left[2])
        base, curves, play, turn, (spare, nothing, pulled) = bent
        pulled = spare, nothing, pulled[:, :, self.read]
        told = base[self.read], turn, curves[:, :, self.read], pulled, play[self.read]
        return Model(*read, move, left, ties, Bent(*told))

    def _angles(self, bends, half, turn) -> np.ndarray | None:
        """How far (3,) each angle can go where adjusters go by at most `half` (k,) mm
        and their slopes are wrong by what those angles bend. None if that has no end.

        The way there from the middle is a continuous one, and none leaves a set of
        angles that cannot take it further than itself.
        """
        angles = turn @ half
        for _ in range(MOST_ROUNDS):
            more = turn @ (half + bending.most(bends, self.own_arms, angles))
            if (more <= angles * (1 + 1e-9)).all():
                return angles
            angles = more * (1 + 1e-6)
            if angles.sum() > MOST_ANGLE:
                return None
        return None

    def _back(self, own) -> np.ndarray:
        """How least squares go elsewhere (r, 3) for what pulls at the three angles."""
        turns = self.rig.basis[:3] / self.rig.rho
        return np.linalg.pinv(own.T @ own) @ turns.T

    def _pulling(self, bends, angles) -> np.ndarray:
        """How much (3,) each mm that is left at the adjusters can pull at the angles
        at most, where their slopes are no more those of the middle."""
        first = np.einsum("j,ijk->ik", angles, np.abs(bends))
        return (first + self.own_arms[0] * float(angles.sum()) ** 2 / 2).sum(axis=1)

    def _pulling_off(self, bends, angles, astray, off) -> np.ndarray:
        """By how much (3,) the pull is told wrong at most where each angle is, by up to
        `astray`, and what is left at each adjuster, by up to `off` (k,) mm."""
        if not self.rig.overdetermined:
            return np.zeros(3)
        size = np.abs(bends)
        found = np.einsum("j,ijk,k->i", angles, size, off)
        found += np.einsum("j,ijk->i", astray, size) * self.slack
        far = float(angles.sum()) ** 2 / 2 * self.slack
        return found + self.own_arms[0].sum() * far
