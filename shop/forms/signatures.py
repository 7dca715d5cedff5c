"""What a person types to sign, and by what a list of signatures is narrowed."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.models import Meaning, Person

from .filters import Filter, any_of
from .row_choice import RowChoiceField


def _named(person: Person) -> str:
    return f"{person.name}, {person.get_role_display()}"


class SignForm(forms.Form):
    """Who, as what, by name, proven. `shown` is the digest of what stands above."""

    shown = forms.CharField(max_length=64, widget=forms.HiddenInput)
    by = RowChoiceField(
        Person.objects.none(),
        label=_("Who signs"),
        help_text=_("Whoever signs types the name and the password or PIN here."),
    )
    meaning = forms.ChoiceField(
        label=_("What the signature says"), widget=forms.RadioSelect
    )
    name = forms.CharField(
        label=_("Your name, typed"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    secret = forms.CharField(
        label=_("Your password or PIN"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "maxlength": 200}),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(
        self, *arguments, people: list[Person], meanings, open_to, by, **named
    ):
        super().__init__(*arguments, **named)
        keys = [person.pk for person in people]
        self.fields["by"].queryset = Person.objects.filter(pk__in=keys)
        self.fields["by"].label_from_instance = _named
        # In the list itself it would be cut off.
        self.fields["by"].help_text = str(self.fields["by"].help_text) + "".join(
            f" {_named(person)}: {', '.join(str(meaning.label) for meaning in own)}."
            for person in people
            if len(own := open_to[person.pk]) < len(meanings)
        )
        self.fields["meaning"].choices = [
            (meaning.value, meaning.label) for meaning in meanings
        ]
        if by.pk in keys:
            self.initial.setdefault("by", by.pk)
        if len(meanings) == 1:
            self.initial.setdefault("meaning", meanings[0].value)


class SignatureFilter(Filter):
    meaning = any_of(Meaning.choices, _("What it says"))
