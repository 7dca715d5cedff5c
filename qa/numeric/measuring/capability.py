"""Capability and performance of a characteristic: Cp, Cpk, Pp, Ppk with their bounds.

Sources: NIST/SEMATECH e-Handbook 6.1.6; ISO 22514-2 (performance Pp, Ppk by the overall
deviation, and by quantiles where the values are not normal). Bounds of Cp and Pp:
chi-square. Bounds of Cpk and Ppk: Bissell, Applied Statistics 39(3), 1990,
+-z sqrt(1/(9n) + Cpk^2/(2 df)). The deviation within and its degrees of freedom:
spread.py. Quantiles of values that are not normal: pearson.py.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from operator import gt, lt

from shop.numeric.finite import finite

from .charts import chart, grouped
from .exact import LEVEL, Moments, Number, exact, exact_list, level_of, moments
from .normality import FEWEST, Normality, anderson_darling
from .pearson import Curve, NoCurve, pearson_curve, shape_of
from .proportion import Seen, seen_of, share_bounds
from .remark import Remark
from .spread import ESTIMATORS, Spread, from_moving_ranges, within

NOT_NORMAL = 0.05  # p of the test below which the normal is not taken
OUTER = 0.00135  # share beyond each end of what a process spreads: 3 sd of a normal
FEWEST_FOR_TAILS = 50  # as NIST advises for an index
ADVISED = 50  # values: NIST 6.1.6
Interval = tuple[float, float]


class LimitsError(ValueError):
    """Limits that are none: none at all, or the wrong way round."""


class WithinError(ValueError):
    """A deviation within that these values do not have."""


@dataclass(frozen=True)
class Capability:
    """What can be said; None where it cannot. `method` is "normal", "percentile" or
    None, and `why` says why nothing is said. A share `below` or `above` that is less
    than the values can show is None too, and a note says how much less; `seen_below`
    and `seen_above` are how many of them lie there, whatever the method."""

    n: int
    mean: float | None = None
    sd_overall: float | None = None
    sd_within: float | None = None
    cp: float | None = None
    cpk: float | None = None
    pp: float | None = None
    ppk: float | None = None
    cp_interval: Interval | None = None
    cpk_interval: Interval | None = None
    pp_interval: Interval | None = None
    ppk_interval: Interval | None = None
    below: float | None = None
    above: float | None = None
    seen_below: Seen | None = None
    seen_above: Seen | None = None
    normality: Normality | None = None
    method: str | None = None
    notes: tuple[Remark, ...] = ()
    why: Remark | None = None


def capability(
    values: Sequence[Number],
    lower: Number | None,
    upper: Number | None,
    *,
    subgroups: Sequence[str] | None = None,
    how: str | None = None,
    level: float = LEVEL,
) -> Capability:
    """How values lie in limits.

    Args:
        values: shape (n,), in the unit of the limits, in order of time.
        lower, upper: limits; one of them may be None. Between equal ones there is no
            width to be capable of, and why says so.
        subgroups: label of each value; without, the deviation within is that of
            neighbors (mean moving range over d2).
        how: one of spread.ESTIMATORS; None: pooled.
        level: confidence of the bounds.
    Raises:
        LimitsError, WithinError, LevelError, NotANumber, OutOfRange, SizeError.
    """
    level_of(level)
    low, high = _limits(lower, upper)
    numbers = exact_list(values)
    if len(numbers) < 2:
        return Capability(len(numbers), why=Remark("one_value"))
    sample = moments(numbers)
    result = _first_of(sample, numbers, low, high)
    if None not in (low, high) and low == high:
        return replace(result, why=Remark("no_width"))
    if not sample.sd:
        return replace(result, why=Remark("alike"))
    spread, notes = _within(numbers, subgroups, how)
    result = replace(result, sd_within=spread.sd if spread else None, notes=notes)
    unsteady = len(chart(numbers, subgroups).signals)
    if unsteady:
        result = _noted(result, Remark("unsteady", {"signals": unsteady}))
    if sample.n < FEWEST:
        why = Remark("few_for_shape", {"n": sample.n, "least": FEWEST})
        return replace(result, why=why)
    normality = anderson_darling(numbers)
    result = replace(result, normality=normality)
    if sample.n < ADVISED:
        result = _noted(result, Remark("few", {"least": ADVISED}))
    if normality.p < NOT_NORMAL:
        return _by_quantiles(result, numbers, (low, high))
    return _by_normal(result, sample, spread, (low, high), level)


def cp_bounds(cp: float, spread: Spread, level: float = 0.95) -> Interval:
    """Bounds of an index of the spread alone, by chi-square."""
    finite(cp=cp, sd=spread.sd, df=spread.df)
    low, high = spread.factors(level_of(level))
    return cp * low, cp * high


def cpk_bounds(cpk: float, n: int, df: float, level: float = 0.95) -> Interval:
    """Bounds of an index of place and spread, after Bissell: of n values, a deviation
    with df degrees of freedom. They hold 93 to 97 % for 95 from n = 20 on."""
    from scipy.stats import norm

    finite(cpk=cpk, df=df)
    reach = float(norm.ppf((1 + level_of(level)) / 2))
    reach *= math.sqrt(1 / (9 * n) + cpk * cpk / (2 * df))
    return cpk - reach, cpk + reach


def _limits(lower: Number | None, upper: Number | None):
    low, high = (
        None if limit is None else exact(limit, name)
        for limit, name in ((lower, "lower"), (upper, "upper"))
    )
    if low is None and high is None:
        raise LimitsError("a lower limit, an upper limit or both must be given")
    if None not in (low, high) and low > high:
        raise LimitsError(f"the lower limit {lower} is above the upper limit {upper}")
    return low, high


def _within(
    numbers: list[Fraction], subgroups: Sequence[str] | None, how: str | None
) -> tuple[Spread | None, tuple[Remark, ...]]:
    groups = grouped(numbers, subgroups)
    if all(len(group) == 1 for group in groups):
        if how in ("sbar", "pooled"):
            raise WithinError(f"{how} needs subgroups of two values or more")
        if len(numbers) < 3:
            return None, ()
        spread = from_moving_ranges(numbers)
        return (spread if spread.sd else None), (Remark("by_neighbors"),)
    if len(groups) == 1:
        return None, (Remark("one_subgroup_within"),)
    if how not in (None, *ESTIMATORS):
        raise WithinError(f"{how} is none of {', '.join(ESTIMATORS)}")
    spread = within(groups, how or "pooled")
    return (spread if spread and spread.sd else None), ()


def _by_normal(
    estimate: Capability, moments: Moments, spread: Spread | None, limits, level: float
) -> Capability:
    from scipy.special import ndtr

    n, mean = moments.n, moments.mean
    overall = Spread(moments.sd, n - 1, "overall", unbiased=False)
    pp, ppk = _indices(mean, overall.sd, *limits)
    cp, cpk = _indices(mean, spread.sd, *limits) if spread else (None, None)
    low, high = limits
    estimate = replace(
        estimate,
        method="normal",
        cp=cp,
        cpk=cpk,
        pp=pp,
        ppk=ppk,
        cp_interval=None if cp is None else cp_bounds(cp, spread, level),
        cpk_interval=None if cpk is None else cpk_bounds(cpk, n, spread.df, level),
        pp_interval=None if pp is None else cp_bounds(pp, overall, level),
        ppk_interval=cpk_bounds(ppk, n, n - 1, level),
        below=None if low is None else float(ndtr(float(low - mean) / overall.sd)),
        above=None if high is None else float(ndtr(float(mean - high) / overall.sd)),
    )
    # Some 38 deviations away a float holds nothing.
    if estimate.below == 0:
        estimate = _noted(replace(estimate, below=None), Remark("below_floats"))
    if estimate.above == 0:
        estimate = _noted(replace(estimate, above=None), Remark("above_floats"))
    return estimate


def _indices(mean: Fraction, sd: float, low, high) -> tuple[float | None, float]:
    """The index of the spread (None with one limit) and of the place."""
    ways = [high - mean] if high is not None else []
    ways += [mean - low] if low is not None else []
    both = float(high - low) / (6 * sd) if len(ways) == 2 else None
    return both, float(min(ways)) / (3 * sd)


def _by_quantiles(result: Capability, numbers: list[Fraction], limits) -> Capability:
    """Pp and Ppk with the quantiles of a Pearson curve. No Cp and Cpk, which are of a
    normal, and no bounds: none was found to hold (bootstrap bounds of 95 % hold 35 % of
    samples of 100 exponential values, whose index comes out a fifth too good)."""
    if result.n < FEWEST_FOR_TAILS:
        why = Remark("few_for_tails", {"n": result.n, "least": FEWEST_FOR_TAILS})
        return replace(result, why=why)
    result = _noted(_noted(result, Remark("by_quantiles")), Remark("no_bounds"))
    try:
        curve = pearson_curve(result.mean, result.sd_overall, *shape_of(numbers))
    except NoCurve as why:
        return replace(result, why=Remark(why.code))
    low, high = (None if limit is None else float(limit) for limit in limits)
    pp, ppk = _quantile_indices(curve, low, high)
    result = replace(result, method="percentile", pp=pp, ppk=ppk)
    if low is not None:
        seen = result.seen_below.count
        result = _shared(result, "below", curve.share_below(low), seen)
    if high is not None:
        seen = result.seen_above.count
        result = _shared(result, "above", 1 - curve.share_below(high), seen)
    return result


def _first_of(sample: Moments, numbers: list[Fraction], low, high) -> Capability:
    """What is so whatever the values are like."""
    return Capability(
        sample.n,
        float(sample.mean),
        sample.sd,
        seen_below=_seen(numbers, low, lt),
        seen_above=_seen(numbers, high, gt),
    )


def _seen(numbers: list[Fraction], limit: Fraction | None, beyond) -> Seen | None:
    if limit is None:
        return None
    return seen_of(sum(beyond(value, limit) for value in numbers), len(numbers))


def _shared(estimate: Capability, side: str, share: float, seen: int) -> Capability:
    """With the share on one side as the curve has it, unless that is less than n values
    show: beyond all of them less than one in n; where some lie, less than what has so
    many of n in 95 of 100 cases."""
    low = side == "below"
    if share >= (share_bounds(seen, estimate.n)[0] if seen else 1 / estimate.n):
        return replace(estimate, **{side: share})
    if seen:
        code = Remark(
            "below_ends" if low else "above_ends", {"seen": seen, "n": estimate.n}
        )
        return _noted(estimate, code)
    most = seen_of(0, estimate.n).high
    values = {"n": estimate.n, "most": most}
    return _noted(estimate, Remark("below_unseen" if low else "above_unseen", values))


def _quantile_indices(curve: Curve, low, high) -> tuple[float | None, float]:
    least, middle, most = map(curve.quantile, (OUTER, 0.5, 1 - OUTER))
    ways = [(high - middle) / (most - middle)] if high is not None else []
    ways += [(middle - low) / (middle - least)] if low is not None else []
    both = (high - low) / (most - least) if len(ways) == 2 else None
    return both, min(ways)


def _noted(estimate: Capability, note: Remark) -> Capability:
    return replace(estimate, notes=(*estimate.notes, note))
