"""Forms of shims: what the shop keeps, what was put under a part."""

import re

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import FRACTIONS, LengthField, nm_of_texts
from qa.models import ShimStock
from shop.models import Unit
from shop.numeric.units import LengthError, format_length, parse_typed


class ShimStockForm(forms.Form):
    unit = forms.ChoiceField(label=_("Thickness is in"), choices=Unit.choices)
    thickness_nm = LengthField(label=_("Thickness"), help_text=FRACTIONS)
    name = forms.CharField(label=_("Material or mark"), max_length=80, required=False)
    in_use = forms.BooleanField(label=_("May be used"), required=False, initial=True)

    def clean(self):
        nm_of_texts(self, "thickness_nm", positive=True)
        self.cleaned_data.pop("unit", None)
        return self.cleaned_data

    @classmethod
    def initial_of(cls, row: ShimStock | None, unit: str) -> dict:
        if row is None:
            return {"unit": unit, "in_use": True}
        return {
            "unit": unit,
            "thickness_nm": format_length(row.thickness_nm, unit),
            "name": row.name,
            "in_use": row.in_use,
        }


class MostForm(forms.Form):
    most = forms.IntegerField(
        label=_("Shims in a stack, at most"), min_value=1, max_value=12, required=False
    )


class StacksForm(forms.Form):
    """The stacks now under the part; starts with what was proposed."""

    unit = forms.ChoiceField(
        choices=Unit.choices, widget=forms.HiddenInput, required=False
    )

    def __init__(self, *arguments, points, unit="mm", **named):
        super().__init__(*arguments, **named)
        self.points = points
        self.fields["unit"].initial = unit
        for number, point in enumerate(points):
            self.fields[f"stack_{number}"] = forms.CharField(
                label=_("Stack at %(name)s") % {"name": point.name},
                initial=point.stack,
                max_length=120,
            )

    def clean(self):
        unit = self.cleaned_data.get("unit") or Unit.MM
        for number in range(len(self.points)):
            name = f"stack_{number}"
            text = self.cleaned_data.get(name)
            if text is None:
                continue
            try:
                self.cleaned_data[name] = _thicknesses(text, unit)
            except LengthError as error:
                self.add_error(name, f"{error}.")
        return self.cleaned_data

    @property
    def table(self) -> list:
        return [(point, self[f"stack_{n}"]) for n, point in enumerate(self.points)]

    @property
    def stacks(self) -> dict[str, list[int]]:
        """{point: thicknesses in nm}."""
        return {
            point.name: self.cleaned_data[f"stack_{n}"]
            for n, point in enumerate(self.points)
        }


def _thicknesses(text: str, unit: str) -> list[int]:
    """Thicknesses from "0.5 + 0.25"; none from "0"."""
    thicknesses = []
    # With a fraction there are spaces inside of a thickness: "1/16 in + 1/32 in".
    between = r"[+;]+" if "/" in text else r"[+;\s]+"
    for part in re.split(between, text.strip()):
        if part.strip():
            thick = parse_typed(part, unit)
            if thick < 0:
                raise LengthError("a shim cannot be thinner than 0")
            thicknesses.append(thick)
    return [thick for thick in thicknesses if thick]
