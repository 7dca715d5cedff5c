"""Masses and arms in the unit of who reads: {{ kg|weighs:unit }}."""

from django import template

from shop.wording import masses

register = template.Library()
register.filter("mass", masses.mass)
register.filter("weighs", masses.weighs)
register.filter("arm_at", masses.at)


@register.simple_tag
def mass_unit(unit: str) -> str:
    return masses.MASS[unit]
