"""Bounds of sums and differences of mean squares: the modified large-sample method.

Sources: Graybill and Wang, JASA 75 (1980) 869-873 for sums; Ting, Burdick, Graybill,
Jeyaratnam and Lu, J. Statist. Comput. Simul. 35 (1990) 135-143 for differences, here
without the terms between two of one sign; as used for gauges in Burdick, Borror and
Montgomery, J. Quality Technology 35(4), 2003, 342-354. Exact for one mean square.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True)
class Term:
    """So many times a mean square with its degrees of freedom."""

    times: float
    mean_square: float
    df: int


def bounds(terms: Sequence[Term], level: float) -> tuple[float, float]:
    """Between which the expected value of the sum of terms lies, at a level."""
    side = (1 - level) / 2
    terms = [term for term in terms if term.times and term.mean_square]
    center = math.fsum(term.times * term.mean_square for term in terms)
    lower = center - _reach(terms, side)
    turned = [Term(-term.times, term.mean_square, term.df) for term in terms]
    return lower, center + _reach(turned, side)


def _reach(terms: Sequence[Term], side: float) -> float:
    """How far below the center the lower bound lies."""
    for_it = [term for term in terms if term.times > 0]
    against = [term for term in terms if term.times < 0]
    square = math.fsum((_g(t.df, side) * t.times * t.mean_square) ** 2 for t in for_it)
    square += math.fsum(
        (_h(t.df, side) * t.times * t.mean_square) ** 2 for t in against
    )
    for term in for_it:
        for other in against:
            size = -term.times * term.mean_square * other.times * other.mean_square
            square += _between(term.df, other.df, side) * size
    return math.sqrt(max(0.0, square))


@lru_cache(maxsize=256)
def _g(df: int, side: float) -> float:
    from scipy.stats import chi2

    return 1 - df / float(chi2.ppf(1 - side, df))


@lru_cache(maxsize=256)
def _h(df: int, side: float) -> float:
    from scipy.stats import chi2

    return df / float(chi2.ppf(side, df)) - 1


@lru_cache(maxsize=256)
def _between(df: int, against: int, side: float) -> float:
    from scipy.stats import f

    ratio = float(f.ppf(1 - side, df, against))
    left = (_g(df, side) * ratio) ** 2 + _h(against, side) ** 2
    return ((ratio - 1) ** 2 - left) / ratio
