"""Probabilities on pages."""

from django import template

from qa.wording import probabilities

register = template.Library()


@register.filter
def thousandths(share) -> str:
    """Nothing where it is not known."""
    return "" if share is None else probabilities.thousandths(share)
