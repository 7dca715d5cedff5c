"""What is asked of a joint: gap and flushness of every station, their targets.

Characteristic c of n stations is the gap of station c below n, and the flushness of
station c - n from there on. Lengths are mm.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.geometry.joint import Joint, Limits
from qa.numeric.plan.motions import Motion, displace, free_motions


@dataclass(frozen=True)
class Characteristics:
    """Arrays (2n,) in mm: limits (infinite where there is none) and target (NaN without
    limits); slopes (2n, q): what a motion does to each, in mm per mm at the rim.

    `bare` are characteristics whose target is the limit itself, since no station of the
    joint has two limits of their kind.
    """

    low: np.ndarray
    high: np.ndarray
    target: np.ndarray
    slopes: np.ndarray
    bare: np.ndarray

    @property
    def count(self) -> int:
        return len(self.target)

    @property
    def gap(self) -> np.ndarray:
        """Which are gaps (2n,)."""
        return np.arange(self.count) < self.count // 2

    @property
    def limited(self) -> np.ndarray:
        """Which have a limit, and so a target (2n,)."""
        return np.isfinite(self.target)


def free_to_move(joint: Joint) -> tuple[Motion, ...]:
    """The six motions about the mean of the stations; how far does not matter here."""
    return tuple(free_motions(joint.places.mean(axis=0), 1.0, 1.0, 1.0, 1.0))


def characteristics(joint: Joint, motions: Sequence[Motion]) -> Characteristics:
    """The characteristics of a joint whose part can make these motions.

    Of a motion only its direction counts: how far a part went is what is measured. One
    whose bounds leave no choice is none.
    """
    kinds = [[station.gap for station in joint.stations]]
    kinds.append([station.flush for station in joint.stations])
    rows = [row for limits in kinds for row in targets(limits)]
    low, high, target, bare = map(np.array, zip(*rows, strict=True))
    slopes = _slopes(joint, [m for m in motions if m.low < m.high])
    return Characteristics(low, high, target, slopes, bare)


def targets(limits: Sequence[Limits]):
    """(low, high, target, bare) of each station in one kind.

    The target is the middle; with one limit, half the narrowest width inside of it.
    """
    widths = [limit.width for limit in limits if limit.two_sided]
    inside = min(widths) / 2 if widths else 0.0
    for limit in limits:
        low = -np.inf if limit.low is None else limit.low
        high = np.inf if limit.high is None else limit.high
        one_sided = not limit.two_sided and not limit.empty
        if limit.two_sided:
            target = (low + high) / 2
        elif one_sided:
            target = high - inside if limit.low is None else low + inside
        else:
            target = np.nan
        yield low, high, target, one_sided and not widths


def _slopes(joint: Joint, motions: Sequence[Motion]) -> np.ndarray:
    """(2n, q): a gap follows minus its direction, flushness its face (design 4.2)."""
    count = len(joint.stations)
    if not motions:
        return np.zeros((2 * count, 0))
    _, rates = displace(joint.places, motions, np.zeros(len(motions)))
    arms = joint.places - joint.places.mean(axis=0)
    rho = float(np.sqrt((arms**2).sum(axis=1).mean()))
    rim = [
        np.hypot(np.linalg.norm(m.translation), rho * np.linalg.norm(m.rotation))
        for m in motions
    ]
    gaps = -np.einsum("kij,ij->ik", rates, joint.gap_directions)
    flushes = np.einsum("kij,ij->ik", rates, joint.faces)
    return np.vstack([gaps, flushes]) / rim
