"""The mark of a value on a map, with its word for those who cannot see it."""

from django import template
from django.utils.html import format_html

from shop.wording import icons, states

register = template.Library()


@register.simple_tag
def map_mark(state: str):
    """Draw the shape of a map's state ("above", "stale" ...), nothing where there is
    none; the word is said to screen readers."""
    if not state:
        return ""
    row = states.VERDICTS[state]
    return format_html(
        '{}<span class="visually-hidden"> {}</span>', icons.svg(row), row.word
    )
