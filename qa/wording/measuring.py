"""Remarks on measured values in words, and the rules of charts by name."""

import math
from collections.abc import Iterable

from django.utils.translation import gettext_lazy as _

from qa.numeric.measuring.gauge_advice import advice
from qa.numeric.measuring.remark import Remark
from qa.numeric.measuring.trend import Trend

REMARKS = {
    # Of any values.
    "alike": _("all values are the same: there is no spread"),
    # Of values in limits.
    "one_value": _("fewer than two values have no spread"),
    "no_width": _("the limits are one value: no spread fits between them"),
    "few_for_shape": _(
        "{n} values; at least {least} are needed to look at their shape"
    ),
    "few_for_tails": _(
        "the values are not normal; {n} do not tell how their tails run "
        "on, at least {least} are needed"
    ),
    "no_spread_for_curve": _("the values are not normal, and there is no spread"),
    "no_curve": _(
        "the values are not normal, and no curve has so much skewness with so "
        "little kurtosis"
    ),
    "no_tail": _("the values are not normal, and the tail is too long for a curve"),
    "unsteady": _(
        "the chart gives {signals} signals: what is not steady promises nothing"
    ),
    "few": _("fewer than {least} values: read the bounds first"),
    "by_neighbors": _(
        "within: mean moving range of neighbors / d2, in the order of the rows"
    ),
    "one_subgroup_within": _("one subgroup: within cannot be told from overall"),
    "by_quantiles": _("not normal: indices by quantiles of a Pearson curve"),
    "no_bounds": _("no bounds; from few values it comes out up to a third too good"),
    "below_unseen": _(
        "none of {n} values lies below: the share there is less than 1/{n} as far as "
        "they show, and below {most:.2%} with 95 %"
    ),
    "above_unseen": _(
        "none of {n} values lies above: the share there is less than 1/{n} as far as "
        "they show, and below {most:.2%} with 95 %"
    ),
    "below_ends": _(
        "{seen} of {n} values lie below, more than the curve reaches: its share is not "
        "told"
    ),
    "above_ends": _(
        "{seen} of {n} values lie above, more than the curve reaches: its share is not "
        "told"
    ),
    "below_floats": _("the share below is less than can be reckoned"),
    "above_floats": _("the share above is less than can be reckoned"),
    # Of charts.
    "one_subgroup": _("one subgroup shows no course"),
    "few_for_chart": _("{n} values; at least {least} are needed"),
    "alike_within": _("the values of each subgroup are the same: no spread within"),
    # Of studies of a gauge.
    "one_part": _("one part does not tell how parts differ"),
    "one_person": _("one person does not tell what people add"),
    "one_repeat": _(
        "one value per part and person does not tell how well a value repeats"
    ),
    "whole_model": _(
        "The table shows the model with the interaction: F of part and person is "
        "against the interaction"
    ),
    "pooled_model": _(
        "The table shows the model with the interaction: F of part and person is "
        "against it. The deviations are of the model without it: against the pooled "
        "repeatability ({df} degrees of freedom) F is {part_f:.4g} for part "
        "(p {part_p:.2g}) and {person_f:.4g} for person (p {person_p:.2g})"
    ),
    "blind_gauge": _(
        "every part read the same whoever read it: shares of a spread that was not "
        "seen are not told, nor its bounds; read finer"
    ),
    "blind_repeats": _(
        "every person read every part the same each time: bounds of a repeatability "
        "that was not seen are not told; read finer"
    ),
    "no_gauge_spread": _("No spread seen: read finer, the gauge's steps hide it."),
    "good_for": _(
        "Good enough for limits of ±{good:.6g} or wider, usable down to "
        "±{usable:.6g}, not for narrower ones (10 % and 30 % of the width). At the "
        "upper bound of this study that is ±{good_at_worst:.6g} and "
        "±{usable_at_worst:.6g}."
    ),
    "tolerance_good": _(
        "It takes {share:.0%} of this tolerance ({low:.0%} to {high:.0%}): good enough."
    ),
    "tolerance_usable": _(
        "It takes {share:.0%} of this tolerance ({low:.0%} to {high:.0%}): usable."
    ),
    "tolerance_not_good": _(
        "It takes {share:.0%} of this tolerance ({low:.0%} to "
        "{high:.0%}): not good enough."
    ),
    "parts_not_apart": _(
        "It does not tell these parts apart; {wished} are wished, or "
        "parts that differ more."
    ),
    "few_groups": _(
        "It tells {count} groups of these parts apart; {wished} are wished, "
        "or parts that differ more."
    ),
    "most_repeating": _(
        "Most of it is repeating: look at the gauge, how it is held and set down."
    ),
    "most_people": _("Most of it is between people: show each other how it is read."),
    "pooled": _("Interaction pooled with repeatability."),
    "pooled_by_p": _("Interaction pooled with repeatability (p {p:.2f} > {above})."),
    # Of whole parts.
    "few_stations": _(
        "{n} of {all} stations were read and have limits; at least {least} are needed"
    ),
    "stations_alike": _(
        "the stations that were read all lie to one side: they do not tell the whole "
        "part"
    ),
    "no_saddle": _("the stations that were read do not tell a twist from a tilt"),
    # Of trends.
    "values_alike": _("the values do not vary"),
    "few_pulls": _("{n} values; at least {least} are needed"),
    "few_in_stretches": _(
        "{n} values in {stretches} stretches; at least {least} are needed"
    ),
    "no_stretch": _("no stretch between two breaks holds two pulls"),
    "no_trend": _("no trend: the slope could be chance"),
    "away": _("it moves away from the limit, or was beyond it from the start"),
    "reaches": _("it reaches the limit at pull {pull:.1f} ({low:.1f} to {high:.1f})"),
    "reaches_beyond": _(
        "expected to reach the limit at pull {pull:.1f} ({low:.1f} to {high:.1f}), "
        "beyond what was measured"
    ),
}
# The course of what has a target and no limit.
RISES, FALLS = _("it rises by {rate} a pull"), _("it falls by {rate} a pull")
AT_TARGET = {
    "reaches": _("it was at target at pull {pull:.1f} ({low:.1f} to {high:.1f})"),
    "reaches_beyond": _("back at target at pull {pull:.1f} ({low:.1f} to {high:.1f})"),
}
# Run rules by their names, and who published them.
RULE_SOURCES = {
    "western_electric": "Western Electric 1956",
    "nelson": "Nelson 1984, JQT 16(4)",
}
# The constants that limits of a chart are made by, and who publishes them.
CHART_LIMITS = {
    "individuals": _("mean moving range / d2; d2 1.128, d3 0.853 for two"),
    "mean_range": _("mean range / d2 of the size of each subgroup; d2, d3"),
    "mean_deviation": _("mean deviation / c4 of the size of each subgroup; c4"),
}
# Where subgroups differ in size: each weighs by what it is worth.
UNEVEN_LIMITS = {
    "mean_range": _("ranges / d2, weighted by d2²/d3² (Burr 1969); d2, d3"),
    "mean_deviation": _("deviations / c4, weighted by c4²/(1 - c4²) (Burr 1969); c4"),
}
PUBLISHED = _("as in ASTM E2587 table 1 and NIST handbook 6.3.2, not rounded")
SPREADS = {"range": _("range"), "deviation": _("deviation")}
_ONE = _("1 point beyond 3 sd")
_TWO = _("2 of 3 points beyond 2 sd on one side")
_FOUR = _("4 of 5 points beyond 1 sd on one side")
BEYOND = _("spread beyond its limits")
RULES = {
    "western_electric_1": _ONE,
    "western_electric_2": _TWO,
    "western_electric_3": _FOUR,
    "western_electric_4": _("8 points in a row on one side"),
    "nelson_1": _ONE,
    "nelson_2": _("9 points in a row on one side"),
    "nelson_3": _("6 points in a row that rise, or fall"),
    "nelson_4": _("14 points in a row up and down"),
    "nelson_5": _TWO,
    "nelson_6": _FOUR,
    "nelson_7": _("15 points in a row within 1 sd"),
    "nelson_8": _("8 points in a row beyond 1 sd, on either side"),
}


