"""Least squares without rounding: normal equations in exact fractions.

Nothing is lost to cancellation, however badly the columns are scaled or alike: the
certified regressions of NIST (Longley, Wampler, Pontius, Norris) come out in all their
digits. Meant for tens of columns and up to thousands of rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from .exact import Number, exact_list, moments, root


class Undetermined(ValueError):
    """The rows do not determine every coefficient, or leave nothing to judge by."""


@dataclass(frozen=True)
class Regression:
    """Coefficients, what is left, and the inverse of X'X: exact."""

    exact_coefficients: tuple[Fraction, ...]
    inverse: tuple[tuple[Fraction, ...], ...]
    squares_left: Fraction
    squares: Fraction  # of y: about its mean, or about 0 without a constant
    df: int

    @property
    def coefficients(self) -> tuple[float, ...]:
        return tuple(map(float, self.exact_coefficients))

    @property
    def sd(self) -> float:
        """Standard deviation of what is left."""
        return root(self.squares_left / self.df)

    @property
    def standard_errors(self) -> tuple[float, ...]:
        scale = self.squares_left / self.df
        return tuple(root(scale * row[k]) for k, row in enumerate(self.inverse))

    @property
    def r2(self) -> float | None:
        """Share of the squares that is explained; None where y does not vary."""
        return float(1 - self.squares_left / self.squares) if self.squares else None

    def at(self, row: Sequence[Fraction]) -> tuple[Fraction, Fraction]:
        """Value at a row of the design, and its variance in units of sd squared."""
        value = sum(map(Fraction.__mul__, row, self.exact_coefficients), Fraction(0))
        filled = [k for k, entry in enumerate(row) if entry]
        pairs = ((i, j) for i in filled for j in filled)
        variance = sum(
            (row[i] * row[j] * self.inverse[i][j] for i, j in pairs), Fraction(0)
        )
        return value, variance


def fit(
    design: Sequence[Sequence[Number]], y: Sequence[Number], *, constant: bool = True
) -> Regression:
    """y = design @ coefficients, least squares.

    Args:
        design: shape (n, k), n > k; a constant is a column of ones like any other.
        y: shape (n,).
        constant: the columns hold a constant, so that r2 counts from the mean of y.
    Raises:
        Undetermined, NotANumber, OutOfRange.
    """
    rows = [exact_list(row, "design") for row in design]
    numbers = exact_list(y)
    columns = len(rows[0]) if rows else 0
    df = len(rows) - columns
    if df < 1 or not columns:
        raise Undetermined(f"{len(rows)} rows do not tell {columns} coefficients")
    gram = [[Fraction(0)] * (columns + 1) for _ in range(columns)]
    for row, value in zip(rows, numbers, strict=True):
        filled = [k for k, entry in enumerate(row) if entry]
        for i in filled:
            for j in filled:
                gram[i][j] += row[i] * row[j]
            gram[i][columns] += row[i] * value
    inverse = _inverse([row[:columns] for row in gram])
    moment = [row[columns] for row in gram]
    coefficients = [sum(map(Fraction.__mul__, row, moment)) for row in inverse]
    about_zero = sum((value * value for value in numbers), Fraction(0))
    left = about_zero - sum(map(Fraction.__mul__, coefficients, moment))
    return Regression(
        tuple(coefficients),
        tuple(map(tuple, inverse)),
        left,
        moments(numbers).squares if constant else about_zero,
        df,
    )


def _inverse(matrix: list[list[Fraction]]) -> list[list[Fraction]]:
    """Gauss and Jordan, exact. Undetermined of a singular one."""
    size = len(matrix)
    work = [
        [*row, *(Fraction(int(i == j)) for j in range(size))]
        for i, row in enumerate(matrix)
    ]
    for k in range(size):
        pivot = next((i for i in range(k, size) if work[i][k]), None)
        if pivot is None:
            raise Undetermined(
                "one column is made of others: they cannot be told apart"
            )
        work[k], work[pivot] = work[pivot], work[k]
        scale = work[k][k]
        work[k] = [value / scale for value in work[k]]
        for i in range(size):
            times = work[i][k]
            if i != k and times:
                work[i] = [
                    a - times * b if b else a
                    for a, b in zip(work[i], work[k], strict=True)
                ]
    return [row[size:] for row in work]
