"""A value against pull number: slope, prediction band, and when it reaches a limit.

A repair of the tool is a break: from there on the line has another height and the same
slope, since a few pulls between two repairs do not tell a slope of their own. The band
is for one more value (NIST/SEMATECH e-Handbook 4.5.1). Where the line reaches the
limit, the bounds are where the edges of the band do: the calibration interval of one
value (Eisenhart 1939; Draper and Smith, Applied Regression Analysis, 3.2). No trend is
said where the slope could be chance at the level chosen.
"""

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from .exact import Number, exact, exact_list, level_of
from .regression import Regression, Undetermined, fit
from .remark import Remark

AHEAD = 5  # pulls that are foreseen beyond the last
MOST_BREAKS = 100


class TrendError(ValueError):
    """Breaks that cannot be used."""


@dataclass(frozen=True)
class Reach:
    """The pull at which the line is at the limit; low and high: its bounds."""

    pull: float
    low: float
    high: float


@dataclass(frozen=True)
class Foreseen:
    """The line at a pull, and between what one value there lies."""

    pull: float
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Trend:
    """What is told; None where it cannot be had, and `why`. `intercept` is that of the
    latest stretch; `r2` is of all, breaks and slope together. `course` says
    what becomes of the limit. `breaks` are the pulls at which a stretch begins."""

    n: int
    slope: float | None = None
    slope_se: float | None = None
    intercept: float | None = None
    sd: float | None = None
    r2: float | None = None
    p_slope: float | None = None
    reaches: Reach | None = None
    prediction: tuple[Foreseen, ...] = ()
    course: Remark | None = None
    why: Remark | None = None
    breaks: tuple[float, ...] = ()


def trend(
    pulls: Sequence[Number],
    values: Sequence[Number],
    limit: Number,
    *,
    breaks: Sequence[Number] = (),
    level: float = 0.95,
    at: Sequence[Number] = (),
) -> Trend:
    """The trend of values against pulls, both of shape (n,).

    Args:
        limit: in the unit of the values.
        breaks: the pulls before which something was repaired.
        level: of the band, the bounds and the test of the slope; 0.5 to 0.999999.
        at: pulls to foresee beside those given and the next five.
    Raises:
        TrendError, LevelError, NotANumber, OutOfRange.
    """
    level_of(level)
    x, y = exact_list(pulls, "pull"), exact_list(values)
    bound = exact(limit, "limit")
    starts = sorted(set(exact_list(breaks, "break")))
    if len(starts) > MOST_BREAKS:
        raise TrendError(f"{len(starts)} breaks; at most {MOST_BREAKS}")
    wanted = exact_list(at, "pull")
    line = _Line(x, starts)
    breaks = tuple(map(float, line.starts))
    if len(set(y)) < 2:
        return Trend(len(x), why=Remark("values_alike"), breaks=breaks)
    try:
        line_fit = fit([line.row(pull) for pull in x], y)
    except Undetermined:
        return Trend(len(x), why=_too_few(x, line), breaks=breaks)
    t, p = _quantile_and_p(line_fit, level)
    result = replace(_told(len(x), line_fit, p), breaks=breaks)
    ahead = [max(x).__floor__() + k for k in range(1, AHEAD + 1)]
    foreseen = sorted({*x, *wanted, *map(Fraction, ahead)})
    result = replace(
        result,
        prediction=tuple(_foreseen(line_fit, line, t, pull) for pull in foreseen),
    )
    if p is None or p > 1 - level:
        return replace(result, course=Remark("no_trend"))
    reach, course = _reached(line_fit, line, t, bound, min(x), max(x))
    return replace(result, reaches=reach, course=course)


def _told(n: int, fitted: Regression, p: float | None) -> Trend:
    return Trend(
        n,
        slope=fitted.coefficients[-1],
        slope_se=fitted.standard_errors[-1],
        intercept=fitted.coefficients[-2],
        sd=fitted.sd,
        r2=fitted.r2,
        p_slope=p,
    )


class _Line:
    """The design of parallel lines: a column for each stretch, then the pull.

    Breaks before which or after which there is no pull make no stretch.
    """

    def __init__(self, pulls: Sequence[Fraction], starts: Sequence[Fraction]):
        stretches = sorted({bisect.bisect_right(starts, pull) for pull in pulls})
        self.starts = [starts[k - 1] for k in stretches[1:]]

    @property
    def count(self) -> int:
        return len(self.starts) + 1

    def row(self, pull: Fraction, last: bool = False) -> list[Fraction]:
        """The row of a pull; `last`: as if it were in the latest stretch."""
        k = self.count - 1 if last else bisect.bisect_right(self.starts, pull)
        ones = [Fraction(int(place == k)) for place in range(self.count)]
        return [*ones, pull]


def _too_few(pulls: Sequence[Fraction], line: _Line) -> Remark:
    numbers = {"n": len(pulls), "least": line.count + 2}
    if numbers["n"] >= numbers["least"]:
        return Remark("no_stretch")
    if line.count == 1:
        return Remark("few_pulls", numbers)
    return Remark("few_in_stretches", {"stretches": line.count, **numbers})


def _quantile_and_p(fitted: Regression, level: float) -> tuple[float, float]:
    from scipy.stats import t

    slope, error = fitted.coefficients[-1], fitted.standard_errors[-1]
    quantile = float(t.ppf((1 + level) / 2, fitted.df))
    if not error:
        return quantile, 0.0 if slope else 1.0
    return quantile, float(2 * t.sf(abs(slope) / error, fitted.df))


def _foreseen(fitted: Regression, line: _Line, t: float, pull: Fraction) -> Foreseen:
    value, variance = fitted.at(line.row(pull))
    reach = t * fitted.sd * math.sqrt(1 + variance)
    return Foreseen(
        float(pull), float(value), float(value) - reach, float(value) + reach
    )


def _reached(
    fitted: Regression, line: _Line, t: float, limit: Fraction, first, last
) -> tuple[Reach | None, Remark]:
    """Where the latest stretch's line is at the limit, and what that means.

    With u the way from there: (slope u)^2 = t^2 sd^2 (1 + variance at pull + u), a
    quadratic in u whose roots are the bounds.
    """
    *heights, slope = fitted.exact_coefficients
    pull = (limit - heights[-1]) / slope
    if pull < (line.starts[-1] if line.starts else first):
        return None, Remark("away")
    variance = fitted.at(line.row(pull, last=True))[1]
    turn = fitted.inverse[-1][-1]
    mixed = fitted.inverse[-1][-2] + turn * pull
    k = t * t * fitted.sd**2
    a = float(slope) ** 2 - k * float(turn)
    b, c = -2 * k * float(mixed), -k * (1 + float(variance))
    wide = math.sqrt(max(0.0, b * b - 4 * a * c))
    reach = Reach(
        float(pull),
        float(pull) + (-b - wide) / (2 * a),
        float(pull) + (-b + wide) / (2 * a),
    )
    if pull > last:
        return reach, Remark("reaches_beyond", vars(reach))
    return reach, Remark("reaches", vars(reach))
