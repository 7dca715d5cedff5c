"""How a shop plans, as a form: bites, limits, the probability wished, minutes."""

from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import FRACTIONS, LengthField, nm_of_texts
from qa.models import PlanDefaults
from shop.forms.numbers import NumberField, PercentField
from shop.models import Unit
from shop.numeric.units import MICRO, MILLI, PERCENT, S_PER_MIN, format_length


def _minutes(label) -> NumberField:
    return NumberField(label=label, min_value=0, max_value=1000, decimal_places=2)


class PlanDefaultsForm(forms.Form):
    """How this shop plans. Lengths in the unit of the person."""

    MINUTES = (
        *("loosen", "adjuster", "motion", "measure", "look_again", "cut", "cut_per_m"),
    )
    LENGTHS = ("floor", "aim", "max_move", "max_raise", "max_trim", "template_line")

    unit = forms.ChoiceField(
        label=_("Lengths below are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    bite = NumberField(
        label=_("Next bite, as a fraction of the trim"),
        min_value=0,
        max_value=1,
        decimal_places=3,
        help_text=_("A builder never cuts to the line: 0.6 leaves the rest for later."),
    )
    floor = LengthField(
        label=_("Least cut worth making"),
        help_text=_("Never less than the instrument can tell, whatever is set here."),
    )
    aim = LengthField(
        label=_("Where something is cut, aim inside the limit by"),
        help_text=_("A cut that ends on the limit is decided by a coin."),
    )
    max_move = LengthField(label=_("Greatest move in its plane"))
    max_turn = NumberField(
        label=_("Greatest turn, degrees"), min_value=0, max_value=45, decimal_places=3
    )
    max_raise = LengthField(label=_("Greatest raise"))
    max_tilt = NumberField(
        label=_("Greatest tilt, degrees"), min_value=0, max_value=45, decimal_places=3
    )
    max_trim = LengthField(label=_("Greatest trim at a station"))
    template_line = LengthField(
        label=_("Least cut with a line on a template"),
        required=False,
        help_text=_(
            "Less is told by tags along the edge, for a strip of tape. Empty: 1 mm."
        ),
    )
    fairness = NumberField(
        label=_("Greatest change of trim per length of edge"),
        required=False,
        min_value=0,
        max_value=10,
        decimal_places=6,
        help_text=_("0.01: one tenth of a millimeter in ten. Empty: any."),
    )
    wished = PercentField(
        label=_("Least probability that all conforms, %"),
        to=Decimal,
        required=False,
        decimal_places=1,
        help_text=_(
            "The least work that meets it comes first. Empty: what conforms is enough."
        ),
    )
    loosen = _minutes(_("Minutes to loosen what holds a part and tighten it again"))
    adjuster = _minutes(_("Minutes for each adjuster that is set"))
    motion = _minutes(_("Minutes for each way that a part is moved freely"))
    measure = _minutes(_("Minutes for each station that is measured"))
    look_again = _minutes(_("Minutes for each station that gets worse, to look at"))
    cut = _minutes(_("Minutes for a cut: off, cut, clean, seal, on"))
    cut_per_m = _minutes(_("Minutes for a meter of edge that is cut"))

    def clean(self):
        nm_of_texts(self, *self.LENGTHS)
        cleaned = self.cleaned_data
        for name in self.LENGTHS:
            if (cleaned.get(name) or 0) < 0:
                self.add_error(name, _("This cannot be less than 0."))
        if cleaned.get("bite") == 0:
            self.add_error("bite", _("This must be more than 0."))
        return cleaned

    def arguments(self) -> dict:
        """By the names of PlanDefaults."""
        cleaned = self.cleaned_data
        fair = cleaned.get("fairness")
        return {
            "bite_permille": int(cleaned["bite"] * MILLI),
            **{
                f"{name}_nm": cleaned[name]
                for name in self.LENGTHS
                if cleaned.get(name) is not None
            },
            "max_turn_mdeg": int(cleaned["max_turn"] * MILLI),
            "max_tilt_mdeg": int(cleaned["max_tilt"] * MILLI),
            "wished_permille": None
            if cleaned.get("wished") is None
            else int(cleaned["wished"] * MILLI / PERCENT),
            **{f"{name}_s": int(cleaned[name] * S_PER_MIN) for name in self.MINUTES},
            "fairness_e6": None if fair is None else int(fair * MICRO),
        }

    @classmethod
    def initial_of(cls, row: PlanDefaults, unit: str) -> dict:
        start = {"unit": unit, "bite": f"{row.bite_permille / MILLI:g}"}
        for name in cls.LENGTHS:
            start[name] = format_length(getattr(row, f"{name}_nm"), unit)
        for name in ("max_turn", "max_tilt"):
            start[name] = f"{getattr(row, f'{name}_mdeg') / MILLI:g}"
        if row.fairness_e6 is not None:
            start["fairness"] = f"{row.fairness_e6 / MICRO:g}"
        if row.wished_permille is not None:
            start["wished"] = f"{row.wished_permille * PERCENT / MILLI:g}"
        for name in cls.MINUTES:
            start[name] = f"{getattr(row, f'{name}_s') / S_PER_MIN:.4g}"
        return start
