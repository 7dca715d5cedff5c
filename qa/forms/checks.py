"""Forms of fit checks: filters, and the desk's way to open one."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.actions.fitups import HOLDS
from qa.forms.instruments import InstrumentField
from qa.models import CheckState, Finish, FitUpReason, Joint
from shop.forms.fields import AskedReason
from shop.forms.filters import Filter, any_of
from shop.forms.numbers import NumberField
from shop.forms.row_choice import RowChoiceField
from shop.models import Airframe, Part, Person
from shop.numeric.units import MILLI
from shop.rules import cure_states


class CheckFilter(Filter):
    airframe = RowChoiceField(
        Airframe.objects.all(),
        label=_("Airframe"),
        required=False,
        empty_label=_("any"),
    )
    joint = RowChoiceField(
        Joint.objects.all(), label=_("Joint"), required=False, empty_label=_("any")
    )
    state = any_of(CheckState.State.choices, _("State"))
    person = RowChoiceField(
        Person.objects.all(), label=_("Who"), required=False, empty_label=_("anybody")
    )


class WhichForm(forms.Form):
    """A GET form: airframe and joint, where they are too many to show all."""

    airframe = RowChoiceField(
        Airframe.objects.all(), label=_("Airframe"), required=False
    )
    joint = RowChoiceField(
        Joint.objects.exclude(current=None).select_related("current"),
        label=_("Joint"),
        required=False,
    )

    def chosen(self, name: str) -> Airframe | Joint | None:
        self.is_valid()
        return getattr(self, "cleaned_data", {}).get(name)


class PartChoice(RowChoiceField):
    """Serials, each with what there is to say of its cure."""

    doubts: dict = {}

    def prepared(self, rows: list) -> list:
        self.doubts = cure_states.doubtful({part.pk for part in rows})
        return rows

    def label_from_instance(self, part: Part) -> str:
        pulls = self.doubts.get(part.pk, [])
        words = [str(part), *(pull.cure_doubt for pull in pulls)]
        if getattr(part, "other_design", 0):
            words.append(_("%(design)s, another design") % {"design": part.design})
        return " – ".join(map(str, words))


class NewCheckForm(AskedReason):
    """The condition of a check: what is fitted, how it is held, with what measured."""

    part = PartChoice(Part.objects.none(), label=_("Fitted part"))
    surround_part = PartChoice(
        Part.objects.none(),
        label=_("Surround part"),
        required=False,
        empty_label=_("not stated"),
    )
    refit = forms.ChoiceField(
        label=_("Fit-up"),
        help_text=_("A cut, a move, a shim, a swap or a refit opens the next fit-up."),
    )
    held = forms.MultipleChoiceField(
        choices=[(hold, hold) for hold in HOLDS],
        label=_("How it is held"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    held_note = forms.CharField(
        label=_("Held where, and by how many"),
        required=False,
        max_length=120,
        help_text=_("For example: 6 clecos, holes 1, 4, 7, 10, 13, 16."),
    )
    finish = forms.ChoiceField(
        choices=Finish.choices, label=_("Edges"), widget=forms.RadioSelect
    )
    instrument = InstrumentField(
        label=_("Instrument"),
        required=False,
        empty_label=_("none stated"),
    )
    temperature = NumberField(
        label=_("Temperature, °C"),
        required=False,
        min_value=-60,
        max_value=120,
        max_digits=5,
        decimal_places=1,
    )
    in_acceptance_condition = forms.BooleanField(
        label=_("This is the acceptance condition of the joint"), required=False
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *arguments, parts, surrounds, last_fit_up, **named):
        super().__init__(*arguments, **named)
        self.fields["part"].queryset = parts
        self.fields["surround_part"].queryset = surrounds
        reasons = [
            (value, label)
            for value, label in FitUpReason.choices
            if (value == FitUpReason.FIRST) != bool(last_fit_up)
        ]
        if last_fit_up:
            same = _("fit-up %(number)s, nothing changed") % {
                "number": last_fit_up.number
            }
            reasons.insert(0, ("same", same))
        self.fields["refit"].choices = reasons

    def clean_temperature(self):
        value = self.cleaned_data["temperature"]
        return None if value is None else int(value * MILLI)
