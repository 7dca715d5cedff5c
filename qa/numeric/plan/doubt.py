"""The reading that is most at odds with all the others: the first to take again.

Readings of one kind are target + rigid motion + a common offset + waviness + error. The
waviness is correlated along the seam, exp(-distance / length), beside a share that is
not. One reading may be wrong by any amount (mean-shift model, Cook and Weisberg,
"Residuals and Influence in Regression", 1982, 2.2): the greatest likelihood says which,
and the deleted studentized residual how surely: its mean over lengths and shares, each
weighed by the restricted likelihood of all other readings. (The likeliest alone took
one perfect part in eight for wrong, not one in twenty.) With P = W - W X (X'WX)^-1 X'W,
W the inverse of the correlation, the shift of reading i is (P y)_i / P_ii, and taking
it out lowers the sum of squares by (P y)_i^2 / P_ii.
"""

import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.plan.joint_arrays import JointArrays
from qa.numeric.plan.motions import UNSEEN, free_motions
from qa.numeric.plan.readings import Readings

LENGTHS = (0.5, 1.5, 4.0, 12.0)  # of the waviness, in mean distances of stations
SHARES = (0.02, 0.2, 0.5)  # of the variance that are not correlated
FEWEST = 4  # readings of a kind
MOST_TOGETHER = 80  # with more the matrices cost more than the plan
SEEN = 1e-8  # of the greatest: what a reading has left to be judged by
LEAST_MM = 1e-4  # of waviness: readings of no part agree better
SURE = 0.05  # the chance that any of so many good readings would stand out so


@dataclass(frozen=True)
class Doubt:
    """One reading, mm: what was read, what the others say, and how surely they do.

    `expected_u` is the standard deviation of what they say; `chance` that the most odd
    of so many good readings would be as far off (Bonferroni).
    """

    row: int
    joint: int
    label: str
    kind: str
    read: float
    expected: float
    expected_u: float
    chance: float

    @property
    def stands_out(self) -> bool:
        return self.chance < SURE


def doubtful(arrays: JointArrays, gaps: Readings, flushes: Readings) -> Doubt | None:
    """The reading of all to take again first; None where there are too few to tell."""
    kinds = [
        (kind, readings.take(readings.scales.limited))
        for kind, readings in (("gap", gaps), ("flush", flushes))
    ]
    every = sum(len(readings) for _, readings in kinds)
    doubts = [
        _most_odd(arrays, readings.take(rows), kind, every)
        for kind, readings in kinds
        for rows in _stretches(len(readings))
    ]
    doubts = [doubt for doubt in doubts if doubt is not None]
    return min(doubts, key=lambda doubt: doubt.chance, default=None)


def _stretches(count: int) -> list:
    """Rows of long seams by stretches, each looked at for itself."""
    return np.array_split(np.arange(count), max(1, math.ceil(count / MOST_TOGETHER)))


def _most_odd(arrays, readings: Readings, kind: str, every: int) -> Doubt | None:
    count = len(readings)
    if count < FEWEST:
        return None
    columns = _columns(arrays, readings)
    spare = count - columns.shape[1] - 1
    if spare < 2:
        return None
    off = readings.values - readings.scales.aim
    apart, mean = _distances(arrays, readings)
    tried = []
    for length in LENGTHS:
        smooth = np.exp(-apart / (length * mean))
        for share in SHARES:
            matrix = (1 - share) * smooth + share * np.eye(count)
            tried.append(_shifted(matrix, columns, off, spare))
    logs, shifts, variances, squares = (
        np.array(column) for column in zip(*tried, strict=True)
    )
    row = int(np.argmax(logs.max(axis=0)))
    # What waves so is not known but by the other readings: each by their likelihood.
    others = logs[:, row] + np.log(variances[:, row]) / 2
    weights = np.exp(others - others.max())
    weights /= weights.sum()
    shift, spreads = shifts[:, row], np.sqrt(squares / spare * variances)[:, row]
    mean_shift = float(weights @ shift)
    wide = weights @ (spreads**2 + (shift - mean_shift) ** 2)
    station, read = readings.rows[row], float(readings.values[row])
    return Doubt(
        row=int(station),
        joint=arrays.joint_of[station],
        label=arrays.stations[station].label,
        kind=kind,
        read=read,
        expected=read - mean_shift,
        expected_u=math.sqrt(wide),
        chance=min(1.0, every * float(weights @ _both_tails(shift / spreads, spare))),
    )


def _shifted(matrix, columns, off, spare):
    """(log likelihood, its shift, variance of that per square, sum of squares), each
    (m,): if that reading were the one that is wrong."""
    lower = np.linalg.cholesky(matrix)
    whole = np.linalg.inv(lower)
    white = whole @ columns
    basis, triangle = np.linalg.qr(white)
    middle = whole.T @ (np.eye(len(off)) - basis @ basis.T) @ whole
    pulled, own = middle @ off, np.diag(middle)
    seen = own > own.max() * SEEN
    own = np.where(seen, own, 1.0)
    square = float(off @ pulled) - np.where(seen, pulled**2 / own, 0.0)
    square = np.maximum(square, spare * LEAST_MM**2)
    # The restricted likelihood (Patterson and Thompson, Biometrika 58, 1971).
    log = np.log(np.diag(lower)).sum() + np.log(np.abs(np.diag(triangle))).sum()
    logs = np.where(seen, -log - spare / 2 * np.log(square), -np.inf)
    return logs, pulled / own, 1 / own, square


def _both_tails(t: np.ndarray, spare: int) -> np.ndarray:
    """How often Student's t is so far off by chance."""
    from scipy.special import stdtr

    return 2 * stdtr(spare, -np.abs(t))


def _columns(arrays: JointArrays, readings: Readings) -> np.ndarray:
    """What all readings may have in common: an offset, and where the part sits."""
    motions = free_motions(arrays.center, 1.0, 1.0, 1.0, 1.0)
    arms = readings.places - arrays.center
    columns = [np.ones(len(readings))]
    for motion in motions:
        way = np.array(motion.translation) + np.cross(motion.rotation, arms) / (
            arrays.rho if motion.turns else 1.0
        )
        columns.append(np.einsum("ij,ij->i", way, readings.directions))
    every = np.array(columns).T
    left, sizes, _ = np.linalg.svd(every, full_matrices=False)
    return left[:, sizes > UNSEEN * sizes[0]]


def _distances(arrays: JointArrays, readings: Readings) -> tuple[np.ndarray, float]:
    """(distances along the seam (m, m) mm, inf between joints; their mean step)."""
    along, lengths = arrays.along()
    rows = readings.rows
    apart = np.abs(along[rows][:, None] - along[rows])
    whole = lengths[rows]
    apart = np.minimum(apart, np.where(np.isfinite(whole), whole - apart, apart))
    joints = np.array(arrays.joint_of)[rows]
    apart = np.where(joints[:, None] == joints, apart, np.inf)
    steps = np.diff(along[rows])[np.diff(joints) == 0]
    return apart, float(np.abs(steps).mean()) if len(steps) else 1.0
