"""The ratio of two areas, exact, with its uncertainty.

Limits and results are millionths; the ratio itself stays a fraction until it is judged,
so that 149.99999 % is not 150 %. Source: JCGM 100:2008, 5.1.2 and 5.1.6 (a quotient of
uncorrelated quantities, first order).
"""

import math
from fractions import Fraction

from shop.numeric.units import PPM


def ratio_ppm(upper: Fraction, lower: Fraction) -> Fraction:
    """`upper` over `lower`, areas in one unit, in millionths, exact.

    ValueError unless the upper area is 0 or more and the lower one more than 0.
    """
    upper, lower = _area(upper, "upper"), _area(lower, "lower")
    if lower <= 0:
        raise ValueError("the area below the line must be more than 0")
    if upper < 0:
        raise ValueError("the area above the line cannot be negative")
    return PPM * upper / lower


def ratio_u_ppm(
    upper: Fraction, lower: Fraction, u_upper: Fraction, u_lower: Fraction
) -> int:
    """Standard uncertainty of the ratio in whole millionths, rounded up.

    u_upper, u_lower: standard uncertainties of the areas, in their unit. ValueError as
    for ratio_ppm, and unless both are 0 or more.
    """
    ratio = ratio_ppm(upper, lower)
    u_upper, u_lower = _area(u_upper, "u_upper"), _area(u_lower, "u_lower")
    if u_upper < 0 or u_lower < 0:
        raise ValueError("a standard uncertainty cannot be negative")
    parts = float(PPM * u_upper / lower), float(ratio * u_lower / lower)
    return math.ceil(round(math.hypot(*parts), 6))


def whole_beside(exact: Fraction, low: int | None, high: int | None) -> int:
    """The whole number shown for an exact one: on its side of each limit."""
    if low is not None and exact < low:
        return math.floor(exact)
    if high is not None and exact > high:
        return math.ceil(exact)
    return round(exact)


def _area(value, name: str) -> Fraction:
    try:
        return Fraction(value)
    except (ValueError, OverflowError):
        raise ValueError(f"{name} must be a number, not {value}") from None
