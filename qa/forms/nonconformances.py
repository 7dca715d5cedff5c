"""Forms of nonconformances: the filter, and one small form a verb."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.models import Check, Disposition, Joint, NonconformanceKind, State
from shop.forms.fields import SerialField, needed
from shop.forms.filters import Filter, any_of
from shop.models import Airframe, Person


class NonconformanceFilter(Filter):
    state = any_of([("unclosed", _("not closed")), *State.choices], _("State"))
    airframe = forms.ModelChoiceField(
        Airframe.objects.all(),
        label=_("Airframe"),
        required=False,
        empty_label=_("any"),
    )
    joint = forms.ModelChoiceField(
        Joint.objects.all(), label=_("Joint"), required=False, empty_label=_("any")
    )
    kind = any_of(NonconformanceKind.choices, _("Kind"))
    age = any_of(
        [
            ("7", _("a week and more")),
            ("30", _("30 days and more")),
            ("90", _("90 days and more")),
        ],
        _("Age"),
    )
    person = forms.ModelChoiceField(
        Person.objects.all(), label=_("Who"), required=False, empty_label=_("anybody")
    )


class _Note(forms.Form):
    note = forms.CharField(
        label=_("Note"), widget=forms.Textarea(attrs={"rows": 3}), required=False
    )


class DisposeForm(_Note):
    disposition = forms.ChoiceField(
        label=_("Disposition"),
        choices=Disposition.choices,
        widget=forms.RadioSelect,
        help_text=_(
            "Rework promises full conformity; use as is and repair are the engineer's."
        ),
        error_messages={
            "invalid_choice": _("Use as is and repair are the engineer's to decide.")
        },
    )
    field_order = ("disposition", "note")

    def __init__(self, *arguments, dispositions, **named):
        super().__init__(*arguments, **named)
        self.fields["disposition"].choices = [
            (one.value, one.label) for one in dispositions
        ]
        words = _("(needed where primary structure is used as it is or repaired)")
        needed(self.fields["note"], words)


class CloseForm(_Note):
    recheck = forms.ModelChoiceField(
        Check.objects.none(), label=_("Re-check"), required=False
    )
    field_order = ("recheck", "note")

    def __init__(self, *arguments, rechecks, **named):
        super().__init__(*arguments, **named)
        self.fields["recheck"].queryset = rechecks
        needed(self.fields["recheck"], _("(needed after rework and repair)"))
        needed(self.fields["note"], _("(needed without a re-check)"))


class ReopenForm(forms.Form):
    note = forms.CharField(
        label=_("Why it is opened again"), widget=forms.Textarea(attrs={"rows": 3})
    )


class RemarkForm(forms.Form):
    note = forms.CharField(label=_("Remark"), widget=forms.Textarea(attrs={"rows": 3}))


class ByHandForm(forms.Form):
    airframe = forms.ModelChoiceField(Airframe.objects.all(), label=_("Airframe"))
    title = forms.CharField(label=_("What is wrong"), max_length=200)
    joint = forms.ModelChoiceField(
        Joint.objects.all(), label=_("Joint"), required=False
    )
    part = SerialField(label=_("Part serial"), required=False, max_length=60)
    requirement = forms.CharField(
        label=_("Requirement"), required=False, max_length=200
    )
    found = forms.CharField(label=_("Found"), required=False, max_length=200)
    place = forms.CharField(label=_("Place"), required=False, max_length=200)
    note = forms.CharField(
        label=_("Note"), widget=forms.Textarea(attrs={"rows": 3}), required=False
    )
