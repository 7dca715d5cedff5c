"""Tokens for gauges, scripts and calendars."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import Opens, Person

from .row_choice import RowChoiceField

API = [choice for choice in Opens.choices if choice[0] != Opens.CALENDAR]


def _password(label) -> forms.CharField:
    entry = forms.PasswordInput(attrs={"autocomplete": "off"})
    return forms.CharField(label=label, widget=entry, strip=False, max_length=400)


class DeviceForm(forms.Form):
    name = forms.CharField(
        label=_("Name"), max_length=60, help_text=_("What it is, and where it stands.")
    )
    opens = forms.ChoiceField(label=_("Opens"), choices=API)
    person = RowChoiceField(
        label=_("Acts for"),
        queryset=Person.objects.filter(is_active=True),
        empty_label=_("choose"),
    )
    password = _password(_("Password of that person"))


class CalendarForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=60, initial=_("My calendar"))
    whole_shop = forms.BooleanField(
        label=_("Of the whole shop"),
        required=False,
        help_text=_("Not only what is with you."),
    )
    password = _password(_("Your password"))
