"""What is asked of the fits of a mold, and what is said of a correction."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import LengthField, nm_of_texts
from qa.models import ToolCorrection
from qa.rules.mold_assessment import WORTH_NM, Choice
from qa.rules.mold_corrections import last_before
from shop.forms.fields import DateField
from shop.forms.tooling import BeforePullField
from shop.models import Unit
from shop.rules.repairs import NOTE_MAX


class MoldAskForm(forms.Form):
    """A GET form: what a reader asks otherwise than usual."""

    first_pull = forms.TypedChoiceField(
        label=_("From pull"), coerce=int, empty_value=None, required=False
    )
    opening = forms.ChoiceField(label=_("Openings"), required=False)
    sd_nm = LengthField(
        label=_("Parts differ by, if known"),
        required=False,
        help_text=_("One standard deviation at a station. Empty: seen in the parts."),
    )
    worth_nm = LengthField(label=_("Worth correcting from"), required=False)
    unit = forms.ChoiceField(
        choices=Unit.choices, widget=forms.HiddenInput, required=False
    )

    def __init__(self, *arguments, pulls, openings, **named):
        super().__init__(*arguments, **named)
        self.fields["first_pull"].choices = [
            ("", _("since it was corrected")),
            *((number, str(number)) for number in pulls),
        ]
        self.fields["opening"].choices = [
            ("", _("all")),
            *((name, _("%(name)s only") % {"name": name}) for name in openings),
        ]

    def clean(self):
        nm_of_texts(self, "sd_nm", positive=True)
        nm_of_texts(self, "worth_nm")
        worth = self.cleaned_data.get("worth_nm")
        if worth is not None and worth < 0:
            self.add_error("worth_nm", _("This must be 0 or more."))
        return self.cleaned_data

    @property
    def choice(self) -> Choice | None:
        """What was asked, None for the usual."""
        if not self.is_bound or not self.is_valid():
            return None
        cleaned = self.cleaned_data
        worth = WORTH_NM if cleaned["worth_nm"] is None else cleaned["worth_nm"]
        asked = (cleaned["first_pull"], cleaned["opening"], cleaned["sd_nm"])
        if not any(asked) and worth == WORTH_NM:
            return None
        return Choice(
            cleaned["first_pull"], cleaned["opening"], cleaned["sd_nm"], worth
        )


class TakeCorrectionForm(forms.Form):
    note = forms.CharField(
        label=_("Note"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    digest = forms.CharField(widget=forms.HiddenInput)


class CorrectionEndForm(forms.Form):
    note = forms.CharField(
        label=_("How, or why"),
        max_length=NOTE_MAX,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class CorrectionDoneForm(CorrectionEndForm):
    before_pull = BeforePullField()
    field_order = ("before_pull", "note")

    def __init__(self, *arguments, row: ToolCorrection, **named):
        super().__init__(*arguments, **named)
        self.fields["before_pull"].offer(row.tool, last_before(row))


class OnPlugForm(CorrectionEndForm):
    done_on = DateField(
        label=_("Done on"),
        initial=timezone.localdate,
        help_text=_(
            "Molds made up to the end of that day (up to now, where it is today) are "
            "as the plug was before."
        ),
    )
    field_order = ("done_on", "note")
