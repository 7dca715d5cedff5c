"""Cures: a recipe as the window that a trace is held against, and the age of a mix."""

from shop.files.cure_trace import parse
from shop.models import CureRecipe, CureTrace
from shop.numeric import cure, cure_window
from shop.numeric.trace import Trace
from shop.numeric.units import MILLI, MIN_PER_H


def window_of(recipe: CureRecipe) -> cure_window.Window:
    """The window of a recipe, in degrees Celsius and minutes."""

    def celsius(thousandths):
        return None if thousandths is None else thousandths / MILLI

    return cure_window.Window(
        dwell_least_c=recipe.dwell_low / MILLI,
        dwell_most_c=recipe.dwell_high / MILLI,
        dwell_least_minutes=recipe.dwell_minutes,
        heating_most=celsius(recipe.ramp_most),
        peak_most_c=celsius(recipe.peak_most),
        source=recipe.name,
    )


def equivalent_hours(periods) -> float | None:
    """Equivalent age in hours of (minutes, 0.001 degC); None when not at room
    temperature throughout, where the rule does not hold."""
    try:
        return cure.equivalent_age([(m / MIN_PER_H, t / MILLI) for m, t in periods])
    except cure.CureError:
        return None


def trace_of(row: CureTrace) -> Trace:
    """The trace of a pull as numbers, read from the text that the logger wrote."""
    return parse(row.text.encode())
