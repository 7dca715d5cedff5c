"""Which things to print labels of, and on which sheet."""

from django import forms
from django.utils.translation import gettext_lazy as _

from shop import identifiers
from shop.numeric.label_sheets import SHEETS

from .fields import needed

MOST = 600


class LabelsForm(forms.Form):
    codes = forms.CharField(
        label=_("Codes"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("The short codes of things (P1A, T3 …), apart by space or line."),
    )
    kind = forms.ChoiceField(label=_("And the newest of a kind"), required=False)
    newest = forms.IntegerField(
        label=_("How many of these"),
        min_value=1,
        max_value=MOST,
        initial=24,
        required=False,
    )
    sheet = forms.ChoiceField(
        label=_("Labels"), choices=[(key, sheet.name) for key, sheet in SHEETS.items()]
    )
    first = forms.IntegerField(
        label=_("First free label of the sheet"),
        min_value=1,
        initial=1,
        help_text=_("Counted from the upper left, row by row."),
    )

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        # qa adds kinds when it starts: not known when this module is read.
        kinds = [(kind.name, kind.word) for kind in identifiers.KINDS.values()]
        self.fields["kind"].choices = [("", _("none")), *kinds]
        for name in ("codes", "kind"):
            needed(self.fields[name], _("(one of these two is needed)"))

    def clean_first(self):
        first, sheet = self.cleaned_data["first"], self.cleaned_data.get("sheet")
        if sheet and first > SHEETS[sheet].count:
            message = _("This sheet has %(count)s labels.")
            raise forms.ValidationError(message % {"count": SHEETS[sheet].count})
        return first

    def clean(self):
        """Put the things themselves in `things`, each once, in the order asked for."""
        cleaned = super().clean()
        chosen = {}
        for code in cleaned.get("codes", "").replace(",", " ").split():
            match = identifiers.find(code)
            if match is None:
                message = _("There is no thing %(code)s.") % {"code": code}
                self.add_error("codes", message)
                return cleaned
            chosen[match[0].name, match[1].pk] = match
        if cleaned.get("kind"):
            kind = identifiers.KINDS[cleaned["kind"]]
            for row in kind.rows().order_by("-pk")[: cleaned.get("newest") or 24]:
                chosen.setdefault((kind.name, row.pk), (kind, row))
        if not chosen and not self.errors:
            self.add_error("codes", _("Say which things."))
        if len(chosen) > MOST:
            message = _("That is %(count)s labels: print %(most)s at a time.")
            values = {"count": len(chosen), "most": MOST}
            self.add_error("codes", message % values)
        cleaned["things"] = list(chosen.values())
        return cleaned
