"""The code of a thing, for its page."""

from django import template

from shop.identifiers import KINDS

register = template.Library()


@register.simple_tag
def code_of(kind: str, key: int) -> str:
    """The code that labels carry and /t/ leads from."""
    return KINDS[kind].code(key)
