"""Airframe types, airframes, positions and what is put into them."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import Airframe, AirframeType, Hand, Position

from .fields import AskedReason, SerialField
from .filters import Filter
from .row_choice import RowChoiceField


class TypeForm(forms.ModelForm):
    class Meta:
        model = AirframeType
        fields = ("code", "name")


class AirframeForm(forms.ModelForm):
    class Meta:
        model = Airframe
        fields = ("type", "serial", "name", "line_number")
        field_classes = {"type": RowChoiceField}
        help_texts = {"line_number": _("Order of build within the type, from 1.")}


class PositionForm(forms.Form):
    parent = RowChoiceField(Position.objects.none(), label=_("Part of"), required=False)
    code = forms.CharField(label=_("Code"), max_length=40)
    name = forms.CharField(label=_("Name"), max_length=120)
    hand = forms.ChoiceField(
        label=_("Hand"),
        choices=[("", _("not stated")), *Hand.choices[:2]],
        required=False,
        help_text=_("A part of the other hand is never placed here."),
    )
    part_number = forms.CharField(
        label=_("Part number"),
        max_length=60,
        required=False,
        help_text=_("What belongs here: any other asks for a reason."),
    )

    def __init__(self, *arguments, positions, **named):
        super().__init__(*arguments, **named)
        self.fields["parent"].queryset = positions
        self.fields["parent"].empty_label = _("the airframe itself")


class PlaceForm(AskedReason):
    position = RowChoiceField(Position.objects.none(), label=_("Position"))
    part = SerialField(label=_("Part serial"), max_length=60)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *arguments, positions, **named):
        super().__init__(*arguments, **named)
        self.fields["position"].queryset = positions


class RemoveForm(forms.Form):
    reason = forms.CharField(
        label=_("Reason"), max_length=200, help_text=_("Why it comes out.")
    )


class LeaveEmptyForm(forms.Form):
    # What was offered: of two people the second does not undo what the first said.
    stays = forms.BooleanField(required=False, widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Reason"), max_length=200)


class AirframeFilter(Filter):
    type = RowChoiceField(
        AirframeType.objects.all(),
        label=_("Type"),
        required=False,
        empty_label=_("any"),
    )
