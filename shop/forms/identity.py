"""The shop's own name, zone, units and paper."""

from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import PaperSize, Unit

from .fields import PhotoField


class IdentityForm(forms.Form):
    name = forms.CharField(
        label=_("Name of the shop"),
        max_length=80,
        help_text=_("Stands on every page and paper."),
    )
    time_zone = forms.ChoiceField(
        label=_("Time zone"),
        help_text=_("Times are kept in UTC and told in this zone, with its offset."),
    )
    units = forms.ChoiceField(
        label=_("Lengths in"),
        choices=Unit.choices,
        help_text=_("What new people start with; each may choose."),
    )
    paper = forms.ChoiceField(label=_("Paper"), choices=PaperSize.choices)
    picture = PhotoField(
        label=_("Mark of the shop"),
        required=False,
        help_text=_("A picture for the first page of inspection packs."),
    )
    second_factor = forms.BooleanField(
        label=_("Leads and engineers prove a second factor"),
        required=False,
        help_text=_(
            "Beside the password a code from a device of their own. Whoever has none "
            "is asked to set one before anything else."
        ),
    )
    no_mark = forms.BooleanField(label=_("No mark any more"), required=False)

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        zones = sorted(available_timezones())
        self.fields["time_zone"].choices = [(zone, zone) for zone in zones]
