"""What holds a part can be set: where the part goes when its adjusters are changed.

Adjuster k acts at a place q along a unit direction u, in whole steps within a range.
Its change is the displacement of the part at its place along its direction, u . D(q),
by the exact rotation: that is the definition, not a reading of a bolt.

Motion is that of a free part about the mean of the places where it is held: tilt_x,
then tilt_y, then the turn, then the shifts. Where the adjusters under-determine the
part, the places where it is held stay still as far as they can: a hinge that cannot be
set in a direction holds it there. Where they over-determine it, it goes where the
squares of what is left at them are least, and every one of them must come within a
slack of its whole step.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from qa.numeric.plan import bending
from qa.numeric.plan.motions import (
    UNSEEN,
    cross_matrix,
    displace,
    free_motions,
)
from qa.numeric.verdict.acceptance import nearest_nm
from shop.numeric.finite import finite
from shop.numeric.units import to_mm

MOST_ADJUSTERS = 12
MOST_STEPS = 10_000  # either way
FURTHEST_TURN = math.pi / 4
SETTLED = 1e-12  # mm at the rim that another round of Newton's way would go
LOST = 1e-9  # mm: where it would still go further than this
MOST_ROUNDS = 40
HELD = 1e-6  # of the movement at the rim counts where places leave a motion open


class AdjusterError(ValueError):
    """An adjuster that cannot be; `field` is what is wrong with it."""

    def __init__(self, field: str, text: str):
        self.field = field
        super().__init__(text)


@dataclass(frozen=True)
class Adjuster:
    """One direction in which one place of the part can be set; mm.

    `direction` is made unit length. `now + change` must stay within [low, high], and
    changes are whole multiples of `step`. `set_u` is the standard uncertainty with
    which a change comes out, None where it is not known (then it adds nothing).
    """

    name: str
    place: tuple[float, float, float]
    direction: tuple[float, float, float]
    low: float
    high: float
    step: float
    now: float = 0.0
    set_u: float | None = None

    def __post_init__(self):
        for field in fields(self)[1:]:
            value = getattr(self, field.name)
            try:
                finite(**{field.name: value})
            except ValueError as why:
                raise AdjusterError(field.name, str(why)) from why
        size = math.hypot(*self.direction)
        if size < 1e-9:
            raise AdjusterError("direction", "the direction has no length")
        unit = tuple(v / size for v in self.direction)
        object.__setattr__(self, "direction", unit)
        if nearest_nm(self.step) <= 0:
            raise AdjusterError("step", "the step must be more than 0")
        if self.low > self.high:
            text = f"the least {self.low:g} mm is above the greatest {self.high:g} mm"
            raise AdjusterError("low", text)
        if not self.low <= self.now <= self.high:
            text = (
                f"set to {self.now:g} mm now, which is not within "
                f"{self.low:g} to {self.high:g} mm"
            )
            raise AdjusterError("now", text)
        if self.set_u is not None and self.set_u < 0:
            raise AdjusterError("set_u", "the setting uncertainty is below 0")
        if max(map(abs, self.reach)) > MOST_STEPS:
            text = f"more than {MOST_STEPS} steps from one end to the other"
            raise AdjusterError("step", text)

    @property
    def reach(self) -> tuple[int, int]:
        """The least and greatest whole number of steps from where it is set now."""
        low, high, step, now = map(
            nearest_nm, (self.low, self.high, self.step, self.now)
        )
        return -((now - low) // step), (high - now) // step

    def change(self, steps: int) -> float:
        """mm for a number of steps: whole nanometers."""
        return to_mm(steps * nearest_nm(self.step))


@dataclass(frozen=True)
class Setting:
    """What to do with one adjuster: whole steps, in mm, and what it is set to then."""

    adjuster: Adjuster
    steps: int

    @property
    def name(self) -> str:
        return self.adjuster.name

    @property
    def change(self) -> float:
        return self.adjuster.change(self.steps)

    @property
    def to(self) -> float:
        """mm on its own scale."""
        return self.adjuster.now + self.change


class Rig:
    """Adjusters that hold one part, and the exact motion that a set of changes makes.

    `rho` mm is the rim. Movements z (r,) are in mm at the rim along the r directions
    that the adjusters determine; the columns of `basis` (6, r) are those directions in
    the order of `motions`, the rows of `unset` (6 - r, 6) the others.
    """

    def __init__(self, adjusters: Sequence[Adjuster], rho: float):
        if not adjusters:
            raise AdjusterError("name", "there are no adjusters")
        if len(adjusters) > MOST_ADJUSTERS:
            text = f"{len(adjusters)} adjusters; at most {MOST_ADJUSTERS}"
            raise AdjusterError("name", text)
        finite(rho=rho)
        self.adjusters, self.rho = tuple(adjusters), float(rho)
        self.places = np.array([adjuster.place for adjuster in adjusters], dtype=float)
        self.center = np.unique(self.places, axis=0).mean(axis=0)
        self.directions = np.array([adjuster.direction for adjuster in adjusters])
        self.steps = np.array([adjuster.change(1) for adjuster in adjusters])
        self.least, self.most = np.array([adjuster.reach for adjuster in adjusters]).T
        furthest = 1e9
        self.motions = tuple(
            free_motions(self.center, furthest, FURTHEST_TURN, furthest, FURTHEST_TURN)
        )
        self.unit = np.array([rho, rho, rho, 1.0, 1.0, 1.0])
        self.bodies = np.zeros(6, dtype=int)
        self.basis, self.unset = self._ways()
        self.own = self.lines(self.places, self.directions)
        self.arms = self._arms(self.places)

    def _ways(self) -> tuple[np.ndarray, np.ndarray]:
        """(basis, unset): how the part goes when it is set, and how it never does.

        Of all motions that make a change the one that moves the places where the part
        is held the least: a hinge that cannot be set in a direction holds it there.
        Where those places leave it open, the least at the rim.
        """
        rates = self.rates(self.places, self.directions, np.zeros(6))
        _, sizes, axes = np.linalg.svd(rates, full_matrices=True)
        sizes = np.r_[sizes, np.zeros(6 - len(sizes))]
        seen = axes[sizes >= UNSEEN * math.sqrt(self.count)]
        places = np.unique(self.places, axis=0)
        where = np.repeat(places, 3, axis=0), np.tile(np.eye(3), (len(places), 1))
        moved = self.rates(*where, np.zeros(6))
        metric = moved.T @ moved / len(places) + HELD * np.eye(6)
        ways = np.linalg.solve(metric, seen.T)
        every, _ = np.linalg.qr(np.hstack([ways, np.eye(6)]))
        rank = len(seen)
        return every[:, :rank], every[:, rank:6].T

    @property
    def count(self) -> int:
        return len(self.adjusters)

    @property
    def overdetermined(self) -> bool:
        """Whether not every combination of settings can be made by a rigid part."""
        return self.count > self.basis.shape[1]

    def rates(self, places, directions, step) -> np.ndarray:
        """Rates (m, 6) of places (m, 3) along directions (m, 3) at step (6,), mm."""
        _, rates = displace(places, self.motions, np.asarray(step) / self.unit)
        return np.einsum("kij,ij->ik", rates, directions) / self.unit

    def own_rates(self, step) -> np.ndarray:
        """Rates (k, 6) of the adjusters themselves at step (6,), mm."""
        return self.rates(self.places, self.directions, step)

    def step_of(self, move) -> np.ndarray:
        """Rim movements (6,) of a move as it is told."""
        return np.array(move.raw) * self.unit

    def lines(self, places, directions) -> np.ndarray:
        """(12, m): what rotation (less 1) and shift do to places along directions."""
        arms = np.asarray(places) - self.center
        turned = np.einsum("mi,mj->ijm", directions, arms).reshape(9, -1)
        return np.vstack([turned, np.asarray(directions).T])

    def _arms(self, places) -> np.ndarray:
        return np.linalg.norm(np.asarray(places) - self.center, axis=1)

    def step(self, movements) -> np.ndarray:
        """(..., 6) rim movements of the six motions from movements (..., r)."""
        return np.asarray(movements) @ self.basis.T

    def features(self, movements) -> np.ndarray:
        """(n, 12) rotation less 1 and shift of each of n movements (n, r)."""
        amounts = self.step(movements).T / self.unit[:, None]
        (sx, sy, sz), (cx, cy, cz) = np.sin(amounts[:3]), np.cos(amounts[:3])
        features = np.empty((12, amounts.shape[1]))
        features[0], features[1], features[2] = (
            cz * cy - 1,
            cz * sy * sx - sz * cx,
            cz * sy * cx + sz * sx,
        )
        features[3], features[4], features[5] = (
            sz * cy,
            sz * sy * sx + cz * cx - 1,
            sz * sy * cx - cz * sx,
        )
        features[6], features[7], features[8] = -sy, cy * sx, cy * cx - 1
        features[9:] = amounts[3:]
        return features.T

    def solve(self, changes) -> tuple[np.ndarray, np.ndarray]:
        """(movements (n, r), left (n, k)) for changes (n, k) in mm, exact.

        `left` is what stays at each adjuster: NaN where no motion within 45 degrees was
        found.
        """
        return self.solved(changes)[:2]

    def solved(self, changes) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The same, and the features (n, 12) of these movements."""
        changes = np.asarray(changes, dtype=float)
        movements, ahead = self._settled(changes, self._chord)
        astray = ~(ahead < SETTLED)
        if self.overdetermined and astray.any():  # it turns too far for a chord
            again = self._settled(changes[astray], self._newton)
            movements[astray], ahead[astray] = again
        features = self.features(movements)
        left = changes - features @ self.own
        turned = np.abs((self.step(movements) / self.unit)[:, :3]).max(axis=1)
        lost = (ahead > LOST) | ~(turned <= FURTHEST_TURN)
        left[lost] = np.nan
        return movements, left, features

    def _settled(self, changes, way) -> tuple[np.ndarray, np.ndarray]:
        """(movements (n, r), how far another round would go (n,)) by Newton's way or a
        like one, whose rounds go less and less far."""
        movements, last = self._nearly(changes), 1.0
        for _ in range(MOST_ROUNDS):
            features = self.features(movements)
            more = way(movements, features, changes - features @ self.own)
            movements = movements + more
            far = np.abs(more).max(axis=1)
            most = float(far.max(initial=0.0))
            ahead = far * min(1.0, most / last)
            if most * min(1.0, most / last) < SETTLED:
                break
            last = most
        return movements, ahead

    def displaced(self, changes, places) -> tuple[np.ndarray, float]:
        """Where changes (k,) mm take places (n, 3) of the part: (n, 3) mm, exact; and
        how far, mm, a rigid part stays off a change at most (NaN: it cannot go)."""
        movements, left = self.solve(np.array([changes], dtype=float))
        amounts = self.step(movements)[0] / self.unit
        moved, _ = displace(np.asarray(places, dtype=float), self.motions, amounts)
        return moved, float(np.abs(left).max(initial=0.0))

    def _newton(self, movements, _, left) -> np.ndarray:
        slopes = self._slopes(movements)
        turned = np.swapaxes(slopes, 1, 2)
        return np.linalg.solve(turned @ slopes, turned @ left[:, :, None])[:, :, 0]

    def _chord(self, movements, features, left) -> np.ndarray:
        """By the slopes at rest, and no solving; what is left is pulled along those
        there, so that it comes to rest where Newton's way does."""
        if not self.overdetermined:
            return left @ self._inverse.T
        return self._pull(movements, features, left) @ self._stiffness.T

    def _pull(self, movements, features, left) -> np.ndarray:
        """What is left (n, k) along the exact slopes of each motion (n, r)."""
        (xx, xy, xz), (yx, yy, yz), (zx, zy, zz) = (
            features[:, :9] + np.eye(3).ravel()
        ).T.reshape(3, 3, -1)
        (ux, uy, uz), (vx, vy, vz), (wx, wy, wz) = (self.own[:9] @ left.T).reshape(
            3, 3, -1
        )
        about_x = (yx * wx + yy * wy + yz * wz) - (zx * vx + zy * vy + zz * vz)
        about_y = (zx * ux + zy * uy + zz * uz) - (xx * wx + xy * wy + xz * wz)
        about_z = (xx * vx + xy * vy + xz * vz) - (yx * ux + yy * uy + yz * uz)
        tilt = (xz * uy - xy * uz) + (yz * vy - yy * vz) + (zz * wy - zy * wz)
        last = self.step(movements)[:, 2] / self.rho
        other = np.cos(last) * about_y - np.sin(last) * about_x
        turns = np.stack([tilt, other, about_z], axis=1) / self.rho
        shifts = left @ self.own[9:].T
        return np.hstack([turns, shifts]) @ self.basis

    @cached_property
    def _stiffness(self) -> np.ndarray:
        rates = self.own_rates(np.zeros(6)) @ self.basis
        return np.linalg.inv(rates.T @ rates)

    def _nearly(self, changes) -> np.ndarray:
        """Movements (n, r) to the second order of the angles."""
        movements = changes @ self._inverse.T
        angles = (movements @ self.basis[:3].T) / self.rho
        pairs = angles[:, bending.PAIRS[0]] * angles[:, bending.PAIRS[1]]
        return movements - pairs @ self._bent

    @cached_property
    def _bent(self) -> np.ndarray:
        """What products of two angles (6, r) bend at rest, as movements."""
        bends = self.bends(np.zeros(self.basis.shape[1]), self.own)
        return (bends[bending.PAIRS] * bending.HALVES) @ self._inverse.T

    @cached_property
    def _inverse(self) -> np.ndarray:
        rates = self.own_rates(np.zeros(6)) @ self.basis
        return np.linalg.pinv(rates)

    def _slopes(self, movements) -> np.ndarray:
        """(n, k, r) exact rates of the adjusters at each of n movements."""
        turn, x, tilted, z = self._generators(movements)
        turns = np.stack([turn @ x, tilted @ turn, z @ turn], axis=1)
        by_turn = turns.reshape(-1, 3, 9) @ self.own[:9] / self.rho
        shifts = np.broadcast_to(self.own[9:], (len(movements), 3, self.count))
        every = np.concatenate([by_turn, shifts], axis=1)
        return np.swapaxes(every, 1, 2) @ self.basis

    def bends(self, movements, lines) -> np.ndarray:
        """Second derivatives (3, 3, m) by the angles, mm, of `lines` at one (r,)."""
        turn, x, tilted, z = self._generators(movements[None])
        by_pair = {
            (0, 0): turn @ x @ x,
            (0, 1): tilted @ turn @ x,
            (0, 2): z @ turn @ x,
            (1, 1): tilted @ tilted @ turn,
            (1, 2): z @ tilted @ turn,
            (2, 2): z @ z @ turn,
        }
        bends = np.zeros((3, 3, lines.shape[1]))
        for (i, j), matrix in by_pair.items():
            bends[i, j] = bends[j, i] = matrix.reshape(9) @ lines[:9]
        return bends

    def tilting(self, movements) -> np.ndarray:
        """(2, 3, 3): what a tilt more, by x or by y, makes of arms at one (r,)."""
        turn, x, tilted, _ = self._generators(movements[None])
        return np.concatenate([turn @ x, tilted @ turn])

    def _generators(self, movements):
        """Rotations (n, 3, 3), and what an angle more multiplies them by: tilt_x from
        the right, tilt_y and the turn from the left."""
        turn = self.features(movements)[:, :9].reshape(-1, 3, 3) + np.eye(3)
        last = (self.step(movements) / self.unit)[:, 2]
        tilted = np.zeros((len(movements), 3, 3))  # Rz ey, as a cross product
        sine, cosine = np.sin(last), np.cos(last)
        tilted[:, 0, 2], tilted[:, 2, 0] = cosine, -cosine
        tilted[:, 1, 2], tilted[:, 2, 1] = sine, -sine
        x, z = cross_matrix((1.0, 0.0, 0.0)), cross_matrix((0.0, 0.0, 1.0))
        return turn, x, tilted, z
