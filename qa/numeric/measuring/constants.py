"""Constants of ranges and deviations of normal samples, computed, not typed.

d2 and d3: mean and standard deviation of the range of n standard normal values; c4:
mean of their standard deviation (with n - 1). Definitions and printed tables: ASTM
E2587 Table 1, Montgomery, Introduction to Statistical Quality Control, appendix VI.
"""

import math
from functools import lru_cache

MOST = 1000  # values of one subgroup


class SizeError(ValueError):
    """A subgroup of a size for which there is no constant."""


@lru_cache(maxsize=256)
def d2(n: int) -> float:
    """E(W) = integral of 1 - F(x)^n - (1 - F(x))^n; 1.128 for n = 2."""
    import numpy as np
    from scipy.special import ndtr

    _check(n)
    # The trapezoid rule of a smooth function that dies out at both ends has no error
    # to speak of: 1e-14 at this step.
    x = np.linspace(-12, 12, 2401)
    below, above = ndtr(x), ndtr(-x)
    return float((1 - below**n - above**n).sum() * (x[1] - x[0]))


@lru_cache(maxsize=256)
def d3(n: int) -> float:
    """sqrt(E(W^2) - d2^2), with E(W^2) = integral of 2 w (1 - P(W <= w))."""
    import numpy as np
    from scipy.special import ndtr

    _check(n)
    x = np.linspace(-12, 12, 601)
    w = np.linspace(0, 24, 1201)
    density = np.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    inside = ndtr(x[:, None] + w) - ndtr(x[:, None])
    up_to = n * (x[1] - x[0]) * (density[:, None] * inside ** (n - 1)).sum(axis=0)
    tail = 2 * w * np.clip(1 - up_to, 0, 1)
    # Simpson: the integrand has a corner at w = 0.
    step = w[1] - w[0]
    square = step / 3 * (tail[0] + tail[-1] + 4 * tail[1::2].sum())
    square += step / 3 * 2 * tail[2:-1:2].sum()
    return math.sqrt(float(square) - d2(n) ** 2)


def c4(n: int) -> float:
    """sqrt(2 / (n - 1)) gamma(n / 2) / gamma((n - 1) / 2); 0.7979 for n = 2."""
    _check(n)
    return chi_mean(n - 1)


def chi_mean(df: float) -> float:
    """Mean of sqrt(chi-square / df), of any number of degrees of freedom above 0."""
    if not 0 < df < math.inf:
        raise SizeError(f"degrees of freedom must be more than 0, not {df}")
    return math.sqrt(2 / df) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))


def d2_star(n: int, groups: int) -> float:
    """sqrt(d2^2 + d3^2 / groups): the mean range of few groups over it, squared, is
    unbiased for the variance (Duncan 1955; appendix C of the AIAG manual)."""
    if groups < 1:
        raise SizeError(f"at least one group, not {groups}")
    return math.sqrt(d2(n) ** 2 + d3(n) ** 2 / groups)


def _check(n: int) -> None:
    if not isinstance(n, int) or not 2 <= n <= MOST:
        raise SizeError(f"a subgroup holds 2 to {MOST} values, not {n}")
