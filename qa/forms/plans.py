"""Forms of a plan: what it may do, what was taken off, how far the part was moved."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.instruments import LengthField, nm_of_texts
from qa.numeric.plan.ways import ORDER
from qa.wording.ways import WORDS as WAYS
from shop.forms.fields import needed
from shop.forms.numbers import NumberField
from shop.models import Unit
from shop.numeric.units import (
    MM_PER_IN,
    LengthError,
    parse_typed,
    to_mm,
)


def _unit() -> forms.ChoiceField:
    return forms.ChoiceField(
        choices=Unit.choices, widget=forms.HiddenInput, required=False
    )


def _angle(label) -> NumberField:
    """Degrees, as plans take them."""
    return NumberField(to=float, label=label, required=False, min_value=0, max_value=45)


def why_overtaken(label, complaint, **named) -> forms.CharField:
    """The reason of what was done by a plan that is overtaken."""
    messages = {"required": complaint}
    return forms.CharField(
        label=label, max_length=400, error_messages=messages, **named
    )


class PlanForm(forms.Form):
    """What a plan may do, where that is not what the shop usually allows. A GET form:
    nothing is kept, and a plan can be passed on as a link."""

    LENGTHS = {
        "max_move": "max_move_mm",
        "max_raise": "max_raise_mm",
        "max_trim": "max_trim_mm",
        "aim": "aim_mm",
        "build_up": "build_up_mm",
    }
    ANGLES = {"max_turn": "max_turn_deg", "max_tilt": "max_tilt_deg"}
    MOVES = ("max_move", "max_raise", *ANGLES)

    unit = _unit()
    degrees = forms.BooleanField(required=False, widget=forms.HiddenInput)
    way = forms.ChoiceField(
        choices=[(kind, WAYS[kind]) for kind in ORDER],
        required=False,
        widget=forms.HiddenInput,
    )
    freely = forms.BooleanField(
        label=_("As if it could go anywhere, whatever holds it"), required=False
    )
    side = forms.ChoiceField(
        label=_("What may be cut"),
        required=False,
        choices=[
            ("", _("as the joint says")),
            ("part", _("the part, where both may be")),
            ("surround", _("the surround, where both may be")),
            ("none", _("nothing")),
        ],
    )
    max_move = LengthField(label=_("Greatest move in its plane"), required=False)
    max_turn = _angle(_("Greatest turn, degrees"))
    max_raise = LengthField(label=_("Greatest raise"), required=False)
    max_tilt = _angle(_("Greatest tilt, degrees"))
    max_trim = LengthField(label=_("Greatest trim"), required=False)
    aim = LengthField(label=_("Where cut, aim inside the limit by"), required=False)
    build_up = LengthField(label=_("Greatest build-up"), required=False)

    def __init__(self, *arguments, held: bool = False, **named):
        """held: by adjusters, and planned by them unless it is asked for otherwise."""
        super().__init__(*arguments, **named)
        self.held = held
        asked = self.data if self.is_bound else self.initial
        if not asked.get("degrees") and not any(asked.get(n) for n in self.ANGLES):
            for name in self.ANGLES:
                del self.fields[name]
        if not held:
            del self.fields["freely"]

    def clean(self):
        nm_of_texts(self, *self.LENGTHS)
        for name in self.LENGTHS:
            if (self.cleaned_data.get(name) or 0) < 0:
                self.add_error(name, _("This cannot be less than 0."))
        if self.held and not self.cleaned_data.get("freely"):
            for name in self.MOVES:
                if self.cleaned_data.get(name) is not None:
                    self.add_error(
                        name,
                        _("What holds it says how far it goes. Tick that it could go "
                          "anywhere, or leave this empty."),
                    )  # fmt: skip
        return self.cleaned_data

    @property
    def way_wished(self) -> str | None:
        self.is_valid()
        return self.cleaned_data.get("way") or None

    @property
    def otherwise(self) -> bool:
        """Whether more than a way is wished."""
        wished = self.side_wished or self.limits or self.freely_wished
        return self.is_bound and bool(wished or self.errors)

    @property
    def freely_wished(self) -> bool:
        self.is_valid()
        return bool(self.cleaned_data.get("freely"))

    @property
    def limits(self) -> dict:
        """What was said, by the names of PlanOptions; what could be read of it."""
        self.is_valid()
        cleaned = self.cleaned_data
        limits = {
            option: to_mm(cleaned[name])
            for name, option in self.LENGTHS.items()
            if cleaned.get(name) is not None
        }
        for name, option in self.ANGLES.items():
            if cleaned.get(name) is not None:
                limits[option] = cleaned[name]
        return limits

    @property
    def side_wished(self) -> str | None:
        self.is_valid()
        return self.cleaned_data.get("side") or None


class TrimForm(forms.Form):
    """What came off, station by station. Nothing is taken for done before it is said;
    one touch says that the asked bites were cut, and a typed cell still wins."""

    unit = _unit()
    as_asked = forms.BooleanField(
        label=_("Cut as asked: where no depth is typed, the next bite came off"),
        required=False,
    )
    moved = forms.ChoiceField(
        label=_("And the part"),
        widget=forms.RadioSelect,
        choices=[("no", _("went back where it sat"))],
    )
    more = forms.BooleanField(
        label=_("More is still to be cut by this plan, before it is measured again"),
        required=False,
    )
    reason = needed(
        forms.CharField(
            label=_("Why it was cut deeper or elsewhere than planned"),
            required=False,
            max_length=400,
            help_text=_("On primary structure the engineer says it."),
        ),
        _("(needed only then)"),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *arguments, rows, moved="", unit="mm", overtaken=False, **named):
        super().__init__(*arguments, **named)
        self.rows = rows
        self.fields["unit"].initial = unit
        if overtaken:
            self.fields["reason"] = why_overtaken(
                _("Why it was cut by a plan that is overtaken"),
                _("The plan is overtaken: say why it was cut by it."),
                help_text=self.fields["reason"].help_text,
            )
        if moved:
            self.fields["moved"].choices = [
                ("yes", moved),
                *self.fields["moved"].choices,
            ]
        else:
            self.fields["moved"].initial = "no"
        for number, row in enumerate(rows):
            self.fields[f"taken_{number}"] = LengthField(
                label=_("Taken off at station %(name)s") % {"name": row.name},
                required=False,
            )

    @property
    def unit_typed(self) -> str:
        return self.cleaned_data.get("unit") or Unit.MM

    def clean(self):
        for name in self.fields:
            text = self.cleaned_data.get(name)
            if name.startswith("taken_") and text:
                try:
                    depth = parse_typed(text, self.unit_typed)
                except LengthError as error:
                    self.add_error(name, f"{error}.")
                    continue
                if depth < 0:
                    self.add_error(name, _("A depth is 0 or more."))
        return self.cleaned_data

    @property
    def table(self) -> list:
        """(row, its field, whether something is asked for here); those asked first."""
        lines = [
            (row, self[f"taken_{number}"], bool(row.bite_nm))
            for number, row in enumerate(self.rows)
        ]
        return sorted(lines, key=lambda line: not line[2])

    def depths_typed(self) -> list:
        """(row, text, unit) of every station where a depth was typed, or cut as
        asked. A fraction is of an inch, whatever the other depths are in."""
        asked = self.cleaned_data.get("as_asked")
        texts = [
            self.cleaned_data.get(f"taken_{number}") or (row.bite if asked else "")
            for number, row in enumerate(self.rows)
        ]
        return [
            (row, text.removesuffix("in").strip(), Unit.INCH)
            if "/" in text
            else (row, text, self.unit_typed)
            for row, text in zip(self.rows, texts, strict=True)
            if text
        ]


# The motions of a free part in the order in which a person thinks of them.
MOTION_ORDER = ("x", "y", "z", "turn", "tilt_x", "tilt_y")


class MoveForm(forms.Form):
    """How far the part was moved, motion by motion; starts with the plan's amounts, in
    mm: of a turn, how far the station `at` goes, the one that goes furthest."""

    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *arguments, rows, unit="mm", overtaken=False, **named):
        super().__init__(*arguments, **named)
        self.count, self.unit = len(rows), unit
        if overtaken:
            self.fields["reason"] = why_overtaken(
                _("Why it was moved by a plan that is overtaken"),
                _("The plan is overtaken: say why it was moved by it."),
            )
        for number, row in enumerate(rows):
            self.fields[f"amount_{number}"] = NumberField(
                to=float,
                label=row.label(unit),
                initial=row.typed(unit),
                min_value=-1000,
                max_value=1000,
            )
        order = sorted(range(len(rows)), key=lambda n: (_thought_of(rows[n]), n))
        self.order_fields([f"amount_{n}" for n in order])

    @property
    def amounts(self) -> list[float]:
        """mm, in the order of the motions."""
        per = 1.0 if self.unit == "mm" else MM_PER_IN
        return [
            per * self.cleaned_data[f"amount_{number}"] for number in range(self.count)
        ]


def _thought_of(row) -> int:
    named = row.name in MOTION_ORDER
    return MOTION_ORDER.index(row.name) if named else len(MOTION_ORDER)


class ReasonForm(forms.Form):
    reason = forms.CharField(label=_("Why"), max_length=400)


class ReleaseForm(forms.Form):
    note = forms.CharField(
        label=_("What was looked at"),
        required=False,
        max_length=400,
        help_text=_("Edge distance, solid edge band, laminate under the cut."),
    )
