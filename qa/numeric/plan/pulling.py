"""What over-determined adjusters leave pulls at a part as it turns: bounds for a box.

The part goes where the squares of what is left at its adjusters are least: there that
is square to their slopes. So it moves nothing by the slopes in the middle of a box, and
elsewhere only as far as the slopes are others there.
"""

from functools import cached_property

import numpy as np

from qa.numeric.plan import bending

SHARPENED = 2  # times that a pull is bounded by what the pull before leaves


class Pull:
    """Of a box of k adjusters, at most `slack` mm left at each.

    `rates` (k, r) are their slopes in the middle, `turns` (3, r) how movements turn the
    part, `bends` (3, 3, k) their second derivatives by the angles, mm; `lines` (12, k)
    theirs, and `tilting` (2, 3, 3) as in `bending`.
    """

    def __init__(self, slack: float, rates, turns, bends, lines, tilting):
        self.slack, self.rates, self.turns, self.bends = slack, rates, turns, bends
        self.sizes, self._lines, self._tilting = np.abs(bends), lines, tilting
        self.arms = bending.arms_of(lines, tilting)

    @cached_property
    def back(self) -> np.ndarray:
        """How least squares go elsewhere (r, 3) for what pulls at the three angles."""
        return np.linalg.pinv(self.rates.T @ self.rates) @ self.turns.T

    @cached_property
    def spare(self) -> np.ndarray:
        """Along what (d, k) something can be left."""
        return np.linalg.svd(self.rates)[0][:, self.rates.shape[1] :].T

    @cached_property
    def along(self) -> np.ndarray:
        """Second derivatives (3, 3, d) of what is left along `spare`."""
        return np.einsum("ijk,dk->ijd", self.bends, self.spare)

    @cached_property
    def _arms_along(self) -> bending.Arms:
        return bending.arms_of(self._lines @ self.spare.T, self._tilting, rank=3)

    @cached_property
    def _left(self) -> np.ndarray:
        """How much (d,) can be left along `spare`, mm."""
        return np.abs(self.spare).sum(axis=1) * self.slack

    def most(self, angles) -> np.ndarray:
        """The greatest pull (3,) at each angle, mm2, where they are at most `angles`.

        What is left elsewhere than along `spare` is what the pull itself makes.
        """
        if not self.slack:
            return np.zeros(3)
        first = np.einsum("j,ijk->ik", angles, self.sizes)
        first += bending.slopes_off(self.arms, angles)
        along = np.einsum("j,ijd->id", angles, np.abs(self.along))
        along += bending.slopes_off(self._arms_along, angles)
        reach = first.sum(axis=1) * self.slack
        for _ in range(SHARPENED):
            nearer = along @ self._left + first @ self._beside(reach)
            reach = np.minimum(reach, nearer)
        return reach

    def _beside(self, pull) -> np.ndarray:
        """What (k,) a pull of up to `pull` (3,) leaves beside `spare`, mm."""
        return np.abs(self.rates @ self.back) @ pull

    def off(self, angles, astray, third) -> np.ndarray:
        """By how much (3,) a pull is told wrong at most where each angle is, by up to
        `astray` (3,); it is told by `along` of what is left along `spare`.

        `third` (k,) is how wrong the adjusters are told with their second derivatives.
        """
        if not self.slack:
            return np.zeros(3)
        sizes = np.abs(self.along)
        left = np.einsum("i,j,ijd->d", angles, angles, sizes) / 2
        left += np.abs(self.spare) @ third
        off = np.einsum("j,ijd,d->i", astray, sizes, self._left + left)
        off += np.einsum("j,ijd,d->i", angles, sizes, left)
        off += bending.slopes_off(self._arms_along, angles) @ self._left
        first = np.einsum("j,ijk->ik", angles, self.sizes)
        first += bending.slopes_off(self.arms, angles)
        return off + first @ self._beside(self.most(angles))
