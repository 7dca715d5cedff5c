"""Forms of instruments: lengths typed in mm or inch become nanometers."""

from functools import cached_property

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.models import Instrument, InstrumentStatus
from qa.rules import gauges
from shop.forms.fields import DateField, needed
from shop.forms.row_choice import RowChoiceField
from shop.models import Unit
from shop.numeric.units import LengthError, format_length, parse_typed

FRACTIONS = _("Fractions of an inch are read too, with their unit: 1/4 in.")


class LengthField(forms.CharField):
    """A length typed as a number; its unit is the form's `unit`. Cleans to text."""

    def __init__(self, **named):
        super().__init__(max_length=24, **named)
        self.widget.attrs["inputmode"] = "decimal"


def nm_of_texts(form: forms.Form, *names: str, positive: bool = False) -> None:
    """Replace the texts of a form's length fields by nm, complaining beside each."""
    unit = form.cleaned_data.get("unit") or Unit.MM
    for name in names:
        text = form.cleaned_data.get(name)
        if not text:
            form.cleaned_data[name] = None
            continue
        try:
            nm = parse_typed(text, unit)
        except LengthError as error:
            form.add_error(name, f"{error}.")
            continue
        if positive and nm <= 0:
            form.add_error(name, _("This must be more than 0."))
            continue
        form.cleaned_data[name] = nm


class InstrumentField(RowChoiceField):
    """An instrument to measure with; what puts one in doubt stands beside its code."""

    def __init__(self, **named):
        rows = Instrument.objects.exclude(status=InstrumentStatus.OUT)
        super().__init__(rows.order_by("code"), **named)

    def label_from_instance(self, instrument):
        standing = gauges.standing_now(instrument)
        objections = [why for why, _refused in gauges.objections(standing, self.rules)]
        return " ".join(
            [str(instrument), *(f"({why.rstrip('.')})" for why in objections)]
        )

    @cached_property
    def rules(self):
        return gauges.rules_now()


class InstrumentForm(forms.Form):
    code = forms.CharField(label=_("Code"), max_length=40)
    name = forms.CharField(label=_("Name"), max_length=120)
    kind = forms.CharField(
        label=_("Kind"),
        max_length=40,
        help_text=_("step gauge, feeler leaves, taper gauge, caliper …"),
    )
    unit = forms.ChoiceField(
        label=_("Lengths below are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    u_nm = LengthField(
        label=_("Standard uncertainty"),
        required=False,
        help_text=_(
            "One standard deviation of what a reading may be off, hands included."
        ),
    )
    resolution_nm = LengthField(label=_("Resolution"), required=False)
    range_low_nm = LengthField(label=_("Reads from"), required=False)
    range_high_nm = LengthField(label=_("to"), required=False)
    foot_1_nm = LengthField(
        label=_("First foot of the bridge, along its base"), required=False
    )
    foot_2_nm = LengthField(label=_("Second foot"), required=False)
    probe_nm = LengthField(label=_("Probe"), required=False)
    due = DateField(label=_("Calibration due"), required=False)
    status = forms.ChoiceField(label=_("Status"), choices=InstrumentStatus.choices)

    FEET = ("foot_1_nm", "foot_2_nm", "probe_nm")
    LENGTHS = ("u_nm", "resolution_nm", "range_low_nm", "range_high_nm", *FEET)

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        for name in self.FEET:
            needed(self.fields[name], _("(needed for a bridge, all three)"))
        for field in self.fields.values():
            field.show_hidden_initial = True

    def clean(self):
        nm_of_texts(self, "u_nm", "resolution_nm", positive=True)
        nm_of_texts(self, "range_low_nm", "range_high_nm", *self.FEET)
        ends = [self.cleaned_data.get(name) for name in self.LENGTHS[2:4]]
        if None not in ends and ends[0] >= ends[1]:
            self.add_error("range_high_nm", _("This must be more than its start."))
        feet = [self.cleaned_data.get(name) for name in self.FEET]
        if any(foot is not None for foot in feet) and None in feet:
            self.add_error("probe_nm", _("A bridge has two feet and a probe."))
        elif feet[0] is not None and feet[0] == feet[1]:
            self.add_error("foot_2_nm", _("The two feet stand on one point."))
        return self._changed()

    def _changed(self) -> dict:
        """What is another than when the page was opened: what came on record meanwhile
        (a calibration, a budget, a loss) is not set back by the rest of the page."""
        changed = set(self.changed_data)
        if "unit" in changed:
            changed.update(self.LENGTHS)
        changed.discard("unit")
        # What was looked at together goes together.
        for group in (self.FEET, self.LENGTHS[2:4]):
            if changed & {*group}:
                changed.update(group)
        return {
            name: self.cleaned_data[name] for name in changed & {*self.cleaned_data}
        }

    @classmethod
    def initial_of(cls, row: Instrument | None, unit: str) -> dict:
        start = {"unit": unit, "status": "in_use"}
        if row is None:
            return start
        for name in ("code", "name", "kind", "due", "status"):
            start[name] = getattr(row, name)
        for name in cls.LENGTHS:
            nm = getattr(row, name)
            start[name] = "" if nm is None else format_length(nm, unit)
        return start
