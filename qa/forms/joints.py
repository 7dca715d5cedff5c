"""Forms of joints: the filter of the list."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.forms.filters import Filter
from shop.models import AirframeType


class JointFilter(Filter):
    type = forms.ModelChoiceField(
        AirframeType.objects.all(),
        label=_("Airframe type"),
        required=False,
        empty_label=_("any"),
    )
