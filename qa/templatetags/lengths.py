"""Lengths of record on pages, in the unit that the reader thinks in."""

from django import template
from django.utils.html import format_html

from shop.numeric.units import format_length

register = template.Library()

# Decimals that a page shows: a step gauge tells 0.01 mm, and 0.0005 in is finer.
PLACES = {"mm": 2, "in": 4}


def text_of(nm: int, unit: str, places: int | None = None, *, signed=False) -> str:
    """Return a length with a typographic minus and, when signed, a plus; no unit."""
    text = format_length(nm, unit, PLACES[unit] if places is None else places)
    if signed and nm > 0:
        text = f"+{text}"
    return text.replace("-", "\N{MINUS SIGN}")


@register.simple_tag(takes_context=True)
def length(context, nm, places=None, unit=None, signed=False, bare=False):
    """Draw a length of integer nanometers; nothing but a dash when there is none.

    unit: "mm" or "in"; without it the unit of the person who reads. bare: without the
    unit, for columns whose head names it. signed: with a plus above zero.
    """
    if nm is None or nm == "":
        return "\N{EN DASH}"
    unit = unit or units_of(context)
    text = text_of(nm, unit, places, signed=signed)
    if bare:
        return text
    return format_html('<span class="nowrap">{} {}</span>', text, unit)


@register.simple_tag(takes_context=True)
def length_unit(context):
    """Name the unit that lengths on this page are shown in."""
    return units_of(context)


def units_of(context) -> str:
    """The unit of the person who reads; mm where nobody is signed in."""
    request = context.get("request")
    return getattr(getattr(request, "user", None), "units", "mm")
