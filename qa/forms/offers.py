"""Forms of offers: what is offered, a second reading, what the inspector says."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.actions.inspections import Remark
from qa.forms.instruments import InstrumentField
from qa.models import REMARK_MOST, InspectionOutcome, Joint, Kind
from qa.wording.offers import OUTCOMES, WHOLE
from shop.forms.fields import SerialField, asked
from shop.forms.row_choice import RowChoiceField
from shop.models import Airframe, Position, Unit


class WhatForm(forms.Form):
    """A GET form: a joint, a part or a bay of an airframe."""

    airframe = RowChoiceField(
        Airframe.objects.select_related("type"), label=_("Airframe")
    )
    joint = RowChoiceField(
        Joint.objects.exclude(current=None).select_related("current", "type"),
        label=_("A joint"),
        required=False,
        empty_label=_("none"),
    )
    part = SerialField(label=_("or a part, by its serial"), required=False)
    bay = RowChoiceField(
        Position.objects.all(),
        label=_("or a bay: a position with all that sits in it"),
        required=False,
        empty_label=_("none"),
    )

    def clean(self):
        cleaned = self.cleaned_data
        named = [name for name in ("joint", "part", "bay") if cleaned.get(name)]
        if len(named) != 1 and not self.errors:
            raise forms.ValidationError(_("Choose a joint, a part or a bay."))
        refuse_other_type(self)
        return cleaned


def refuse_other_type(form: forms.Form) -> None:
    """A joint or a bay is of the type of the airframe that was chosen with it."""
    airframe = form.cleaned_data.get("airframe")
    for name in ("joint", "bay"):
        chosen = form.cleaned_data.get(name)
        if airframe and chosen and chosen.type_id != airframe.type_id:
            form.add_error(name, _("This is of another type of airframe."))


class OfferForm(forms.Form):
    note = forms.CharField(
        label=_("A word to the inspector"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class SecondForm(forms.Form):
    station = forms.ChoiceField(label=_("Station"))
    kind = forms.ChoiceField(label=_("What"), choices=Kind.choices)
    value = forms.CharField(label=_("You read"), max_length=24)
    unit = forms.ChoiceField(label=_("Unit"), choices=Unit.choices)
    instrument = InstrumentField(
        label=_("Read with"),
        required=False,
        empty_label=_("not stated"),
        error_messages={"required": _("Choose what you read it with.")},
    )

    def __init__(self, *arguments, stations, unit, with_instrument, **named):
        super().__init__(*arguments, **named)
        self.fields["instrument"].required = with_instrument
        self.fields["station"].choices = asked(
            (station, station) for station in stations
        )
        self.fields["unit"].initial = unit


class InspectForm(forms.Form):
    """One remark a line, beside what was read there."""

    outcome = forms.ChoiceField(
        label=_("What do you say of it?"),
        choices=list(OUTCOMES.items()),
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        label=_("Note"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    shown = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *arguments, stations, only_rejected=False, **named):
        super().__init__(*arguments, **named)
        if only_rejected:
            rejected = InspectionOutcome.REJECTED
            self.fields["outcome"].choices = [(rejected, OUTCOMES[rejected])]
        self.stations = ["", *stations]
        for number, station in enumerate(self.stations):
            self.fields[f"line_{number}"] = forms.CharField(
                label=_("Remark on %(line)s") % {"line": station or WHOLE},
                max_length=REMARK_MOST,
                required=False,
            )

    def field_of(self, station: str):
        return self[f"line_{self.stations.index(station)}"]

    @property
    def whole(self):
        return self["line_0"]

    @property
    def arguments(self) -> dict:
        data = self.cleaned_data
        return {
            "outcome": data["outcome"],
            "note": data["note"],
            "shown": data["shown"],
            "remarks": [
                Remark(station, data[f"line_{number}"])
                for number, station in enumerate(self.stations)
                if data[f"line_{number}"]
            ],
        }
