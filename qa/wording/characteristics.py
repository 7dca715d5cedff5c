"""Characteristics in words: limits and results in their unit."""

from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

from qa.wording import lengths
from shop.numeric.units import NM_PER, PER_UNIT, PPM_PER_PERCENT


def limits(revision, quality: str) -> str:
    """ "at least 150 %", "12.0 to 12.5 mm", "is so" of an attribute."""
    if quality == "attribute":
        return _("is so")
    unit = "%" if quality == "ratio" else revision.unit
    low, high = revision.low_text, revision.high_text
    if low and high:
        words = _("%(low)s to %(high)s") % {"low": low, "high": high}
    elif low:
        words = _("at least %s") % low
    else:
        words = _("at most %s") % high
    return f"{words} {unit}".strip()


def scale(quality: str, unit: str, reader: str) -> tuple[Fraction, str]:
    """(how many of the exact unit one of the unit for people is, its name); a length in
    the reader's unit, a weight in that of its limits."""
    if quality in ("dimension", "clearance"):
        return Fraction(NM_PER[reader]), reader
    if quality == "ratio":
        return Fraction(PPM_PER_PERCENT), "%"
    return Fraction(PER_UNIT["mass"][unit]), unit


def result(quality: str, row, unit: str) -> str:
    """What was found: as typed with its unit; a length also in the reader's unit."""
    if quality == "attribute":
        return _("yes") if row.value == "yes" else _("no")
    typed = f"{row.value} {row.unit}".strip()
    if quality == "ratio":
        percent = format(Decimal(row.exact) / PPM_PER_PERCENT, ".4f")
        return _("%(percent)s %% (%(upper)s over %(lower)s %(unit)s)") % {
            "percent": percent.rstrip("0").rstrip("."),
            "upper": row.value,
            "lower": row.under,
            "unit": row.unit,
        }
    if quality in ("dimension", "clearance") and row.unit != unit:
        return f"{typed} ({lengths.length(row.exact, unit, beyond=row.deviation)})"
    return typed


def to_raise() -> str:
    return _(
        "It is not shown to conform, and nobody raised it yet: find it again, or let "
        "somebody decide."
    )
