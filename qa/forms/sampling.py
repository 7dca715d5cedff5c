"""Forms of what a sample and a rule protect from: GET, so that an answer is a link."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import LengthField, nm_of_texts
from qa.models import Kind
from qa.numeric.measuring.attribute_plans import LEVELS, LIMITS
from qa.numeric.measuring.sampling import MOST
from qa.rules.check_risks import Made
from shop.forms.fields import WholeField
from shop.models import Unit
from shop.numeric.units import PERCENT, format_length


class TableForm(forms.Form):
    """A plan of the published table."""

    lot = WholeField(label=_("Pieces in the lot"), min_value=2, max_value=1_000_000)
    level = forms.ChoiceField(
        label=_("Level of inspection"), choices=[(level, level) for level in LEVELS]
    )
    limit = forms.ChoiceField(
        label=_("Acceptance quality limit, percent"),
        choices=[(limit, limit) for limit in LIMITS],
    )


class PercentField(forms.FloatField):
    """More than nothing, less than all."""

    def __init__(self, **named):
        super().__init__(min_value=0, max_value=PERCENT, **named)


class RisksForm(forms.Form):
    """A plan that keeps two risks."""

    good = PercentField(label=_("Percent nonconforming that should pass"))
    shop_risk = PercentField(label=_("refused at most, percent of the time"))
    bad = PercentField(label=_("Percent nonconforming that should not pass"))
    customer_risk = PercentField(label=_("accepted at most, percent of the time"))
    pieces = WholeField(
        label=_("Pieces in the lot"),
        min_value=1,
        max_value=1_000_000,
        required=False,
        help_text=_("Empty: a process without end. At most %(most)s are asked for.")
        % {"most": MOST},
    )


class RiskForm(forms.Form):
    """How what is made lies about the middle of its limits, and a wish."""

    unit = forms.ChoiceField(label=_("Lengths below are in"), choices=Unit.choices)
    gap_off = LengthField(label=_("Gaps lie off the middle by"), required=False)
    gap_sd = LengthField(
        label=_("Gaps scatter by (standard deviation)"), required=False
    )
    flush_off = LengthField(label=_("Flushness lies off the middle by"), required=False)
    flush_sd = LengthField(
        label=_("Flushness scatters by (standard deviation)"), required=False
    )
    wish = PercentField(
        label=_("Customer's risk that is wished for, percent of checks"), required=False
    )

    def clean(self):
        nm_of_texts(self, "gap_off", "flush_off")
        nm_of_texts(self, "gap_sd", "flush_sd", positive=True)
        return self.cleaned_data

    def clean_wish(self):
        wish = self.cleaned_data["wish"]
        if wish in (0, PERCENT):
            raise forms.ValidationError(_("More than 0 and less than 100."))
        return wish

    @property
    def made(self) -> dict[str, Made]:
        """By kind, where a scatter is stated."""
        said = self.cleaned_data
        return {
            kind: Made(said[f"{kind}_off"] or 0, said[f"{kind}_sd"])
            for kind in Kind.values
            if said.get(f"{kind}_sd")
        }

    @staticmethod
    def initial_of(made: dict[str, Made], unit: str) -> dict:
        """What parts on record show, as texts."""
        places = {"mm": 3, "in": 4}[unit]
        start = {"unit": unit, "wish": 1}
        for kind, about in made.items():
            start[f"{kind}_off"] = format_length(about.off_nm, unit, places)
            start[f"{kind}_sd"] = format_length(about.sd_nm, unit, places)
        return start
