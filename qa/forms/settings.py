"""What the adjusters of a part were set to, as a form: whole steps, in the words of the
shop."""

import re
from collections.abc import Sequence
from fractions import Fraction

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from qa.actions.settings import Set
from qa.forms.plans import why_overtaken
from qa.models import StepKind
from qa.rules.adjusters import Present
from qa.wording.settings import length, now_words, turns
from shop.models import Unit
from shop.numeric.units import LengthError, format_length, parse_typed

PLUS, MINUS = "plus", "minus"
# Shims and turns as they are counted: 2, 0.75, 3/4, 1 1/4.
COUNT = re.compile(
    r"([-\N{MINUS SIGN}]?)(?:(\d{1,4}) +(?=\d+/))?"
    r"(\d{1,4}(?:[.,]\d{1,3})?)(?:/(0*[1-9]\d{0,2}))?",
    re.ASCII,
)
# As turns are told.
SPELLED = {"¼": " 1/4", "½": " 1/2", "¾": " 3/4"}
# A step of 0.1 mm typed in inches, with the decimals that inches have, is that step.
HALF_A_DIGIT = {Unit.MM: 0, Unit.INCH: 127}


class SettingsForm(forms.Form):
    """A change of each adjuster: how much, and which way. An empty one stays.

    `setting_<row>` is typed as hands count it: a length, shims, or turns.
    """

    use_required_attribute = False
    unit = forms.ChoiceField(
        choices=Unit.choices, widget=forms.HiddenInput, required=False
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(
        self,
        *arguments,
        present: Sequence[Present],
        unit: str,
        asked=None,
        overtaken: bool = False,
        **named,
    ):
        super().__init__(*arguments, **named)
        self.present, self.asked = present, asked or {}
        self.fields["unit"].initial = unit
        if overtaken:
            reason = self.fields["reason"] = why_overtaken(
                _("Why it was set by a plan that is overtaken"),
                _("The plan is overtaken: say why it was set by it."),
                required=self.data.get("do") != "see",
            )
            reason.asked = True  # by the form, also while it only looks ahead
        for row, adjuster in enumerate(present):
            asked_nm = self.asked.get(adjuster.name, 0)
            self.fields[f"was_{row}"] = forms.IntegerField(
                widget=forms.HiddenInput, required=False, initial=adjuster.now_nm
            )
            self.fields[f"setting_{row}"] = forms.CharField(
                label=_now("%(point)s, %(plus)s or %(minus)s") % vars(adjuster),
                required=False,
                max_length=24,
                initial=self._typed(adjuster, asked_nm, unit),
                widget=forms.TextInput(attrs={"inputmode": "decimal"}),
            )
            self.fields[f"way_{row}"] = forms.ChoiceField(
                label=_now("%(point)s: which way") % vars(adjuster),
                choices=self._ways(adjuster),
                required=False,
                initial=MINUS if asked_nm < 0 else PLUS,
            )

    @staticmethod
    def _ways(adjuster: Present) -> list[tuple[str, str]]:
        if adjuster.step_kind == StepKind.SHIM:
            return [(PLUS, _now("put in")), (MINUS, _now("taken out"))]
        return [(PLUS, adjuster.plus), (MINUS, adjuster.minus)]

    @staticmethod
    def _typed(adjuster: Present, nm: int, unit: str) -> str:
        """A change as it would be typed."""
        if not nm:
            return ""
        if adjuster.step_kind == StepKind.LENGTH:
            return format_length(abs(nm), unit)
        return f"{float(Fraction(abs(nm), adjuster.step_nm) * _share(adjuster)):g}"

    # -- rows for the template

    @property
    def rows(self) -> list[dict]:
        unit = self.unit_typed
        return [
            {
                "present": adjuster,
                "now": now_words(adjuster, adjuster.now_nm, unit),
                "step": _step(adjuster, unit),
                "unit": _counted(adjuster, unit),
                "room": self._room(adjuster, unit),
                "asked": bool(self.asked.get(adjuster.name)),
                "setting": self[f"setting_{row}"],
                "way": self[f"way_{row}"],
                "was": self[f"was_{row}"],
            }
            for row, adjuster in enumerate(self.present)
        ]

    @staticmethod
    def _room(adjuster: Present, unit: str) -> list[str]:
        limits = (
            (adjuster.max_nm - adjuster.now_nm, adjuster.plus),
            (adjuster.now_nm - adjuster.min_nm, adjuster.minus),
        )
        return [f"{length(max(0, nm), unit)} {word}" for nm, word in limits]

    @property
    def unit_typed(self) -> str:
        unit = self.data.get("unit") if self.is_bound else self.fields["unit"].initial
        return unit if unit in Unit.values else Unit.MM

    # -- reading

    def clean(self):
        self.changes_nm = [
            self._change(row, adjuster) for row, adjuster in enumerate(self.present)
        ]
        if not self.errors and not any(self.changes_nm):
            self.add_error(
                None, _("Say what was set otherwise: how far, and which way.")
            )
        return self.cleaned_data

    def _change(self, row: int, adjuster: Present) -> int:
        field = f"setting_{row}"
        text = (self.cleaned_data.get(field) or "").strip()
        if not text or field in self.errors:
            return 0
        try:
            nm = self._nm(adjuster, text)
        except LengthError as error:
            self.add_error(field, f"{error}.")
            return 0
        if nm is None:
            return self._refused(field, _whole(adjuster, self.unit_typed))
        if nm < 0:
            return self._refused(field, _now("Say how far without a sign."))
        if nm % adjuster.step_nm:
            return self._refused(field, _nearest(adjuster, nm, self.unit_typed))
        change = -nm if self.cleaned_data.get(f"way_{row}") == MINUS else nm
        if not adjuster.min_nm <= adjuster.now_nm + change <= adjuster.max_nm:
            sentence = _now("From here it goes %(room)s at most.")
            room = ", ".join(self._room(adjuster, self.unit_typed))
            return self._refused(field, sentence % {"room": room})
        return change

    def _refused(self, field: str, words: str) -> int:
        self.add_error(field, words)
        return 0

    def _nm(self, adjuster: Present, text: str) -> int | None:
        """nm of what was typed; None where shims or turns are not whole steps."""
        if adjuster.step_kind == StepKind.LENGTH:
            nm = parse_typed(text, self.unit_typed)
            steps = round(nm / adjuster.step_nm)
            near = abs(nm - steps * adjuster.step_nm) <= HALF_A_DIGIT[self.unit_typed]
            return steps * adjuster.step_nm if near else nm
        for spelled, fraction in SPELLED.items():
            text = text.replace(spelled, fraction)
        match = COUNT.fullmatch(text.strip())
        if not match:
            return None
        count = Fraction(match[3].replace(",", ".")) / int(match[4] or 1)
        steps = (int(match[2] or 0) + count) / _share(adjuster)
        steps *= -1 if match[1] else 1
        return int(steps) * adjuster.step_nm if steps.denominator == 1 else None

    def settings_made(self) -> list[Set]:
        """What was set, of a valid form: all of them, with what they were."""
        return [
            Set(
                name=adjuster.name,
                value_nm=adjuster.now_nm + change,
                value=self.cleaned_data.get(f"setting_{row}") or "",
                unit=self.unit_typed if adjuster.step_kind == StepKind.LENGTH else "",
                asked_nm=self.asked.get(adjuster.name, 0) if self.asked else None,
                was_nm=self.cleaned_data.get(f"was_{row}"),
            )
            for row, (adjuster, change) in enumerate(
                zip(self.present, self.changes_nm, strict=True)
            )
        ]


def _share(adjuster: Present) -> Fraction:
    """What one step counts: one shim, or its part of a turn."""
    if adjuster.step_kind == StepKind.TURN:
        return Fraction(adjuster.turn_e3 or 1000, 1000)
    return Fraction(1)


def _step(adjuster: Present, unit: str) -> str:
    step = length(adjuster.step_nm, unit)
    if adjuster.step_kind == StepKind.SHIM:
        return _now("one shim, %(step)s") % {"step": step}
    if adjuster.step_kind == StepKind.TURN:
        return f"{turns(adjuster.turn_e3 or 0)}, {step}"
    return step


def _counted(adjuster: Present, unit: str) -> str:
    """What is counted in the field."""
    if adjuster.step_kind == StepKind.SHIM:
        return _now("shims")
    return _now("turns") if adjuster.step_kind == StepKind.TURN else unit


def _whole(adjuster: Present, unit: str) -> str:
    if adjuster.step_kind == StepKind.SHIM:
        return _now("Whole shims: 1, 2, 3.")
    return _now("In steps of %(step)s.") % {"step": _step(adjuster, unit)}


def _nearest(adjuster: Present, nm: int, unit: str) -> str:
    """The whole steps on both sides of what was typed."""
    below = nm // adjuster.step_nm * adjuster.step_nm
    values = {
        "step": length(adjuster.step_nm, unit),
        "below": format_length(below, unit),
        "above": format_length(below + adjuster.step_nm, unit),
    }
    return _now("In steps of %(step)s: %(below)s or %(above)s.") % values
