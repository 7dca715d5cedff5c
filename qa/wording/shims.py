"""Shims in words: what was judged of the best stacks, and what to do when none does."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.numeric.shims.stacks import ShimPlan


def judged(plan: ShimPlan) -> str:
    """On which stacks the part was taken to rest."""
    first, second, third = plan.governing
    where = {"first": first, "second": second, "third": third}
    where["ways"] = len(plan.rests)
    words = ngettext(
        "the part as it rests on %(first)s, %(second)s and %(third)s, the only way it "
        "can",
        "the part as it rests on %(first)s, %(second)s and %(third)s, the worst of "
        "%(ways)d ways",
        len(plan.rests),
    )
    return words % where


def why_not(plan: ShimPlan) -> str:
    """Why these stacks do not level the part, "" when they do."""
    if plan.conforms:
        return ""
    if plan.worst_ideal > 1:
        return _(
            "The edge is not flat enough: no height or tilt brings every flushness "
            "within its limits (best %(best).2f, 1 is the limit). Shims cannot cure "
            "that; fill or sand."
        ) % {"best": plan.worst_ideal}
    return _(
        "Not with this stock: the right height and tilt would reach %(best).2f (1 is "
        "the limit). Thinner shims or higher stacks would."
    ) % {"best": plan.worst_ideal}
