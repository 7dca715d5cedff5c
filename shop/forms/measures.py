"""What a person measured, typed with its unit: "412 g", "0.5 in", "21,5 C".

The typed text is kept, and beside it a whole number of the unit of record:
milligrams, nanometers, thousandths of a degree Celsius, pascal.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.numeric.units import (
    FRACTION,
    PER_UNIT,
    ZERO_C_IN_F,
    LengthError,
    fraction_nm,
)

NUMBER = re.compile(r"([+\-−]?)(\d{1,12})(?:[.,](\d{1,9}))?\s*([^\d\s.,]*)")


@dataclass(frozen=True)
class Measure:
    """`amount` in the unit of record, `text` as it was typed with its unit."""

    amount: int
    text: str


def parse_measure(text: str, dimension: str, unit: str) -> Measure:
    """Read a number with an optional unit; ValueError says what is wrong.

    Rounded to the nearest unit of record, half to even. A length may be a fraction of
    an inch, "1 1/2 in": exact, or refused.
    """
    if dimension == "length" and "/" in text:
        return _fraction(text, unit)
    match = NUMBER.fullmatch(text.strip())
    if match is None:
        raise ValueError(_("Write a number, with its unit if you like: 12.5."))
    sign, whole, decimals, named = match.groups()
    units = PER_UNIT[dimension]
    spelled = {name.lower(): name for name in units}
    name = spelled.get(named.lower().lstrip("°") or unit.lower())
    if name is None:
        known = ", ".join(
            {"c": "°C", "f": "°F"}.get(symbol, symbol) for symbol in units
        )
        raise ValueError(
            _("“%(unit)s” is no unit for this. Write one of these: %(known)s.")
            % {"unit": named, "known": known}
        )
    value = Fraction(f"{whole}.{decimals or '0'}") * (-1 if sign in ("-", "−") else 1)
    if name == "f":
        value -= ZERO_C_IN_F
    typed = f"{sign}{whole}{'.' + decimals if decimals else ''}"
    unit_shown = {"c": "°C", "f": "°F"}.get(name, name)
    return Measure(round(value * units[name]), f"{typed} {unit_shown}")


def _fraction(text: str, unit: str) -> Measure:
    """A length as people read it off a rule: "1/4 in", "1 1/2 in"."""
    try:
        nm = fraction_nm(text, unit)
    except LengthError as why:
        raise ValueError(f"{why}.") from None
    match = FRACTION.fullmatch(text.strip())
    sign, whole, over, under, _unit = match.groups()
    typed = f"{sign}{whole} {over}/{under}" if whole else f"{sign}{over}/{under}"
    return Measure(nm, f"{typed} in")


class MeasureField(forms.CharField):
    """A measurement; cleans to a Measure, or None when it may be empty."""

    def __init__(self, *, dimension, unit, least=None, most=None, **named):
        named.setdefault("max_length", 40)
        named.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal"}))
        super().__init__(**named)
        self.dimension, self.unit = dimension, unit
        self.least, self.most = least, most
        if not self.help_text:
            others = [name for name in PER_UNIT[dimension] if name != unit]
            self.help_text = _("In %(unit)s, or write the unit: %(others)s.") % {
                "unit": {"c": "°C"}.get(unit, unit),
                "others": {"c": "°F"}.get(unit, ", ".join(others)),
            }
            if dimension == "length":
                self.help_text = _(
                    "In mm, or write the unit: in, µm, m. Fractions of an inch too: "
                    "1/4 in."
                )
                self.widget.attrs.pop("inputmode", None)  # a number pad has no stroke

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            measure = parse_measure(text, self.dimension, self.unit)
        except ValueError as wrong:
            raise forms.ValidationError(str(wrong)) from None
        if self.least is not None and measure.amount < self.least:
            raise forms.ValidationError(_("That is too small."))
        if self.most is not None and measure.amount > self.most:
            raise forms.ValidationError(_("That is too large."))
        return measure


def mass(label, **named) -> MeasureField:
    return MeasureField(
        dimension="mass", unit="g", label=label, least=1, most=10**13, **named
    )


def length(label, **named) -> MeasureField:
    named.setdefault("least", 0)
    return MeasureField(
        dimension="length", unit="mm", label=label, most=10**14, **named
    )


class AmountField(MeasureField):
    """A measurement of which only the amount is kept."""

    def clean(self, value):
        measure = super().clean(value)
        return measure and measure.amount


def temperature(label, **named) -> MeasureField:
    return AmountField(
        dimension="temperature",
        unit="c",
        label=label,
        least=-60_000,
        most=400_000,
        **named,
    )


def pressure(label, **named) -> MeasureField:
    return MeasureField(
        dimension="pressure", unit="kPa", label=label, least=0, most=200_000, **named
    )
