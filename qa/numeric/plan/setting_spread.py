"""How well settings are really set: from what came after them, station by station.

In each round some adjusters were set, and at each reading what came differs from what
was predicted. To first order that is what the errors of the settings do there, and the
scatter of the readings: least squares tells the errors of a round apart where its
readings see them. The scatter is told by what is left over all rounds, and what it does
to the errors is taken off their mean square. Lengths in mm.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from shop.numeric.finite import finite

LEAST_ROUNDS = 4
UNSEEN = 1e-6  # of the greatest effect: an error that does less is not seen
TAIL = 0.025


@dataclass(frozen=True)
class SetRound:
    """One round. `names` (k,) of the adjusters that were set, `effect` (m, k) what an
    error of 1 mm of each does to each reading, `apart` (m,) what came less what was
    predicted, mm."""

    names: tuple[str, ...]
    effect: np.ndarray
    apart: np.ndarray


@dataclass(frozen=True)
class Came:
    """One adjuster over its rounds, mm. `errors`: how much further than set it came in
    each round that tells. `spread` is the standard uncertainty of a setting, about 0
    and not about their mean, `low` and `high` its bounds at 95 % where errors are
    normal; None, and `why`, where it cannot be told."""

    name: str
    errors: tuple[float, ...]
    mean: float | None = None
    spread: float | None = None
    low: float | None = None
    high: float | None = None
    why: str = ""


def told_apart(measured: SetRound) -> bool:
    """Whether the readings of a round see each of its errors by itself."""
    if not measured.names or len(measured.apart) < len(measured.names):
        return False
    sizes = np.linalg.svd(np.asarray(measured.effect, float), compute_uv=False)
    return bool(sizes[-1] > UNSEEN * max(1.0, sizes[0]))


def came(rounds: Sequence[SetRound]) -> tuple[Came, ...]:
    """Every adjuster that was set, in the order in which it first was.

    `why` is "too_few" with fewer than LEAST_ROUNDS rounds that tell, "no_rest" where no
    round has more readings than errors.
    """
    errors: dict[str, list[float]] = {}
    shares: dict[str, list[float]] = {}
    rest, freedom = 0.0, 0
    for set_round in rounds:
        finite(
            effect=np.asarray(set_round.effect).tolist(), apart=list(set_round.apart)
        )
        for name in set_round.names:
            errors.setdefault(name, [])
            shares.setdefault(name, [])
        if not told_apart(set_round):
            continue
        effect, apart = (
            np.asarray(set_round.effect, float),
            np.asarray(set_round.apart, float),
        )
        inverse = np.linalg.pinv(effect)
        solved = inverse @ apart
        rest += float(((apart - effect @ solved) ** 2).sum())
        freedom += len(apart) - len(solved)
        for name, error, row in zip(set_round.names, solved, inverse, strict=True):
            errors[name].append(float(error))
            shares[name].append(float(row @ row))
    scatter = rest / freedom if freedom else None
    return tuple(
        _came(name, own_errors, shares[name], scatter)
        for name, own_errors in errors.items()
    )


def _came(name: str, errors, shares, scatter: float | None) -> Came:
    count = len(errors)
    mean = math.fsum(errors) / count if count else None
    if count < LEAST_ROUNDS:
        return Came(name, tuple(errors), mean, why="too_few")
    if scatter is None:
        return Came(name, tuple(errors), mean, why="no_rest")
    from scipy.special import chdtri  # slow to import, and seldom wanted

    whole = math.fsum(error**2 for error in errors)
    readings = scatter * math.fsum(shares) / count
    spread, low, high = (
        math.sqrt(max(0.0, whole / by - readings))
        for by in (count, chdtri(count, TAIL), chdtri(count, 1 - TAIL))
    )
    return Came(name, tuple(errors), mean, spread, low, high)
