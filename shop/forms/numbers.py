"""Numbers that are no lengths, as people type them: "1,5" as well as "1.5"."""

import re
from decimal import Decimal

from django import forms

from shop.numeric.units import BP_PER_PERCENT

SIGN = re.compile(r"(?<=[\d.,])\s*%\s*$")


class NumberField(forms.DecimalField):
    """A number with a decimal point or comma; cleans to what `to` makes of it.

    A text box: a browser's own box for numbers gives nothing at all of "1,5" where its
    language writes a point, and what was typed would be lost.
    """

    widget = forms.TextInput(attrs={"inputmode": "decimal"})

    def __init__(self, *, to=Decimal, **named):
        super().__init__(**named)
        self.to = to

    def to_python(self, value):
        if isinstance(value, str):
            value = self.plain(value)
        return super().to_python(value)

    def plain(self, text: str) -> str:
        return text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")

    def clean(self, value):
        number = super().clean(value)
        return None if number is None else self.to(number)


class PercentField(NumberField):
    """A percentage, with its sign or without: "95", "95 %"; 0 to 100.

    Cleans to what `to` makes of it, else to whole parts of a percent, `per` of them.
    """

    def __init__(self, *, per=BP_PER_PERCENT, to=None, **named):
        if to is None:
            named.setdefault("decimal_places", 4)
            to = self.whole
        self.per = per
        super().__init__(**{"min_value": 0, "max_value": 100, "to": to, **named})

    def whole(self, number: Decimal) -> int:
        return round(number * self.per)

    def plain(self, text: str) -> str:
        return super().plain(SIGN.sub("", text))
