"""Masses, arms and moments of a weight and balance as who reads has them: kg and mm, in
a shop of inches lb and in. The records stay in mg and nm, as they were typed."""

from shop.numeric.units import MG_PER_KG, NM_PER, NM_PER_MM, PER_UNIT
from shop.wording.numbers import true_minus

# By the unit of lengths: its mass, with the decimals of arms and moments.
MASS = {"mm": "kg", "in": "lb"}
ARM_PLACES = {"mm": 1, "in": 2}


def _masses(kg: float, unit: str) -> float:
    return kg * MG_PER_KG / float(PER_UNIT["mass"][MASS[unit]])


def _lengths(mm: float, unit: str) -> float:
    return mm * NM_PER_MM / NM_PER[unit]


def mass(kg: float, unit: str = "mm") -> str:
    """A mass without its unit."""
    return true_minus(f"{_masses(kg, unit):z.3f}")


def arm(mm: float, unit: str = "mm") -> str:
    """An arm without its unit."""
    return true_minus(f"{_lengths(mm, unit):z.{ARM_PLACES[unit]}f}")


def moment(kg: float, mm: float, unit: str = "mm") -> str:
    """A mass times its arm, without its unit."""
    return true_minus(f"{_masses(kg, unit) * _lengths(mm, unit):z.1f}")


def weighs(kg: float, unit: str = "mm") -> str:
    """ "21.450 kg"."""
    return f"{mass(kg, unit)} {MASS[unit]}"


def at(mm: float, unit: str = "mm") -> str:
    """ "1530.0 mm"."""
    return f"{arm(mm, unit)} {unit}"
