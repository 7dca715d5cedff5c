"""Forms of what is recorded of instruments."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import FRACTIONS, LengthField, nm_of_texts
from qa.models import CalibrationResult, GaugeRules, Strictness
from shop.forms.fields import DateField
from shop.forms.numbers import NumberField
from shop.models import Unit
from shop.numeric.units import MILLI, format_length


class FactorField(NumberField):
    def __init__(self, **named):
        super().__init__(max_digits=5, decimal_places=3, min_value=0.1, **named)


class CalibrationForm(forms.Form):
    done_on = DateField(label=_("Done on"), initial=timezone.localdate)
    laboratory = forms.CharField(label=_("By whom"), max_length=120)
    certificate = forms.CharField(
        label=_("Certificate"), max_length=120, required=False
    )
    result = forms.ChoiceField(label=_("Result"), choices=CalibrationResult.choices)
    unit = forms.ChoiceField(
        label=_("Lengths below are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    error_nm = LengthField(label=_("Greatest error found"), required=False)
    expanded_nm = LengthField(
        label=_("Expanded uncertainty of the certificate"), required=False
    )
    k_e3 = FactorField(label=_("Its factor k"), required=False, initial="2")
    due = DateField(label=_("Next due"), required=False)
    note = forms.CharField(label=_("Note"), max_length=400, required=False)

    def clean(self):
        nm_of_texts(self, "error_nm", "expanded_nm")
        cleaned = self.cleaned_data
        expanded, k = cleaned.get("expanded_nm"), cleaned.pop("k_e3", None)
        if expanded is not None and expanded < 0:
            self.add_error("expanded_nm", _("This must be 0 or more."))
        if expanded is not None and k is None:
            self.add_error("k_e3", _("Say which factor it was stated with."))
        cleaned["k_e3"] = None if expanded is None or k is None else round(k * MILLI)
        done, due = cleaned.get("done_on"), cleaned.get("due")
        if done and due and due < done:
            self.add_error("due", _("This is before it was done."))
        cleaned.pop("unit", None)
        return cleaned


# name of the field: (name of the line, kind)
LINES = {
    "resolution_nm": ("resolution", "resolution"),
    "expanded_nm": ("calibration", "expanded"),
    "repeats_nm": ("repeatability", "repeats"),
    "person_nm": ("operator", "sd"),
    "warm_nm": ("temperature", "half_width"),
    "base_nm": ("base length on curvature", "half_width"),
}


class BudgetForm(forms.Form):
    """The six contributions that a gauge of gap and step has."""

    unit = forms.ChoiceField(
        label=_("Lengths below are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    resolution_nm = LengthField(label=_("Resolution (its smallest step)"))
    expanded_nm = LengthField(
        label=_("Calibration, expanded uncertainty"), required=False
    )
    k_e3 = FactorField(label=_("Its factor k"), required=False, initial="2")
    repeats_nm = LengthField(
        label=_("Repeatability, one standard deviation"), required=False
    )
    repeats_df = forms.IntegerField(
        label=_("Known by so many degrees of freedom"),
        required=False,
        min_value=1,
        max_value=10_000,
        help_text=_("Readings less 1. Empty: known for certain."),
    )
    person_nm = LengthField(
        label=_("Between people, one standard deviation"), required=False
    )
    person_df = forms.IntegerField(
        label=_("Known by so many degrees of freedom"),
        required=False,
        min_value=1,
        max_value=10_000,
        help_text=_("People less 1."),
    )
    warm_nm = LengthField(label=_("Temperature, at most ±"), required=False)
    base_nm = LengthField(
        label=_("Base length on curved skin, at most ±"), required=False
    )
    note = forms.CharField(label=_("Note"), max_length=400, required=False)
    smaller = forms.BooleanField(
        label=_("It may become smaller with no calibration in it"),
        required=False,
        help_text=_("What is judged by it is then judged more leniently."),
    )

    def clean(self):
        nm_of_texts(self, *LINES)
        cleaned = self.cleaned_data
        for name in LINES:
            if (cleaned.get(name) or 0) < 0:
                self.add_error(name, _("This must be 0 or more."))
        if cleaned.get("expanded_nm") and not cleaned.get("k_e3"):
            self.add_error("k_e3", _("Say which factor it was stated with."))
        return cleaned

    @property
    def rows(self) -> list[dict]:
        """The lines that are stated, as a record keeps them."""
        cleaned = self.cleaned_data
        k = cleaned.get("k_e3")
        more = {
            "expanded_nm": {"k_e3": k and round(k * MILLI)},
            "repeats_nm": {"df": cleaned.get("repeats_df")},
            "person_nm": {"df": cleaned.get("person_df")},
        }
        return [
            {
                "name": name,
                "kind": kind,
                "value_nm": cleaned[field],
                **more.get(field, {}),
            }
            for field, (name, kind) in LINES.items()
            if cleaned.get(field)
        ]

    @classmethod
    def initial_of(cls, instrument, newest, unit: str) -> dict:
        """What was stated last; else what the instrument and its certificate say."""
        start = {"unit": unit}
        known = {name: field for field, (name, _kind) in LINES.items()}
        for row in newest.rows if newest else []:
            field = known[row["name"]]
            start[field] = format_length(row["value_nm"], unit)
            if row.get("k_e3"):
                start["k_e3"] = f"{row['k_e3'] / MILLI:g}"
            if row.get("df"):
                start[field.replace("_nm", "_df")] = row["df"]
        if not newest and instrument.resolution_nm:
            start["resolution_nm"] = format_length(instrument.resolution_nm, unit)
        last = instrument.calibrations.exclude(expanded_nm=None).first()
        if last:
            start["expanded_nm"] = format_length(last.expanded_nm, unit)
            start["k_e3"] = f"{last.k_e3 / MILLI:g}"
        return start


class GaugeRulesForm(forms.Form):
    overdue = forms.ChoiceField(
        label=_("When the calibration is overdue"), choices=Strictness.choices
    )
    unfit = forms.ChoiceField(
        label=_("When it is lost, damaged or found off"), choices=Strictness.choices
    )
    outside = forms.ChoiceField(
        label=_("When a reading lies outside what it reads"),
        choices=Strictness.choices,
    )

    @classmethod
    def initial_of(cls, row: GaugeRules) -> dict:
        return {name: getattr(row, name) for name in cls.base_fields}
