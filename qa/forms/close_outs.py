"""The form that closes a joint, a bay or an airframe: what was shown, and a word."""

from django import forms
from django.utils.translation import gettext_lazy as _


class CloseForm(forms.Form):
    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)
    note = forms.CharField(
        label=_("A word to it"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
