"""Are values normal? Anderson and Darling's test, mean and deviation estimated.

Source: D'Agostino and Stephens, Goodness-of-Fit Techniques (1986), table 4.9, for eight
values or more.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from .exact import Number, exact_list, moments

FEWEST = 8
NAME = "anderson_darling"


class TooFew(ValueError):
    """Fewer values than the test is known for, or all of them the same."""


@dataclass(frozen=True)
class Normality:
    """The test's name, A squared, and the probability of as much by chance."""

    test: str
    statistic: float
    p: float


def anderson_darling(values: Sequence[Number]) -> Normality:
    """The test of values, shape (n,), n >= 8, not all the same.

    Raises TooFew, NotANumber, OutOfRange.
    """
    from scipy.special import log_ndtr

    numbers = exact_list(values)
    if len(numbers) < FEWEST:
        raise TooFew(f"{len(numbers)} values; at least {FEWEST} are needed")
    z = standardized(numbers)
    n, below, above = len(z), log_ndtr(z), log_ndtr([-value for value in reversed(z)])
    terms = ((2 * k + 1) * (below[k] + above[k]) for k in range(n))
    statistic = -n - math.fsum(terms) / n
    return Normality(NAME, statistic, _p(statistic * (1 + 0.75 / n + 2.25 / n**2)))


def standardized(numbers: Sequence[Fraction]) -> list[float]:
    """In order of size, in standard deviations from the mean. TooFew without any."""
    sample = moments(numbers)
    if not sample.sd:
        raise TooFew("all values are the same: there is no spread")
    return [float(number - sample.mean) / sample.sd for number in sorted(numbers)]


def _p(adjusted: float) -> float:
    a = adjusted
    if a >= 13:  # beyond, the formula turns back up
        return 0.0
    if a >= 0.6:
        return math.exp(1.2937 - 5.709 * a + 0.0186 * a * a)
    if a >= 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a >= 0.2:
        return 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
