"""The same study by average ranges, as it can be done by hand on paper.

Source: AIAG, Measurement Systems Analysis, 4th ed. 2010, ch. III B. K1 is 1/d2 for more
than 15 cells, else 1/d2*; K2 and K3 are 1/d2* of one range (constants.py), to
the four decimals that the manual prints: so its own example comes out as printed.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from .constants import d2, d2_star
from .exact import moments

MANY, PRINTED = 15, 4
CATEGORIES = 1.41  # AIAG's square root of 2


@dataclass(frozen=True)
class RangeMethod:
    """Standard deviations by name: repeatability, reproducibility, gauge, part, total;
    None where a gauge has no spread."""

    sd: Mapping[str, float]
    share_of_total: float | None
    distinct_categories: int | None


def by_ranges(cells: Mapping[str, Mapping[str, list[Fraction]]]) -> RangeMethod:
    """Of two parts, two people and two values each, or more."""
    rows = list(cells.values())
    p, o = len(rows), len(rows[0])
    r = len(next(iter(rows[0].values())))
    ranges = [max(cell) - min(cell) for row in rows for cell in row.values()]
    k1 = _factor(d2(r) if p * o > MANY else d2_star(r, p * o))
    repeatability = float(sum(ranges) / len(ranges)) * k1
    by_person = [
        moments([value for row in rows for value in row[person]]).mean
        for person in rows[0]
    ]
    by_part = [
        moments([value for cell in row.values() for value in cell]).mean for row in rows
    ]
    people = float(max(by_person) - min(by_person)) * _factor(d2_star(o, 1))
    reproducibility = math.sqrt(max(0.0, people**2 - repeatability**2 / (p * r)))
    part = float(max(by_part) - min(by_part)) * _factor(d2_star(p, 1))
    gauge = math.hypot(repeatability, reproducibility)
    total = math.hypot(gauge, part)
    return RangeMethod(
        {
            "repeatability": repeatability,
            "reproducibility": reproducibility,
            "gauge": gauge,
            "part": part,
            "total": total,
        },
        gauge / total if gauge else None,
        categories(part, gauge),
    )


def _factor(mean_range: float) -> float:
    return round(1 / mean_range, PRINTED)


def categories(part: float, gauge: float) -> int | None:
    """How many groups of parts the gauge tells apart, at least 1 (AIAG); None of a
    gauge without spread. Both are standard deviations."""
    return max(1, math.floor(CATEGORIES * part / gauge)) if gauge else None
