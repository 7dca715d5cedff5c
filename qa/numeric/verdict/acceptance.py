"""Does a result conform? Decision rules with measurement uncertainty.

Limits, results and uncertainties are whole nanometers, so that a value on a limit is on
it. Sources: JCGM 106:2012 (7.3 and 7.4 conformance probability, 8.3 guard bands),
ISO 14253-1:2017 (95 % conformance probability by default) and its 1998 edition (k = 2).
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from statistics import NormalDist

from shop.numeric.units import to_nm

METHOD = "verdict/1"
PROVEN = 0.95  # conformance probability at the acceptance limit, ISO 14253-1:2017
ONE_SIDED_K = NormalDist().inv_cdf(PROVEN)  # 1.6449
WIDE = 6.0  # limits this many u apart do not feel each other
EDITIONS = ("2017", "1998")


class Verdict(StrEnum):
    """What can be said of one result."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does_not_conform"
    NOT_PROVEN = "not_proven"


class Rule(StrEnum):
    """How a result is held against its limits."""

    SIMPLE = "simple"
    GUARDED = "guarded"


class NarrowLimits(ValueError):
    """No result could be proven to conform at this uncertainty."""


@dataclass(frozen=True)
class Acceptance:
    """Limits to compare a result with, in nm; None where there is none on that side.

    A result conforms inside low_in..high_in, does not conform outside
    low_out..high_out, and is not proven between. Without a guard the two pairs are the
    same.
    """

    low_in: int | None
    high_in: int | None
    low_out: int | None
    high_out: int | None
    guard_nm: int

    @property
    def inside(self) -> tuple[int | None, int | None]:
        """The limits that govern: a result on or between them conforms."""
        return self.low_in, self.high_in


@dataclass(frozen=True)
class Judged:
    """A verdict, the conformance probability (None without an uncertainty), and by how
    much the result is beyond the nearer limit in nm: negative below, 0 inside, the
    guard band left out of account."""

    verdict: Verdict
    probability: float | None
    deviation_nm: int


def guard_factor(width_nm: int | None, u_nm: int, edition: str = "2017") -> float:
    """k of the guard band w = k u; `width_nm` is None for a one-sided limit.

    2017: such that a result on the acceptance limit conforms with 95 % probability
    (JCGM 106 eq. 14). Raises NarrowLimits below about 3.92 u, where not even a result
    in the middle reaches 95 %. 1998: always 2.
    """
    if edition not in EDITIONS:
        raise ValueError(f"edition {edition!r} is not known; use 2017 or 1998")
    if edition == "1998":
        return 2.0
    if width_nm is None or width_nm >= WIDE * u_nm:
        return ONE_SIDED_K
    return _two_sided_k(width_nm / u_nm)


def acceptance(
    low_nm: int | None,
    high_nm: int | None,
    u_nm: int | None,
    rule: Rule | str,
    edition: str = "2017",
) -> Acceptance:
    """The limits to compare results with, under a decision rule.

    The guard band is rounded up to the whole nanometer. Raises NarrowLimits when the
    uncertainty leaves nothing between the drawn-in limits, ValueError when the low
    limit is above the high one or a guarded rule has no positive uncertainty.
    """
    if low_nm is not None and high_nm is not None and low_nm > high_nm:
        raise ValueError("the low limit is above the high limit")
    if Rule(rule) is Rule.SIMPLE:
        return Acceptance(low_nm, high_nm, low_nm, high_nm, 0)
    if u_nm is None:
        raise ValueError("guarded acceptance needs the standard uncertainty")
    _positive(u_nm)
    two_sided = low_nm is not None and high_nm is not None
    width = high_nm - low_nm if two_sided else None
    # Rounded first, so that the last binary digit cannot add a nanometer.
    guard = math.ceil(round(guard_factor(width, u_nm, edition) * u_nm, 6))
    if two_sided and low_nm + guard > high_nm - guard:
        raise NarrowLimits(
            f"the limits are only {width / u_nm:.4g} standard uncertainties apart; "
            "nothing is left between the guard bands"
        )
    return Acceptance(
        low_in=_moved(low_nm, guard),
        high_in=_moved(high_nm, -guard),
        low_out=_moved(low_nm, -guard),
        high_out=_moved(high_nm, guard),
        guard_nm=guard,
    )


def judge(
    x_nm: int,
    low_nm: int | None,
    high_nm: int | None,
    u_nm: int | None,
    rule: Rule | str,
    edition: str = "2017",
) -> Judged:
    """Verdict on one result. Errors as for acceptance; ValueError without any limit."""
    if low_nm is None and high_nm is None:
        raise ValueError("there are no limits to judge by")
    limits = acceptance(low_nm, high_nm, u_nm, rule, edition)
    if accepts(x_nm, limits):
        verdict = Verdict.CONFORMS
    elif _inside(x_nm, limits.low_out, limits.high_out):
        verdict = Verdict.NOT_PROVEN
    else:
        verdict = Verdict.DOES_NOT_CONFORM
    probability = None
    if u_nm is not None:
        probability = conformance_probability(x_nm, low_nm, high_nm, u_nm)
    return Judged(verdict, probability, deviation(x_nm, low_nm, high_nm))


