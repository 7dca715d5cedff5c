"""Forms of characteristics: what is required, and what was found."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.actions.characteristics import Required
from qa.forms.instruments import InstrumentField
from qa.models import Characteristic, Joint, Quality, Rule
from qa.rules.characteristics import MEASURED, UNITS, Found
from shop.forms.fields import WholeField, asked, needed
from shop.forms.row_choice import RowChoiceField
from shop.models import Position

EVERY_UNIT = ("mm", "in", "mm²", "cm²", "in²", "g", "kg", "lb", "oz")


class RequiredForm(forms.Form):
    """Limits and how they are judged: the same for a new one and for a revision."""

    low = forms.CharField(label=_("At least"), max_length=24, required=False)
    high = forms.CharField(label=_("At most"), max_length=24, required=False)
    unit = needed(
        forms.ChoiceField(
            label=_("Unit"),
            choices=[("", _("none")), *((unit, unit) for unit in EVERY_UNIT)],
            required=False,
            help_text=_("Of a ratio the unit of its areas; its limits are percent."),
        ),
        _("of what is measured"),
    )
    rule = forms.ChoiceField(
        label=_("Judged"), choices=Rule.choices, initial=Rule.SIMPLE
    )
    how = forms.CharField(
        label=_("How, and where"),
        max_length=200,
        required=False,
        help_text=_("Of a ratio: which area over which."),
    )
    source = forms.CharField(label=_("Source"), max_length=200, required=False)
    photo = forms.BooleanField(label=_("A photo is required"), required=False)

    @property
    def required_said(self) -> Required:
        names = ("low", "high", "unit", "rule", "photo", "how", "source")
        return Required(**{name: self.cleaned_data[name] for name in names})


class ReviseForm(RequiredForm):
    based_on = WholeField(widget=forms.HiddenInput)


class CharacteristicForm(RequiredForm):
    number = forms.CharField(label=_("Number"), max_length=40)
    name = forms.CharField(label=_("Name"), max_length=120)
    quality = forms.ChoiceField(label=_("What it is"), choices=asked(Quality.choices))
    bay = RowChoiceField(
        Position.objects.select_related("type"),
        label=_("Bay"),
        help_text=_("A position: it is proven on every airframe of its type."),
    )
    joint = RowChoiceField(
        Joint.objects.exclude(current=None).select_related("current", "type"),
        label=_("At a joint"),
        required=False,
        empty_label=_("none"),
    )
    field_order = ("number", "name", "quality", "bay", "joint")


class ResultForm(forms.Form):
    """What was found, with the fields that the characteristic needs."""

    value = forms.CharField(label=_("Found"), max_length=24)
    under = forms.CharField(label=_("over"), max_length=24)
    unit = forms.ChoiceField(label=_("Unit"))
    u = forms.CharField(label=_("Standard uncertainty"), max_length=24, required=False)
    u_under = forms.CharField(
        label=_("and of the lower area"), max_length=24, required=False
    )
    instrument = InstrumentField(
        label=_("Measured with"), required=False, empty_label=_("none")
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *arguments, characteristic: Characteristic, **named):
        super().__init__(*arguments, **named)
        quality = characteristic.quality
        ratio, weight = quality == Quality.RATIO, quality == Quality.WEIGHT
        gone = set() if ratio else {"under", "u_under"}
        if not (ratio or weight):
            gone.add("u")
        units = [(unit, unit) for unit in UNITS[quality] if unit]
        self.fields["unit"].choices = units
        self.fields["unit"].initial = characteristic.current.unit
        if not units:
            gone.add("unit")
        if quality not in MEASURED and not ratio and not weight:
            gone.add("instrument")
        if ratio:
            self.fields["value"].label = _("Area above the line")
            self.fields["under"].label = _("Area below the line")
        if quality == Quality.ATTRIBUTE:
            choices = asked([("yes", _("yes, it is so")), ("no", _("no, it is not"))])
            self.fields["value"] = forms.ChoiceField(
                label=_("Is it so?"), choices=choices
            )
        for name in gone:
            del self.fields[name]

    @property
    def arguments(self) -> dict:
        data = self.cleaned_data
        names = ("value", "unit", "under", "u", "u_under")
        measured = Found(**{name: data.get(name, "") for name in names})
        return {
            "found": measured,
            "instrument": data.get("instrument"),
            "note": data["note"],
        }
