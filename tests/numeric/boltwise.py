"""A door on adjusters, apart from the product: own rotation, every setting enumerated.

Rotations are multiplied out from sines and cosines here; the motion of each setting is
found by our own Newton's way in the motions that the case leaves free.
"""

import itertools

import numpy as np

MOTIONS = ("x", "y", "z", "tilt_x", "tilt_y", "turn")


def rotated(angles, arms):
    """Arms (j, 3) after tilt_x, then tilt_y, then the turn (n, 3), less the arms."""
    tilt_x, tilt_y, turn = (angle[:, None] for angle in np.asarray(angles).T)
    x, y, z = np.asarray(arms, dtype=float).T
    y, z = (
        y * np.cos(tilt_x) - z * np.sin(tilt_x),
        y * np.sin(tilt_x) + z * np.cos(tilt_x),
    )
    x, z = (
        x * np.cos(tilt_y) + z * np.sin(tilt_y),
        z * np.cos(tilt_y) - x * np.sin(tilt_y),
    )
    x, y = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)
    return np.stack([x, y, z], axis=2) - arms


class Door:
    """A part held by adjusters, its motions about the mean of their places.

    Many settings at once: amounts (n, f) of the free motions, mm and radians.
    """

    def __init__(self, adjusters, motions=MOTIONS):
        self.adjusters = adjusters
        self.places = np.array([one.place for one in adjusters], dtype=float)
        self.ways = np.array([one.direction for one in adjusters], dtype=float)
        self.ways /= np.linalg.norm(self.ways, axis=1)[:, None]
        self.about = np.unique(self.places, axis=0).mean(axis=0)
        self.free = [MOTIONS.index(name) for name in motions]

    def displacement(self, amounts, places):
        """(n, j, 3) mm."""
        every = self._every(amounts)
        arms = np.asarray(places, dtype=float) - self.about
        return rotated(every[:, 3:], arms) + every[:, None, :3]

    def _every(self, amounts):
        every = np.zeros((len(amounts), 6))
        every[:, self.free] = amounts
        return every

    def changes(self, amounts):
        return (self.displacement(amounts, self.places) * self.ways).sum(axis=2)

    def turned_to(self, changes):
        """(amounts (n, f), what is left at each adjuster) for changes (n, k) in mm.

        Gauss and Newton, slopes by differences.
        """
        amounts = np.zeros((len(changes), len(self.free)))
        for _ in range(8):
            left = changes - self.changes(amounts)
            slopes = []
            for column, motion in enumerate(self.free):
                reach = np.zeros(len(self.free))
                reach[column] = 1e-2 if motion < 3 else 1e-5
                ends = self.changes(amounts + reach) - self.changes(amounts - reach)
                slopes.append(ends / (2 * reach[column]))
            slopes = np.stack(slopes, axis=2)
            amounts = amounts + np.einsum("nfk,nk->nf", np.linalg.pinv(slopes), left)
        return amounts, changes - self.changes(amounts)

    def lattice(self):
        """All whole steps within range (n, k)."""
        ranges = []
        for one in self.adjusters:
            low = int(np.ceil((one.low - one.now) / one.step - 1e-9))
            high = int(np.floor((one.high - one.now) / one.step + 1e-9))
            ranges.append(range(low, high + 1))
        return np.array(list(itertools.product(*ranges)))

    def readings_after(self, joint, gaps, flushes, amounts):
        """Gaps and flushes (n, stations)."""
        moved = self.displacement(amounts, joint.places)
        after = np.asarray(gaps) - (moved * joint.gap_directions).sum(axis=2)
        level = np.asarray(flushes) + (moved * joint.faces).sum(axis=2)
        return after, level

    def movement(self, joint, amounts):
        """Squares of the shift of the mean of the stations and of turns at the rim."""
        mean = joint.places.mean(axis=0)
        shift = self.displacement(amounts, [mean])[:, 0]
        rho = np.sqrt(((joint.places - mean) ** 2).sum(axis=1).mean())
        turns = self._every(amounts)[:, 3:]
        return (shift**2).sum(axis=1) + rho**2 * (turns**2).sum(axis=1)


def deviations(values, limits):
    """|x - middle| / half width of two-sided limits (n,)."""
    low, high = np.array([(one.low, one.high) for one in limits]).T
    return np.abs(values - (low + high) / 2) / ((high - low) / 2)
