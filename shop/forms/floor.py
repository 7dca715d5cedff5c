"""Weights, holds, photos."""

from django import forms
from django.utils.timezone import localdate
from django.utils.translation import gettext_lazy as _

from shop.models import Decision, Stage

from .fields import AskedReason, DateField, PhotoField, asked, needed
from .filters import Filter
from .measures import length, mass


class WeighForm(AskedReason):
    stage = forms.ChoiceField(label=_("Stage"), choices=asked(Stage.choices))
    mass = mass(_("Mass"))
    estimate = forms.BooleanField(
        label=_("Estimated by hand, it still waits for a scale"), required=False
    )
    scale = needed(
        forms.CharField(label=_("Scale"), max_length=60, required=False),
        _("(needed unless it is an estimate)"),
    )
    weighed_on = DateField(label=_("Weighed on"), initial=localdate)


class WeighAirframeForm(forms.Form):
    mass = mass(_("Mass"))
    arm = length(
        _("Center of gravity, aft of the datum"), required=False, least=-(10**13)
    )
    scale = forms.CharField(label=_("Scales"), max_length=60)
    weighed_on = DateField(label=_("Weighed on"), initial=localdate)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class ArmForm(forms.Form):
    arm = length(_("Arm, aft of the datum"), required=False, least=-(10**13))


class HoldForm(forms.Form):
    reason = forms.CharField(label=_("Reason"), max_length=200)
    spreads = forms.BooleanField(
        label=_("Every part that it reached is suspect until somebody decides"),
        required=False,
        initial=True,
    )


class LiftForm(forms.Form):
    reason = forms.CharField(label=_("Reason"), max_length=200)


class DecideForm(forms.Form):
    # Nothing is chosen for them: a part is not good because nobody looked.
    decision = forms.ChoiceField(
        label=_("Decision"), choices=Decision.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(label=_("Reason"), max_length=200)


class HoldFilter(Filter):
    state = forms.ChoiceField(
        label=_("Show"),
        choices=[("", _("all")), ("open", _("open or undecided"))],
        required=False,
    )


class PhotoForm(forms.Form):
    file = PhotoField(
        label=_("Photo"),
        help_text=_("JPEG, PNG, WebP or HEIC. Where it was taken is removed."),
    )
    caption = forms.CharField(label=_("What it shows"), max_length=200, required=False)

    def clean(self):
        cleaned = super().clean()
        if file := cleaned.pop("file", None):
            cleaned["content"] = file
        return cleaned
