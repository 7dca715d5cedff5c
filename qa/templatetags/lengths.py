"""Lengths of record on pages, in the unit that the reader thinks in."""

from django import template
from django.utils.html import format_html

from qa.wording import lengths

register = template.Library()


@register.simple_tag(takes_context=True)
def length(context, nm, places=None, unit=None, signed=False, bare=False):
    """Draw a length of integer nanometers; nothing but a dash when there is none.

    unit: "mm" or "in"; without it the unit of the person who reads. bare: without the
    unit, for columns whose head names it. signed: with a plus above zero.
    """
    if nm is None or nm == "":
        return lengths.DASH
    unit = unit or units_of(context)
    text = lengths.number(nm, unit, places, signed=signed)
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
