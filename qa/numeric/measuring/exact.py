"""Sums and sums of squares without rounding: values become whole numbers of one unit.

Readings are decimals, so what is far from zero and differs little (the certified sets
NumAcc4 and SmLs09 of NIST) loses no digit. Results are Fractions; a float is made of
them once, at the end.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from shop.numeric.finite import NotANumber

LARGEST = Fraction(10) ** 30
LEAST = 1 / LARGEST
LEVEL = 0.95
HIGHEST = 0.999999  # beyond, quantiles run out of digits

Number = Decimal | Fraction | int | float


class LevelError(ValueError):
    """A level of confidence that is none."""


class OutOfRange(ValueError):
    """A value too large or too close to zero; the message says which."""


@dataclass(frozen=True)
class Moments:
    """How many, their mean, and the sum of squares about it, without rounding."""

    n: int
    mean: Fraction
    squares: Fraction

    @property
    def sd(self) -> float | None:
        """Standard deviation with n - 1; None of fewer than two."""
        return root(self.squares / (self.n - 1)) if self.n > 1 else None


def exact(value: Number, name: str = "value") -> Fraction:
    """A number as it stands. NotANumber for NaN and infinity; OutOfRange where it is
    neither 0 nor between 1e-30 and 1e30 in size."""
    if not math.isfinite(value):
        raise NotANumber(f"{name} must be a number, not {value}")
    number = Fraction(value)
    if number and not LEAST <= abs(number) <= LARGEST:
        raise OutOfRange(f"{name} {value} is out of range: 0, or 1e-30 to 1e30 in size")
    return number


def level_of(level: float) -> float:
    """The level, between 0.5 and HIGHEST; LevelError otherwise, and for NaN."""
    if not 0.5 <= level <= HIGHEST:
        raise LevelError(f"the level must be 0.5 to {HIGHEST}, not {level}")
    return level


def exact_list(values: Iterable[Number], name: str = "value") -> list[Fraction]:
    """Each of them by `exact`."""
    return [exact(value, name) for value in values]


def moments(values: Sequence[Fraction]) -> Moments:
    """Of at least one value: count, mean, sum of squares about the mean."""
    unit = math.lcm(*{value.denominator for value in values})
    whole = [value.numerator * (unit // value.denominator) for value in values]
    n, first = len(whole), whole[0]
    total = sum(number - first for number in whole)
    squares = sum((number - first) ** 2 for number in whole)
    return Moments(
        n,
        Fraction(first * n + total, n * unit),
        Fraction(n * squares - total * total, n * unit * unit),
    )


def root(square: Fraction) -> float:
    """The square root of what is 0 or more."""
    return math.sqrt(square)
