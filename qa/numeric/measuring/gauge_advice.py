"""What a gauge study means for whoever holds the gauge, in plain sentences.

Up to 10 % of the width of the limits is good, over 30 % is not good enough: the guide
of AIAG, Measurement Systems Analysis, 4th ed. 2010, ch. II D (from memory).
"""

import math

from .gauge import POOLED_ABOVE, STUDY, Study

GOOD, USABLE = 0.10, 0.30
WISHED_CATEGORIES = 5


def advice(study: Study) -> str:
    """Of a study that could be told; of one that could not, why."""
    if study.why:
        return f"Cannot tell: {study.why}."
    told = [_limits(study), *_tolerance(study), *_categories(study)]
    told += [_most(study), *_pooled(study)]
    return " ".join(told)


def _limits(study: Study) -> str:
    if not study.sd["gauge"]:
        return "No spread seen: read finer, the gauge's steps hide it."
    good, usable = _half_widths(study.sd["gauge"])
    worst, still = _half_widths(study.intervals["gauge"][1])
    return (
        f"Good enough for limits of ±{good} or wider, usable down to ±{usable}, "
        "not for narrower ones (10 % and 30 % of the width). "
        f"At the upper bound of this study that is ±{worst} and ±{still}."
    )


def _half_widths(gauge: float) -> list[str]:
    return [_up(STUDY * gauge / (2 * share)) for share in (GOOD, USABLE)]


def _tolerance(study: Study) -> list[str]:
    share = study.share_of_tolerance
    if share is None:
        return []
    verdict = "good enough" if share <= GOOD else "usable"
    verdict = "not good enough" if share > USABLE else verdict
    low, high = study.intervals["share_of_tolerance"]
    return [
        f"It takes {share:.0%} of this tolerance ({low:.0%} to {high:.0%}): {verdict}."
    ]


def _categories(study: Study) -> list[str]:
    count = study.distinct_categories
    if count is None or count >= WISHED_CATEGORIES:
        return []
    groups = "does not tell these parts apart"
    if count > 1:
        groups = f"tells {count} groups of these parts apart"
    return [f"It {groups}; {WISHED_CATEGORIES} are wished, or parts that differ more."]


def _most(study: Study) -> str:
    sd = study.sd
    if sd["repeatability"] >= sd["reproducibility"]:
        return (
            "Most of it is repeating: look at the gauge, how it is held and set down."
        )
    return "Most of it is between people: show each other how it is read."


def _pooled(study: Study) -> list[str]:
    if not study.pooled:
        return []
    p = next(row.p for row in study.anova if row.source == "part_x_person")
    shown = "" if p is None else f" (p {p:.2f} > {POOLED_ABOVE})"
    return [f"Interaction pooled with repeatability{shown}."]


def _up(value: float) -> str:
    """Rounded up to two digits."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{math.ceil(value / step - 1e-9) * step:.6g}"
