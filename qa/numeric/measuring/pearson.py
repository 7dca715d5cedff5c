"""The Pearson curve of a mean, deviation, skewness and kurtosis, and its quantiles.

K. Pearson's system: f'/f = -(x + b1) / (b0 + b1 x + b2 x^2), the coefficients from the
moments (Stuart and Ord, Kendall's Advanced Theory of Statistics 1, 6.2); normal,
gamma, beta, Student's t and their relatives are of it. Quantiles of it in place of
the normal's: Clements, Quality Progress 22(9), 1989, 95-100; ISO 22514-2.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from shop.numeric.finite import finite

from .exact import moments

STEPS = 20001  # a quantile is right to 1e-5 of a deviation
STRAIGHT = 1e-7  # a coefficient below is none


class NoCurve(ValueError):
    """The moments belong to no curve with one top or a tail; `code` says why."""

    def __init__(self, code: str):
        super().__init__(code)
        self.code = code


@dataclass(frozen=True)
class Curve:
    """Places from low to high, and the share below each."""

    places: Sequence[float]
    below: Sequence[float]

    def quantile(self, share: float) -> float:
        """The place below which this share lies."""
        import numpy as np

        return float(np.interp(share, self.below, self.places))

    def share_below(self, place: float) -> float:
        import numpy as np

        return float(np.interp(place, self.places, self.below, left=0.0, right=1.0))


def shape_of(values: Sequence[Fraction]) -> tuple[float, float]:
    """Skewness and kurtosis (3 for the normal) of four values or more, not all the
    same: G1 and G2 + 3 of Joanes and Gill, The Statistician 47(1), 1998, 183-189."""
    sample = moments(values)
    n, sd = sample.n, math.sqrt(sample.squares / sample.n)
    z = [float(value - sample.mean) / sd for value in values]
    skewness = math.fsum(value**3 for value in z) / n
    excess = math.fsum(value**4 for value in z) / n - 3
    scale = (n - 1) / ((n - 2) * (n - 3))
    return (
        skewness * math.sqrt(n * (n - 1)) / (n - 2),
        scale * ((n + 1) * excess + 6) + 3,
    )


def pearson_curve(mean: float, sd: float, skewness: float, kurtosis: float) -> Curve:
    """The curve of these four. Raises NoCurve where there is none, NotANumber."""
    import numpy as np

    finite(mean=mean, sd=sd, skewness=skewness, kurtosis=kurtosis)
    if not sd > 0:
        raise NoCurve("no_spread_for_curve")
    if not kurtosis > skewness**2 + 1 + 1e-9:
        raise NoCurve("no_curve")
    x, log_density, slope = _standard(abs(skewness), kurtosis)
    with np.errstate(all="ignore"):
        weight = np.exp(log_density - np.nanmax(log_density[np.isfinite(x)])) * slope
    weight = np.nan_to_num(weight, nan=0.0, posinf=0.0)
    up_to = np.concatenate([[0.0], np.cumsum((weight[1:] + weight[:-1]) / 2)])
    if not 0 < up_to[-1] < math.inf:
        raise NoCurve("no_tail")
    below = up_to / up_to[-1]
    if skewness < 0:
        x, below = -x[::-1], 1 - below[::-1]
    return Curve(mean + sd * x, below)


def _standard(skewness: float, kurtosis: float):
    """Places (mean 0, deviation 1, skewness 0 or more), log density up to a constant,
    and how much each place stands for. Spaced double exponentially (Takahasi and Mori
    1974), so that a density without bound at an end is summed well."""
    import numpy as np

    square = skewness**2
    c = 10 * kurtosis - 12 * square - 18
    b0, b1 = 4 * kurtosis - 3 * square, skewness * (kurtosis + 3)
    b2 = 2 * kurtosis - 3 * square - 6
    t = np.linspace(-4, 4, STEPS)
    s, ds = np.pi / 2 * np.sinh(t), np.pi / 2 * np.cosh(t)
    inside = b1**2 - 4 * b0 * b2
    if abs(b2) < STRAIGHT and b1 > STRAIGHT:  # gamma
        away = np.exp(s)  # from the end at -b0 / b1
        log_density = -c / b1 * away + (c * b0 / b1 - b1) / b1 * s
        return away - b0 / b1, log_density, away * ds
    if abs(b2) < STRAIGHT:  # normal
        x = np.sinh(s)
        return x, -c * x**2 / (2 * b0), np.cosh(s) * ds
    if b2 > 0 and inside < 0:
        x, width = np.sinh(s), math.sqrt(-inside)
        turn = 2 / width * np.arctan((2 * b2 * x + b1) / width)
        bent = np.log(b0 + b1 * x + b2 * x**2)
        return (
            x,
            -c / (2 * b2) * bent - (b1 - c * b1 / (2 * b2)) * turn,
            np.cosh(s) * ds,
        )
    wide = math.sqrt(max(inside, 1e-18))
    ends = sorted(((-b1 - wide) / (2 * b2), (-b1 + wide) / (2 * b2)))
    between = ends[1] - ends[0]
    power = [
        -(c * end + b1) / (b2 * (end - other)) for end, other in (ends, ends[::-1])
    ]
    if b2 < 0:  # beta, between the ends
        near, far = between / (1 + np.exp(-2 * s)), between / (1 + np.exp(2 * s))
        x, slope = ends[0] + near, 2 * near * far / between * ds
    else:  # above the upper end
        far = np.exp(s)
        near, x, slope = far + between, ends[1] + far, far * ds
    with np.errstate(divide="ignore", invalid="ignore"):
        return x, power[0] * np.log(near) + power[1] * np.log(far), slope
