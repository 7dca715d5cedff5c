"""How readings bend in a box of settings, as its angles turn (Taylor's formula)."""

import math
from dataclasses import dataclass

import numpy as np

PAIRS = np.triu_indices(3)
HALVES = np.where(PAIRS[0] == PAIRS[1], 0.5, 1.0)[:, None]


@dataclass(frozen=True)
class Bent:
    """Readings of a box to the second order, wrong by at most `play` (m,) mm.

    They are base (m,) + slopes of the box @ changes + half of what `curves` (3, 3, m)
    make of the angles turn[0] (3, k) @ (changes - turn[1]), + what the pull of
    over-determined adjusters does: `pulled` is (spare (d, k), changes (k,) at which
    nothing is left, mm of each reading (3, d, m) by angle and what is left along
    spare).
    """

    base: np.ndarray
    turn: tuple[np.ndarray, np.ndarray]
    curves: np.ndarray
    pulled: tuple[np.ndarray, np.ndarray, np.ndarray]
    play: np.ndarray

    def readings(self, changes, slopes) -> np.ndarray:
        """Readings (n, m) of changes (n, k)."""
        turn, middle = self.turn
        angles = (changes - middle) @ turn.T
        terms = [changes, angles[:, PAIRS[0]] * angles[:, PAIRS[1]]]
        factors = [slopes.T, self.curves[PAIRS] * HALVES]
        spare, nothing, pulled = self.pulled
        if len(spare):
            left = (changes - nothing) @ spare.T
            for angle in range(3):
                terms.append(angles[:, [angle]] * left)
                factors.append(pulled[angle])
        return self.base + np.hstack(terms) @ np.vstack(factors)


@dataclass(frozen=True)
class Arms:
    """What a turn can do to readings at most, mm a radian (m,).

    `whole` is the arm of each, `around` what of it a turn in the plane, which comes
    last, can take along the direction, and `once` what of that after one tilt.
    """

    whole: np.ndarray
    around: np.ndarray
    once: np.ndarray

    def tilted(self, tilt: float) -> np.ndarray:
        """`once` (m,) where the part is tilted by up to `tilt` more."""
        return self.once + self.around * tilt


def arms_of(lines, tilting, rank: int = 1) -> Arms:
    """Of lines (9 or more, m), each a sum of up to `rank` arms times a direction.

    `tilting` (2, 3, 3) is what a tilt more makes of an arm where the part is now. A
    rotation takes such a matrix no further than the sum of its singular values, at most
    the root of its rank times that of the sum of its squares.
    """
    turned = lines[:9].reshape(3, 3, -1)
    level = math.sqrt(min(rank, 2))
    once = np.einsum("taj,bjm->tabm", tilting[:, :2], turned[:2])
    return Arms(
        math.sqrt(min(rank, 3)) * np.sqrt((turned**2).sum(axis=(0, 1))),
        level * np.sqrt((turned[:2] ** 2).sum(axis=(0, 1))),
        level * np.sqrt((once**2).sum(axis=(1, 2))).max(axis=0),
    )


def most(bends, arms: Arms, angles) -> np.ndarray:
    """By how much (m,) mm a turn of up to `angles` (3,) departs from its slopes, where
    its second derivatives are at most `bends` (3, 3, m)."""
    return np.einsum("i,j,ijm->m", angles, angles, bends) / 2 + third(arms, angles)


def third(arms: Arms, angles) -> np.ndarray:
    """By how much (m,) mm a turn departs from its slopes and second derivatives.

    A third derivative is at most the arm; one by the turn in the plane, which goes
    along the plane, at most what of the arm lies along the direction then.
    """
    tilt, last = float(angles[0] + angles[1]), float(angles[2])
    bending = arms.whole * tilt**3 + arms.around * (3 * tilt**2 * last + last**3)
    return (bending + arms.tilted(tilt) * (3 * tilt * last**2)) / 6


def slopes_off(arms: Arms, angles) -> np.ndarray:
    """By how much (3, m) mm a radian the slope by each angle departs, after a turn,
    from what second derivatives make of it: see `third`."""
    tilt, last = float(angles[0] + angles[1]), float(angles[2])
    once = arms.tilted(tilt)
    by_tilt = arms.whole * tilt**2 + arms.around * (2 * tilt * last) + once * last**2
    by_turn = arms.around * (tilt**2 + last**2) + once * (2 * tilt * last)
    return np.stack([by_tilt, by_tilt, by_turn]) / 2


def halfway(curves, angles) -> tuple[np.ndarray, np.ndarray]:
    """(middle, half width) (m,) mm of what second derivatives `curves` (3, 3, m) make
    of angles up to `angles` (3,): a square is never below 0."""
    squares = curves[range(3), range(3)] * (angles**2)[:, None] / 4
    every = np.einsum("i,j,ijm->m", angles, angles, np.abs(curves)) / 2
    return squares.sum(axis=0), every - np.abs(squares).sum(axis=0)


def crossed(curves, angles, astray) -> np.ndarray:
    """How much (m,) mm more or less second derivatives make, where each angle, of at
    most `angles` (3,), is told wrong by up to `astray` (3,)."""
    both = np.outer(angles, astray) + np.outer(astray, astray) / 2
    return np.einsum("ij,ijm->m", both, np.abs(curves))
