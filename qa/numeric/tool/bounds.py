"""How wide bounds must be to hold for all stations of a joint together.

The greatest of the |error| / standard error of all of them has a multivariate t
distribution with the correlations of the design (its maximum modulus). Its 95 % point
is found by simulation with a fixed seed; for the spread of the standard deviation the
chi-squared distribution is integrated and not drawn. Source: Y. Hochberg and A. C.
Tamhane, Multiple Comparison Procedures (1987), chapter 2 and appendix 3.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

LEVEL = 0.95
SEED = 20_161
MOST_NUMBERS = 2_000_000  # drawn in all: 0.07 % of coverage for 20 stations
MOST_DRAWS, LEAST_DRAWS = 500_000, 10_000
POINTS = 1_000  # of a distribution
AT_ONCE = 4_000
CLOSE = 1e-6  # of a factor, to itself


@dataclass(frozen=True)
class Family:
    """Estimates with one common standard deviation: their correlation (m, m), and the
    degrees of freedom behind it (None: it is known)."""

    correlation: np.ndarray
    degrees: float | None


def critical_value(families: Sequence[Family], level: float = LEVEL) -> float:
    """The factor on every standard error such that all bounds hold together.

    Families are independent of each other. ValueError for no estimate, or a level that
    is no probability.
    """
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, not {level}")
    families = [family for family in families if len(family.correlation)]
    if not families:
        raise ValueError("there is no estimate to bound")
    for family in families:
        if not np.isfinite(family.correlation).all():
            raise ValueError("a correlation must be a number")
        if family.degrees is not None and not 0 < family.degrees < math.inf:
            raise ValueError("degrees of freedom must be more than 0, and finite")
    known = [
        (family.correlation.tobytes(), len(family.correlation), family.degrees)
        for family in families
    ]
    return _critical_value(tuple(known), level)


@lru_cache(maxsize=256)
def _critical_value(families: tuple[tuple], level: float) -> float:
    peaks = [_peaks(matrix, count) for matrix, count, _ in families]

    def holds(factor: float) -> float:
        return math.prod(
            _holds(peak, degrees, factor)
            for peak, (_, _, degrees) in zip(peaks, families, strict=True)
        )

    low, high = 0.0, 2.0
    while holds(high) < level:
        low, high = high, 2 * high
    while high - low > CLOSE * high:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) < level else (low, middle)
    return high


def _holds(peaks: np.ndarray, degrees: float | None, factor: float) -> float:
    """Probability that no |error| exceeds `factor` standard errors."""
    if degrees is None:
        return float(np.interp(factor, peaks, _LEVELS, left=0.0, right=1.0))
    from scipy.special import gammaincc

    # P(peak < factor * s), where s^2 * degrees is chi-squared.
    return float(gammaincc(degrees / 2, degrees * (peaks / factor) ** 2 / 2).mean())


_LEVELS = (np.arange(POINTS) + 0.5) / POINTS


@lru_cache(maxsize=32)
def _peaks(correlation: bytes, count: int) -> np.ndarray:
    """Quantiles (POINTS,) of the greatest |value| of correlated normal variables."""
    matrix = np.frombuffer(correlation).reshape(count, count)
    peaks = np.concatenate(
        [np.abs(chunk).max(axis=1) for chunk in drawn(matrix, draws_for(count))]
    )
    return np.quantile(peaks, _LEVELS)


def correlation(covariance: np.ndarray) -> np.ndarray:
    """The correlations of a covariance (m, m) of which no variance is 0."""
    sizes = np.sqrt(np.diag(covariance))
    return covariance / np.outer(sizes, sizes)


def draws_for(count: int) -> int:
    """How many draws of `count` numbers."""
    return min(MOST_DRAWS, max(LEAST_DRAWS, MOST_NUMBERS // count))


def drawn(covariance: np.ndarray, draws: int):
    """Normal vectors with a covariance (m, m), some thousand rows at a time.

    By the symmetric root, which no choice of axes changes; always the same vectors.
    """
    sizes, axes = np.linalg.eigh(covariance)
    root = (axes * np.sqrt(np.maximum(sizes, 0.0))) @ axes.T
    independent = _independent(draws, len(root))
    for start in range(0, draws, AT_ONCE):
        yield independent[start : start + AT_ONCE] @ root


@lru_cache(maxsize=1)  # 16 MB; two simulations after one another mostly want the same
def _independent(draws: int, count: int) -> np.ndarray:
    source = np.random.Generator(np.random.PCG64(SEED))
    return source.standard_normal((draws, count))