def chart_limits(kind: str, *, even: bool) -> str:
    """How far the limits of a chart lie, and by which published constants. even: all
    subgroups are of one size."""
    words = _("Limits: 3 standard deviations, by {how} {published}")
    how = CHART_LIMITS if even else CHART_LIMITS | UNEVEN_LIMITS
    return str(words).format(how=how[kind], published=PUBLISHED)


def remark(code: Remark | None) -> str | None:
    return None if code is None else str(REMARKS[code.code]).format(**code.values)


def remarks(codes: Iterable[Remark]) -> list[str]:
    return [remark(code) for code in codes]


def drift(trend: Trend, unit: str, digits: int, *, to_target: bool) -> str:
    """The course of what has no limit: how much it rises or falls a pull, and when it
    is at the target that it was held against. digits: decimals at least."""
    if trend.course.code == "no_trend":
        return remark(trend.course)
    rate = abs(trend.slope)
    digits = max(digits, 1 - math.floor(math.log10(rate)))
    words = RISES if trend.slope > 0 else FALLS
    sentences = [words.format(rate=f"{rate:.{digits}f} {unit}")]
    if to_target and trend.reaches:
        sentences.append(AT_TARGET[trend.course.code].format(**vars(trend.reaches)))
    return "; ".join(sentences)


def gauge_advice(study) -> str:
    """What a study means for whoever holds the gauge; where it tells nothing, why."""
    if study.why:
        return f"Cannot tell: {remark(study.why)}."
    return " ".join(remarks(advice(study)))


def share(value: float, digits: int = 2) -> str:
    """A share in percent; what is more than nothing is not told as nothing, nor what
    is less than all as all."""
    least = 10 ** -(2 + digits)
    if 0 < value < least:
        return f"< {least:.{digits}%}"
    if 1 - least < value < 1:
        return f"> {1 - least:.{digits}%}"
    return f"{value:.{digits}%}"


def too_many_repairs(most: int) -> str:
    return _("its pulls lie between more than {n} repairs: too many for a line").format(
        n=most
    )


def rule(name: str) -> str:
    """What a run rule says, and that of the spread."""
    return str(BEYOND if name.endswith("_spread") else RULES[name])
