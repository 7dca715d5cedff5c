"""How long somebody has to wait, in words."""

from datetime import timedelta
from math import ceil

from django.utils.translation import ngettext

from shop.numeric.units import MIN_PER_H, S_PER_MIN


def wait(span: timedelta) -> str:
    """At least so long: whole minutes, then whole hours."""
    minutes = max(1, ceil(span.total_seconds() / S_PER_MIN))
    if minutes < 2 * MIN_PER_H:
        return ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}
    return ngettext("%(n)d hour", "%(n)d hours", 2) % {"n": ceil(minutes / MIN_PER_H)}
