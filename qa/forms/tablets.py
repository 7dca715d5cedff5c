"""Tablets and PINs at the desk."""

from django import forms
from django.utils.translation import gettext_lazy as _


def _pin_field(label) -> forms.CharField:
    widget = forms.PasswordInput(
        attrs={"autocomplete": "off", "inputmode": "numeric", "maxlength": 12}
    )
    return forms.CharField(label=label, min_length=4, max_length=12, widget=widget)


class PinForm(forms.Form):
    pin = _pin_field(_("New PIN, 4 to 12 digits"))
    again = _pin_field(_("The same again"))
    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def clean(self):
        cleaned = super().clean()
        again = cleaned.pop("again", None)
        if again and cleaned.get("pin") != again:
            self.add_error("again", _("The two PINs are not the same."))
        return cleaned


class RevokeForm(forms.Form):
    reason = forms.CharField(label=_("Why"), max_length=200)


class RecoverForm(forms.Form):
    file = forms.FileField(
        label=_("File that the tablet saved"),
        widget=forms.FileInput(attrs={"accept": ".json,application/json"}),
    )
