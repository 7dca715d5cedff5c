"""Buttons only for those who may press them; the view and the act ask again."""

from django import template

from shop import roles

register = template.Library()


@register.simple_tag(takes_context=True)
def may(context, verb: str) -> bool:
    """Tell whether the person who looks may do a verb of shop/roles.py."""
    request = context.get("request")
    return roles.may(request.user if request else None, verb)
