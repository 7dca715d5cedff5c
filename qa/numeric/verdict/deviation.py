"""How far a reading is from its aim, in units of what its limits allow.

The normalized deviation d puts readings with different limits on one scale: 0 in the
middle of two limits, 1 on a limit, more outside. For a one-sided limit it is 1 on the
limit and falls to 0 one half width inside it. Definition: our own, written out in
`Scales`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qa.numeric.geometry.joint import Limits
from qa.numeric.verdict.acceptance import acceptance, nearest_nm
from shop.numeric.finite import finite
from shop.numeric.units import NM_PER_MM, to_mm

LONE_HALF_WIDTH_MM = 0.25  # where no two-sided limits of the kind say what a half is
LEAST_HALF_WIDTH_MM = 0.001  # limits that meet would make every deviation infinite


@dataclass(frozen=True)
class Scales:
    """Arrays (m,) in mm: drawn-in limits, aim, and slope of d on each side of the aim.

    d(x) = below * max(0, aim - x) + above * max(0, x - aim). Two limits: the aim is
    their middle, both slopes 1 / half width. One limit: the aim is h inside it, the
    slope 1 / h on its side and 0 on the other. No limit: both slopes 0, low = -inf and
    high = inf.
    """

    low: np.ndarray
    high: np.ndarray
    aim: np.ndarray
    below: np.ndarray
    above: np.ndarray

    @property
    def limited(self) -> np.ndarray:
        """Whether there is a limit at all (m,)."""
        return (self.below > 0) | (self.above > 0)

    def deviation(self, values: np.ndarray) -> np.ndarray:
        """Normalized deviation (m,) of values (m,) in mm; 0 where nothing limits."""
        values = np.asarray(values, dtype=float)
        under, over = self.aim - values, values - self.aim
        return self.below * np.maximum(0, under) + self.above * np.maximum(0, over)

    def conform(self, values) -> np.ndarray:
        """Whether values (m,) in mm conform, each judged as a reading would be (m,).

        In whole nanometers against the drawn-in limits, by the rule of
        `verdict.nearest_nm` and `verdict.accepts`: no tolerance is added. d only says
        how far; this says whether. What has no limits conforms. ValueError for a value
        that is no finite number.
        """
        values = np.asarray(values, dtype=float)
        if not np.isfinite(values).all():
            raise ValueError("a value to judge must be a finite number")
        whole = np.rint(values * NM_PER_MM)
        low, high = np.rint(self.low * NM_PER_MM), np.rint(self.high * NM_PER_MM)
        return (low <= whole) & (whole <= high)

    def take(self, rows) -> "Scales":
        """The scales of some rows."""
        return Scales(
            self.low[rows],
            self.high[rows],
            self.aim[rows],
            self.below[rows],
            self.above[rows],
        )


def drawn_in(
    limits: Limits, u_mm: float | None, rule: str, edition: str = "2017"
) -> Limits:
    """Limits less the guard band of the rule, in mm.

    Raises NarrowLimits when the guard bands leave nothing between, ValueError when a
    guarded rule has no uncertainty.
    """
    finite(low=limits.low, high=limits.high, u_mm=u_mm)
    if limits.empty:
        return limits
    inside = acceptance(
        _nm(limits.low), _nm(limits.high), _nm(u_mm), rule, edition=edition
    )
    return Limits(_mm(inside.low_in), _mm(inside.high_in))


def scales(limits: Sequence[Limits]) -> Scales:
    """Scales of all stations of a joint in one kind, from drawn-in limits in mm.

    The half width of one-sided limits is the narrowest two-sided one of the kind in the
    joint, else 0.25 mm.
    """
    for each in limits:
        finite(low=each.low, high=each.high)
    halves = [
        max(each.width / 2, LEAST_HALF_WIDTH_MM) for each in limits if each.two_sided
    ]
    lone = min(halves, default=LONE_HALF_WIDTH_MM)
    rows = np.array([_row(each, lone) for each in limits], dtype=float).reshape(-1, 5)
    return Scales(*rows.T)


def _row(limits: Limits, lone: float) -> tuple[float, float, float, float, float]:
    """(low, high, aim, below, above) of one station."""
    low = -np.inf if limits.low is None else limits.low
    high = np.inf if limits.high is None else limits.high
    if limits.two_sided:
        slope = 1 / max((high - low) / 2, LEAST_HALF_WIDTH_MM)
        return low, high, (low + high) / 2, slope, slope
    if limits.low is not None:
        return low, high, low + lone, 1 / lone, 0.0
    if limits.high is not None:
        return low, high, high - lone, 0.0, 1 / lone
    return low, high, 0.0, 0.0, 0.0


def _nm(mm: float | None) -> int | None:
    return None if mm is None else nearest_nm(mm)


def _mm(nm: int | None) -> float | None:
    return None if nm is None else to_mm(nm)
