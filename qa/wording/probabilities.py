"""Probabilities for people: what is nearly never or nearly always is not told as never
or always. A probability (0 to 1; floats end at, or beyond, both) becomes text."""

from django.utils.translation import gettext as _

from shop.numeric.units import PERCENT

THOUSANDTH = 0.001
TENTH = 0.1  # percent


def _within(share: float) -> float:
    return min(max(share, 0.0), 1.0)


def thousandths(share: float) -> str:
    """0.977, as in a column of them."""
    if _within(share) > 1 - THOUSANDTH / 2:
        return _("> 0.999")
    if _within(share) < THOUSANDTH / 2:
        return _("< 0.001")
    return f"{share:.3f}"


def percent(share: float) -> str:
    """97.7 %, as of a plan, which is as good as its readings."""
    parts = PERCENT * _within(share)
    if min(parts, PERCENT - parts) < TENTH / 2:
        return _("below 0.1 %") if parts < TENTH else _("above 99.9 %")
    return f"{parts:.1f} %"


def fine_percent(share: float) -> str:
    """Four digits that matter at the near end: 99.98 %, 0.012 %."""
    parts = PERCENT * _within(share)
    near = min(parts, PERCENT - parts)
    if near < THOUSANDTH:
        return _("below 0.001 %") if parts < THOUSANDTH else _("above 99.999 %")
    return f"{parts:.{1 if near >= 1 else 2 if near >= TENTH else 3}f} %"
