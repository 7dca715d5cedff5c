"""One answer a row, each with its reason: for claimed acts and for late readings."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.forms.fields import needed

LATER = ("", _("not now"))
CLAIMED = (
    LATER,
    ("confirmed", _("mine: I confirm it")),
    ("disowned", _("not mine: I disown it")),
)
LATE = (LATER, ("in", _("count it in")), ("out", _("leave it out")))


class AnswersForm(forms.Form):
    """`keys` name the rows. A row without an answer stays as it is; a reason written
    above holds for every row that has none of its own."""

    reason = forms.CharField(
        label=_("Why, for every row below without a reason of its own"),
        max_length=200,
        required=False,
    )

    def __init__(self, *arguments, keys, answers, ask_why, **named):
        super().__init__(*arguments, **named)
        self.keys, self.ask_why = keys, ask_why
        for key, label in keys.items():
            self.fields[f"answer-{key}"] = forms.ChoiceField(
                label=label, choices=answers, widget=forms.RadioSelect, required=False
            )
            self.fields[f"why-{key}"] = needed(
                forms.CharField(label=_("Why"), max_length=200, required=False),
                _("(where the reason above is not it)"),
            )

    def clean(self):
        cleaned = super().clean()
        answers = self._answers(cleaned)
        if not answers and not self.errors:
            self.add_error(None, _("Nothing was answered."))
        for key, answer, reason in answers:
            if answer in self.ask_why and not reason:
                self.add_error(f"why-{key}", _("Say why."))
        return cleaned

    def _answers(self, cleaned: dict) -> list[tuple]:
        return [
            (key, answer, cleaned.get(f"why-{key}") or cleaned.get("reason", ""))
            for key in self.keys
            if (answer := cleaned.get(f"answer-{key}"))
        ]

    @property
    def answers(self) -> list[tuple]:
        """(key, answer, reason) of every row that was answered."""
        return self._answers(self.cleaned_data)

    def rows(self, of: dict) -> list[tuple]:
        """(what the row shows, its answer, its reason) for the page."""
        return [
            (of[key], self[f"answer-{key}"], self[f"why-{key}"]) for key in self.keys
        ]
