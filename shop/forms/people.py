"""What a person chooses for themselves."""

from django import forms

from shop.context import THEMES
from shop.models import Unit


class ThemeForm(forms.Form):
    theme = forms.ChoiceField(choices=list(THEMES.items()))


class UnitsForm(forms.Form):
    units = forms.ChoiceField(choices=Unit.choices)
