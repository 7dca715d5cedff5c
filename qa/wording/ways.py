"""What could be done about a part, in a word or two, and how much work it is."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from qa.numeric.plan.free_planner import LEAVE, SET, SHIMS, TRIM
from qa.numeric.plan.ways import BOTH
from shop.numeric.units import MIN_PER_H

WORDS = {
    LEAVE: gettext_lazy("leave it"),
    SHIMS: gettext_lazy("shims only"),
    SET: gettext_lazy("set it"),
    TRIM: gettext_lazy("trim it"),
    BOTH: gettext_lazy("set and trim"),
}


FREE = {
    SET: gettext_lazy("move it"),
    BOTH: gettext_lazy("move and trim"),
}


def word(kind: str, *, held: bool) -> str:
    """held: by adjusters; else it is moved."""
    return WORDS[kind] if held else FREE.get(kind, WORDS[kind])


def minutes(value: float) -> str:
    """An estimate, no finer than it is known."""
    if value <= 0:
        return _("none")
    rounded = max(5, 5 * round(value / 5))
    if rounded < 90:
        return _("%(minutes)d min") % {"minutes": rounded}
    return _("%(hours).1f h") % {"hours": rounded / MIN_PER_H}


def learned(measured: int, set_: int, cut: int) -> str:
    """Which minutes came from rounds on record, "" for none of them."""
    times = [
        words % {"count": count}
        for words, count in (
            (_("measuring as in the last %(count)d checks"), measured),
            (_("setting as in the last %(count)d rounds"), set_),
            (_("cutting as in the last %(count)d rounds"), cut),
        )
        if count
    ]
    return ", ".join(times)