def nearest_nm(mm: float) -> int:
    """A computed length as it would be read: the nearest whole nanometer.

    What is predicted (a gap after a move, flushness on a stack of shims) is judged as a
    reading would be, so that no tolerance of ours passes what a reading would fail. The
    digits below a nanometer are those of the solver. ValueError unless finite.
    """
    if not math.isfinite(mm):
        raise ValueError(f"a length must be a number, not {mm}")
    return to_nm(mm)


def accepts(x_nm: int, limits: Acceptance) -> bool:
    """Whether a result conforms by these limits: inside low_in..high_in."""
    return _inside(x_nm, limits.low_in, limits.high_in)


def deviation(x: int, low: int | None, high: int | None) -> int:
    """Amount beyond the nearer limit, in the unit given: negative below, 0 inside."""
    if low is not None and x < low:
        return x - low
    if high is not None and x > high:
        return x - high
    return 0


def conformance_probability(
    x: float, low: float | None, high: float | None, u: float
) -> float:
    """Probability that the true value lies within limits, errors normal (JCGM 106,
    7.4).

    All in one unit. An absent limit never fails. ValueError unless u > 0.
    """
    _positive(u)
    if not math.isfinite(x) or any(math.isnan(v) for v in (low, high) if v is not None):
        raise ValueError(f"result and limits must be numbers: {x}, {low}, {high}")
    above = math.inf if high is None else (high - x) / u
    below = -math.inf if low is None else (low - x) / u
    if below > 0:  # the same area seen from the other tail, where nothing cancels
        above, below = -below, -above
    return max(0.0, _normal(above) - _normal(below))


def feeler(goes_nm: int, does_not_nm: int, u_nm: int | None) -> tuple[int, int | None]:
    """Value and standard uncertainty in nm from the last leaf that goes and the next.

    The value is the middle (an odd nanometer goes to the leaf that went in). The true
    gap lies anywhere between, so that width / sqrt(12) joins the uncertainty of the
    leaves (JCGM 100:2008, 4.3.7), rounded up. Unknown when that of the leaves is.
    """
    if goes_nm < 0:
        raise ValueError("a leaf cannot be thinner than nothing")
    if goes_nm >= does_not_nm:
        raise ValueError(
            "the leaf that goes must be thinner than the one that does not"
        )
    value = (goes_nm + does_not_nm) // 2
    if u_nm is None:
        return value, None
    _positive(u_nm)
    joined = math.sqrt(u_nm**2 + (does_not_nm - goes_nm) ** 2 / 12)
    return value, math.ceil(round(joined, 6))


def bridge_excess(radius_mm: float, a1_mm: float, a2_mm: float, d_mm: float) -> float:
    """What a bridge reads too much on a surface curved with `radius_mm`, in mm.

    Feet at a1 and a2, probe at d, along the same axis; convex radius positive, hollow
    negative. -(d - a1)(d - a2) / (2R), the parabola through the feet: 0.521 for a base
    of 50 on a radius of 600, base^2 / (8R).
    """
    if not (math.isfinite(radius_mm) and radius_mm):
        raise ValueError("the radius must be a number other than 0")
    if not all(map(math.isfinite, (a1_mm, a2_mm, d_mm))):
        raise ValueError("feet and probe must be numbers")
    if a1_mm == a2_mm:
        raise ValueError("the two feet stand on one point")
    return -(d_mm - a1_mm) * (d_mm - a2_mm) / (2 * radius_mm)


@lru_cache(maxsize=4096)
def _two_sided_k(widths: float) -> float:
    """k where Phi(k) - Phi(k - widths) = 95 %, by halving; NarrowLimits if nowhere."""
    low, high = ONE_SIDED_K, widths / 2  # at the middle the probability is greatest
    if _normal(high) - _normal(-high) < PROVEN:
        raise NarrowLimits(
            f"the limits are only {widths:.4g} standard uncertainties apart; "
            "under 3.92 no value can be proven to conform with 95 %"
        )
    for _ in range(60):
        middle = (low + high) / 2
        if _normal(middle) - _normal(middle - widths) < PROVEN:
            low = middle
        else:
            high = middle
    return high


def _inside(x: int, low: int | None, high: int | None) -> bool:
    return (low is None or low <= x) and (high is None or x <= high)


def _moved(limit: int | None, by: int) -> int | None:
    return None if limit is None else limit + by


def _normal(z: float) -> float:
    """Standard normal distribution function, right in both tails."""
    return math.erfc(-z / math.sqrt(2)) / 2


def _positive(u: float) -> None:
    if not (math.isfinite(u) and u > 0):
        raise ValueError("the standard uncertainty must be more than 0")
