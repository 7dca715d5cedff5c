"""The standard deviation within: from ranges, from deviations, pooled, from moving
ranges; each with the degrees of freedom that it is worth.

Subgroups of unequal size are joined with the weights of least variance (Burr,
Industrial Quality Control 23(11) 1969; d2^2/d3^2 and c4^2/(1-c4^2)); for equal sizes
that is R-bar/d2 and s-bar/c4. Degrees of freedom are those of the chi distribution of
the same relative variance (Patnaik, Biometrika 37, 1950).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from .constants import c4, chi_mean, d2, d3
from .exact import moments, root

ESTIMATORS = ("rbar", "sbar", "pooled")
# Of standard normal values: variance of |x1 - x2|, and its covariance with |x2 - x3|.
MOVING_VARIANCE = 2 - 4 / math.pi
MOVING_COVARIANCE = 4 / math.pi * (math.sqrt(0.75) + math.pi / 12 - 1)


@dataclass(frozen=True)
class Spread:
    """A standard deviation, its degrees of freedom, and how it was had.

    `unbiased`: its mean is the true value; else that of its square is.
    """

    sd: float
    df: float
    how: str
    unbiased: bool = True

    def factors(self, level: float) -> tuple[float, float]:
        """Between which sd / true value lies, by chi-square: an index that divides by
        sd lies between itself times these."""
        from scipy.stats import chi2

        ends = chi2.ppf([(1 - level) / 2, (1 + level) / 2], self.df)
        mean = chi_mean(self.df) if self.unbiased else 1.0
        low, high = (math.sqrt(end / self.df) / mean for end in ends)
        return low, high


def moving_ranges(values: Sequence[Fraction]) -> list[Fraction]:
    """Differences of neighbors, without sign."""
    return [abs(b - a) for a, b in zip(values, values[1:], strict=False)]


def from_moving_ranges(values: Sequence[Fraction]) -> Spread:
    """Mean moving range of two over d2, of three values or more in order of time."""
    ranges = moving_ranges(values)
    k = len(ranges)
    variance = (k * MOVING_VARIANCE + 2 * (k - 1) * MOVING_COVARIANCE) / (
        k * d2(2)
    ) ** 2
    sd = float(sum(ranges) / k) / d2(2)
    return Spread(sd, _worth(variance), "moving_range")


def within(groups: Sequence[Sequence[Fraction]], how: str) -> Spread | None:
    """The spread within subgroups by one of ESTIMATORS; None when no subgroup holds two
    values."""
    several = [group for group in groups if len(group) > 1]
    if not several:
        return None
    if how == "pooled":
        return _pooled(several)
    if how == "rbar":
        ranges = [(float(max(g) - min(g)), d2(len(g)), d3(len(g))) for g in several]
    else:
        ranges = [
            (moments(g).sd, c4(len(g)), math.sqrt(1 - c4(len(g)) ** 2)) for g in several
        ]
    weights = [(mean / sd) ** 2 for _, mean, sd in ranges]
    total = math.fsum(weights)
    each = zip(weights, ranges, strict=True)
    sd = math.fsum(w * value / mean for w, (value, mean, _) in each) / total
    return Spread(sd, _worth(1 / total), how)


def _pooled(groups: Sequence[Sequence[Fraction]]) -> Spread:
    df = sum(len(group) - 1 for group in groups)
    squares = sum((moments(group).squares for group in groups), Fraction(0))
    return Spread(root(squares / df), df, "pooled", unbiased=False)


def _worth(variance: float) -> float:
    """Degrees of freedom of the chi whose relative variance is this."""
    from scipy.optimize import brentq

    def beyond(df: float) -> float:
        return (1 / chi_mean(df)) ** 2 - 1 - variance

    return float(brentq(beyond, 1e-2, 1e7, xtol=1e-9, rtol=1e-12))
