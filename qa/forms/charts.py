"""How a chart is asked for (GET, so that it is a link), and what is written on it."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.models import ChartNote
from qa.rules.chart_notes import EVERYWHERE
from qa.rules.over_parts import PartRead
from qa.wording.measuring import RULE_SOURCES, SPREADS


class ChartForm(forms.Form):
    which = forms.CharField(widget=forms.HiddenInput)
    rules = forms.ChoiceField(
        label=_("Run rules"), choices=list(RULE_SOURCES.items()), required=False
    )
    by = forms.ChoiceField(
        label=_("A point is"),
        required=False,
        choices=[
            ("", _("one part")),
            ("pull", _("the parts of one pull")),
            *((n, _("%(n)s parts in a row") % {"n": n}) for n in ("2", "3", "4", "5")),
        ],
    )
    spread = forms.ChoiceField(
        label=_("Spread of several"),
        required=False,
        choices=[("", _("as usual")), *SPREADS.items()],
    )


class NoteForm(forms.Form):
    """A note on a point of a chart."""

    point = forms.ChoiceField(label=_("On the point of"))
    words = forms.CharField(
        label=_("Note"),
        max_length=200,
        help_text=_("What happened, or why it is so: new resin, another strap."),
    )
    everywhere = forms.BooleanField(
        label=_("On every chart of this joint"), required=False
    )

    def __init__(self, *args, reads: list[PartRead], of: str, row: int | None, **named):
        super().__init__(*args, **named)
        made = [(read, read.made_by(of, row)[0]) for read in reads]
        self.points = {str(check.entry_id): (read, check) for read, check in made}
        self.of, self.row = of, row
        newest = list(self.points.items())[::-1]
        self.fields["point"].choices = [
            (key, f"{read.part.serial}, {check}") for key, (read, check) in newest
        ]

    def clean(self):
        """What an act takes of it."""
        cleaned = super().clean()
        read, check = self.points.get(cleaned.pop("point", None), (None, None))
        everywhere = cleaned.pop("everywhere", False)
        if read is None:
            return cleaned
        cleaned["check"] = check
        cleaned["of"] = EVERYWHERE if everywhere else self.of
        cleaned["station"] = None if everywhere else read.own.get(self.row)
        return cleaned


class OtherNoteForm(forms.Form):
    """A note written anew, or taken back."""

    words = forms.CharField(label=_("Note"), max_length=200)
    taken_back = forms.BooleanField(
        label=_("Take it back"),
        required=False,
        help_text=_("It is shown no more; write above why. It stays on record."),
    )

    @classmethod
    def initial_of(cls, note: ChartNote) -> dict:
        return {"words": note.words}
