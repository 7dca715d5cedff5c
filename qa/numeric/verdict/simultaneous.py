"""The probability that several results conform at once (JCGM 106, 7.4)."""

from collections.abc import Sequence

import numpy as np

from qa.numeric.geometry.joint import Limits
from qa.numeric.verdict.acceptance import conformance_probability
from shop.numeric.finite import finite

FURTHEST, NODES = 7.0, 561  # of the error in common, in its standard uncertainties


def all_conform(values, limits: Sequence[Limits], alone, common: float = 0.0) -> float:
    """That values (m,) mm all conform, with errors of their own and one in common.

    `alone` (m,) are the standard uncertainties of their own, above 0; `common` that of
    what is added to all of them, summed over by the trapezoidal rule (exact to far
    below what is told, as its integrand is smooth and dies out). ValueError for what is
    no number.
    """
    finite(values=values, alone=alone, common=common)
    if common:
        return _summed(np.asarray(values, dtype=float), limits, alone, common)
    chance = 1.0
    for value, limit, u in zip(values, limits, alone, strict=True):
        if not limit.empty:
            chance *= conformance_probability(value, limit.low, limit.high, u)
    return chance


def _summed(values, limits, alone, common: float) -> float:
    from scipy.special import ndtr

    low, high = (
        np.array([far if end is None else end for end in ends], dtype=float)
        for far, ends in (
            (-np.inf, [limit.low for limit in limits]),
            (np.inf, [limit.high for limit in limits]),
        )
    )
    nodes = np.linspace(-FURTHEST, FURTHEST, NODES)
    weights = np.exp(-(nodes**2) / 2)
    off = values + common * nodes[:, None]
    inside = ndtr((high - off) / alone) - ndtr((low - off) / alone)
    return float(weights @ inside.prod(axis=1) / weights.sum())
