"""Forms of what a sample and a rule protect from: GET, so that an answer is a link."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import LengthField, nm_of_texts
from qa.numeric.measuring.attribute_plans import LEVELS, LIMITS
from qa.numeric.measuring.sampling import MOST
from qa.rules.check_risks import GROUPS, Group, Limited, Made
from shop.forms.fields import WholeField
from shop.forms.numbers import PercentField
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


def percent(label, **named) -> PercentField:
    return PercentField(label=label, to=float, **named)


class RisksForm(forms.Form):
    """A plan that keeps two risks."""

    good = percent(_("Percent nonconforming that should pass"))
    shop_risk = percent(_("refused at most, percent of the time"))
    bad = percent(_("Percent nonconforming that should not pass"))
    customer_risk = percent(_("accepted at most, percent of the time"))
    pieces = WholeField(
        label=_("Pieces in the lot"),
        min_value=1,
        max_value=1_000_000,
        required=False,
        help_text=_("Empty: a process without end. At most %(most)s are asked for.")
        % {"most": MOST},
    )


class RiskForm(forms.Form):
    """How what is made lies about the middle of its limits, or inside of the one that
    there is, and a wish. `groups`: those that are asked for."""

    unit = forms.ChoiceField(label=_("Lengths below are in"), choices=Unit.choices)
    gap_off = LengthField(label=_("Gaps lie off the middle by"), required=False)
    gap_sd = LengthField(
        label=_("Gaps scatter by (standard deviation)"), required=False
    )
    flush_off = LengthField(label=_("Flushness lies off the middle by"), required=False)
    flush_sd = LengthField(
        label=_("Flushness scatters by (standard deviation)"), required=False
    )
    gap_one_off = LengthField(
        label=_("Gaps with one limit lie inside of it by"), required=False
    )
    gap_one_sd = LengthField(label=_("These gaps scatter by"), required=False)
    flush_one_off = LengthField(
        label=_("Flushness with one limit lies inside of it by"), required=False
    )
    flush_one_sd = LengthField(label=_("This flushness scatters by"), required=False)
    wish = percent(
        _("Customer's risk that is wished for, percent of checks"), required=False
    )

    def __init__(self, *arguments, groups: list[Group], **named):
        super().__init__(*arguments, **named)
        self.groups = groups
        for group in set(GROUPS) - set(groups):
            for name in _names(group):
                del self.fields[name]

    def clean(self):
        names = [_names(group) for group in self.groups]
        nm_of_texts(self, *(off for off, _sd in names))
        nm_of_texts(self, *(sd for _off, sd in names), positive=True)
        for kind, limited in self.groups:
            off, sd = _names((kind, limited))
            cleaned = self.cleaned_data
            if (
                limited == Limited.ONE
                and cleaned.get(sd)
                and cleaned.get(off, 0) is None
            ):
                self.add_error(off, _("How far inside of the limit they lie is asked."))
        return self.cleaned_data

    def clean_wish(self):
        wish = self.cleaned_data["wish"]
        if wish in (0, PERCENT):
            raise forms.ValidationError(_("More than 0 and less than 100."))
        return wish

    @property
    def made(self) -> dict[Group, Made]:
        """By group, where a scatter is stated."""
        cleaned, spreads = self.cleaned_data, {}
        for group in self.groups:
            off, sd = _names(group)
            if cleaned.get(sd):
                spreads[group] = Made(cleaned[off] or 0, cleaned[sd])
        return spreads

    @staticmethod
    def initial_of(made: dict[Group, Made], unit: str) -> dict:
        """What parts on record show, as texts."""
        places = {"mm": 3, "in": 4}[unit]
        start = {"unit": unit, "wish": 1}
        for group, about in made.items():
            values = about.off_nm, about.sd_nm
            for name, nm in zip(_names(group), values, strict=True):
                start[name] = format_length(nm, unit, places)
        return start


def _names(group: Group) -> tuple[str, str]:
    """The fields of a group: where it lies, how it scatters."""
    kind, limited = group
    of = kind if limited == Limited.BOTH else f"{kind}_{limited}"
    return f"{of}_off", f"{of}_sd"
