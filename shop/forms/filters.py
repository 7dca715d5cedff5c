"""Filters of lists: plain GET forms, so that a filtered list is a link."""

from django import forms
from django.utils.translation import gettext_lazy as _


class Filter(forms.Form):
    q = forms.CharField(label=_("Search"), required=False, max_length=80)

    @property
    def chosen(self) -> dict:
        """What was asked for; nonsense in the address counts as not asked."""
        self.is_valid()
        return {
            name: self.cleaned_data.get(name) or self.fields[name].empty
            for name in self.fields
        }

    @property
    def in_words(self) -> str:
        """The filter as a line on paper: "State: open, Airframe: 003"."""
        return ", ".join(
            f"{self.fields[name].label}: {_shown(self.fields[name], value)}"
            for name, value in self.chosen.items()
            if value
        )

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        for field in self.fields.values():
            field.empty = None if isinstance(field, forms.ModelChoiceField) else ""


def _shown(field, value) -> str:
    options = getattr(field, "choices", ()) if isinstance(value, str) else ()
    return str(dict(options).get(value, value))


def any_of(choices, label) -> forms.ChoiceField:
    """A choice that may be left open."""
    options = [("", _("any")), *choices]
    return forms.ChoiceField(label=label, choices=options, required=False)
