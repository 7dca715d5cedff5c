"""What a gauge study means for whoever holds the gauge.

Up to 10 % of the width of the limits is good, over 30 % is not good enough: the guide
of AIAG, Measurement Systems Analysis, 4th ed. 2010, ch. II D (from memory).
"""

import math

from .gauge import POOLED_ABOVE, STUDY, Study
from .remark import Remark

GOOD, USABLE = 0.10, 0.30
WISHED_CATEGORIES = 5


def advice(study: Study) -> list[Remark]:
    """Of a study that could be told; of one that could not, nothing. Where the steps of
    the gauge hide its spread, nothing is said of what it is good for."""
    if study.why:
        return []
    if not study.sd["gauge"]:
        return [Remark("no_gauge_spread")]
    remarks = [_limits(study), *_tolerance(study), *_categories(study)]
    repeats = study.sd["repeatability"] >= study.sd["reproducibility"]
    return [
        *remarks,
        Remark("most_repeating" if repeats else "most_people"),
        *_pooled(study),
    ]


def _limits(study: Study) -> Remark:
    good, usable = _half_widths(study.sd["gauge"])
    worst, still = _half_widths(study.intervals["gauge"][1])
    widths = {"good": good, "usable": usable}
    return Remark(
        "good_for", widths | {"good_at_worst": worst, "usable_at_worst": still}
    )


def _half_widths(gauge: float) -> list[float]:
    return [_up(STUDY * gauge / (2 * share)) for share in (GOOD, USABLE)]


def _tolerance(study: Study) -> list[Remark]:
    share = study.share_of_tolerance
    if share is None:
        return []
    low, high = study.intervals["share_of_tolerance"]
    values = {"share": share, "low": low, "high": high}
    if share <= GOOD:
        return [Remark("tolerance_good", values)]
    if share <= USABLE:
        return [Remark("tolerance_usable", values)]
    return [Remark("tolerance_not_good", values)]


def _categories(study: Study) -> list[Remark]:
    count = study.distinct_categories
    if count is None or count >= WISHED_CATEGORIES:
        return []
    values = {"count": count, "wished": WISHED_CATEGORIES}
    return [Remark("few_groups" if count > 1 else "parts_not_apart", values)]


def _pooled(study: Study) -> list[Remark]:
    if not study.pooled:
        return []
    p = next(row.p for row in study.anova if row.source == "part_x_person")
    if p is None:
        return [Remark("pooled")]
    return [Remark("pooled_by_p", {"p": p, "above": POOLED_ABOVE})]


def _up(value: float) -> float:
    """Rounded up to two digits."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return math.ceil(value / step - 1e-9) * step
