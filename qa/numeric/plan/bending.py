"""How readings bend in a box of settings, as its angles turn (Taylor's formula)."""

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


def most(bends, arms, angles) -> np.ndarray:
    """By how much (m,) mm a turn of up to `angles` (3,) departs from its slopes, where
    its second derivatives are at most `bends` (3, 3, m)."""
    return np.einsum("i,j,ijm->m", angles, angles, bends) / 2 + third(arms, angles)


def third(arms, angles) -> np.ndarray:
    """By how much (m,) mm a turn departs from its slopes and second derivatives.

    A third derivative is at most the arm; of the turn in the plane, which comes last
    and goes along the plane, at most what of the arm lies along the direction then.
    `arms` are those two (m,).
    """
    whole, last = float(angles.sum()) ** 3, float(angles[2]) ** 3
    return (arms[0] * (whole - last) + arms[1] * last) / 6


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
