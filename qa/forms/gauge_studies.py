"""Forms of gauge studies: who measures what how often, and one value."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import FRACTIONS, InstrumentField, LengthField, nm_of_texts
from qa.models import Joint
from shop.forms.row_choice import RowChoiceField
from shop.models import Person, Role, Unit

LONGEST_PLACE = 40
MOST_PLACES = 60


class StudyForm(forms.Form):
    """A study to plan. Places are lines of text; of a joint its stations."""

    instrument = InstrumentField(label=_("Instrument"))
    what = forms.CharField(
        label=_("What is read"),
        max_length=120,
        help_text=_("For example: gap of J-101 on MG2-001."),
    )
    joint = RowChoiceField(
        Joint.objects.exclude(current=None),
        label=_("Joint"),
        required=False,
        empty_label=_("none"),
    )
    places = forms.CharField(
        label=_("Places, one a line"),
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_("Stations, or parts: 10 that differ as much as parts do are best."),
    )
    people = forms.ModelMultipleChoiceField(
        Person.objects.none(),
        label=_("People"),
        widget=forms.CheckboxSelectMultiple,
    )
    repeats = forms.IntegerField(
        label=_("Times each"), min_value=2, max_value=20, initial=3
    )
    unit = forms.ChoiceField(
        label=_("Lengths below are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    tolerance_nm = LengthField(
        label=_("Width of the limits it is to be good enough for"), required=False
    )
    note = forms.CharField(label=_("Note"), max_length=400, required=False)

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        people = Person.objects.filter(is_active=True).exclude(role=Role.VISITOR)
        self.fields["people"].queryset = people.order_by("name")

    def clean_places(self):
        lines = [line.strip() for line in self.cleaned_data["places"].splitlines()]
        places = [line for line in lines if line]
        long = next((line for line in places if len(line) > LONGEST_PLACE), None)
        if long:
            raise forms.ValidationError(_("%(name)s is too long.") % {"name": long})
        if len(places) > MOST_PLACES:
            raise forms.ValidationError(
                _("At most %(most)d places.") % {"most": MOST_PLACES}
            )
        return places

    def clean(self):
        nm_of_texts(self, "tolerance_nm", positive=True)
        self.cleaned_data.pop("unit", None)
        if "people" in self.cleaned_data:
            self.cleaned_data["people"] = list(self.cleaned_data["people"])
        return self.cleaned_data


class StudyValueForm(forms.Form):
    value = forms.CharField(
        label=_("Value"),
        max_length=24,
        widget=forms.TextInput(
            attrs={"inputmode": "decimal", "autocomplete": "off", "autofocus": True}
        ),
    )
    unit = forms.ChoiceField(label=_("Unit"), choices=Unit.choices)
    turn = forms.IntegerField(widget=forms.HiddenInput, min_value=0)


class StudyAgainForm(forms.Form):
    """The value just read, typed again."""

    value = forms.CharField(label=_("Value"), max_length=24)
    unit = forms.ChoiceField(label=_("Unit"), choices=Unit.choices)
    reason = forms.CharField(label=_("Why"), max_length=200)
