"""Tools, their routes, release, machines."""

from django import forms
from django.utils.timezone import localdate
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from shop.models import (
    Axis,
    Lot,
    LotState,
    Machine,
    PhotoPin,
    Pull,
    ReleaseProduct,
    Role,
    Tool,
    ToolActKind,
    ToolKind,
    ToolState,
)
from shop.numeric.units import CENTS
from shop.rules.repairs import NOTE_MAX, pulls_since

from .fields import (
    AskedReason,
    DateField,
    MomentField,
    PhotoField,
    ToolField,
    WholeField,
    ask_for,
    asked,
    needed,
)
from .filters import Filter, any_of
from .measures import length, temperature
from .numbers import NumberField, PercentField
from .row_choice import RowChoiceField


def lots_of(*kinds: str):
    """Lots that may be used, of materials of these kinds (none given: of any)."""
    rows = Lot.objects.filter(state=LotState.GOOD).select_related("material")
    return rows.filter(material__kind__in=kinds) if kinds else rows


class LotField(RowChoiceField):
    def __init__(self, *kinds: str, **named):
        named = {"label": _("Lot"), "required": False, **named}
        super().__init__(lots_of(*kinds), **named)


class ToolForm(forms.ModelForm):
    class Meta:
        model = Tool
        fields = (
            "kind",
            "code",
            "name",
            "hand",
            "mirror",
            "design",
            "plug",
            "surface_revision",
            "place",
            "condition",
            "service_interval",
            "expected_life",
            "calibration_due",
            "owner",
            "on_loan_since",
            "due_back",
        )
        field_classes = {
            "design": RowChoiceField,
            "service_interval": WholeField,
            "expected_life": WholeField,
            "calibration_due": DateField,
            "on_loan_since": DateField,
            "due_back": DateField,
        }

    mirror = ToolField(
        label=_("Mirror"), required=False, help_text=_("Code of the other hand's tool.")
    )
    plug = ToolField(
        label=_("From the plug"), required=False, help_text=_("Code of the plug.")
    )
    cost = NumberField(
        label=_("What it cost"), required=False, min_value=0, decimal_places=2
    )

    GROUPS = (
        (_("What it is"), ("kind", "code", "name", "hand", "mirror")),
        (_("What it comes from and makes"), ("plug", "surface_revision", "design")),
        (_("Where and how it is"), ("place", "condition")),
        (
            _("Service, life and calibration"),
            ("service_interval", "expected_life", "cost", "calibration_due"),
        ),
        (_("On loan"), ("owner", "on_loan_since", "due_back")),
    )

    @property
    def groups(self) -> list[tuple[str, list]]:
        """Legends and their fields, as the page draws them."""
        return [
            (legend, [self[name] for name in names if name in self.fields])
            for legend, names in self.GROUPS
        ]

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        ask_for(self, "hand")
        needed(self.fields["owner"], _("(needed for a thing on loan)"))
        if self.instance.pk:
            del self.fields["kind"]
            if self.instance.cost is not None:
                self.initial["cost"] = f"{self.instance.cost / CENTS:.2f}"

    def clean_cost(self):
        """In cents."""
        cost = self.cleaned_data["cost"]
        return None if cost is None else int(cost * CENTS)


class ToolActForm(forms.Form):
    # To retire comes last and nothing is chosen beforehand: it cannot be taken back.
    kind = forms.ChoiceField(
        label=_("What was done"),
        choices=asked(
            sorted(ToolActKind.choices, key=lambda c: c[0] == ToolActKind.RETIRED)
        ),
    )
    note = needed(
        forms.CharField(label=_("Where, what or why"), max_length=200, required=False),
        _("(not needed for service, calibration, lending and giving back)"),
    )
    until = needed(
        DateField(
            label=_("Until"),
            required=False,
            help_text=_("Calibrated until, or due back."),
        ),
        _("(needed for a calibration)"),
    )


class StepForm(AskedReason):
    done_at = MomentField(
        label=_("When"), required=False, help_text=_("Empty: just now.")
    )
    product = forms.CharField(label=_("Product"), max_length=120, required=False)
    lot = LotField()
    mix = forms.CharField(label=_("Mix"), max_length=80, required=False)
    temperature = temperature(_("Temperature"), required=False)
    humidity = PercentField(label=_("Humidity in %"), required=False)
    minutes = forms.IntegerField(
        label=_("Minutes worked"), min_value=0, max_value=100_000, required=False
    )
    note = forms.CharField(label=_("Note"), max_length=400, required=False)
    photo = PhotoField(label=_("Photo"), required=False)


class AddStepForm(forms.Form):
    name = forms.CharField(label=_("Step"), max_length=60)
    order = forms.IntegerField(
        label=_("Place in the route"), min_value=1, max_value=1000
    )
    role = any_of(Role.choices, _("Who can take it"))


class RouteForm(forms.Form):
    steps = forms.CharField(
        label=_("Steps"),
        widget=forms.Textarea(attrs={"rows": 14}),
        help_text=_(
            "One a line, in order. To keep a step to a role, write it after a comma: "
            "inspect, inspector"
        ),
    )

    def clean_steps(self) -> list[tuple[str, str]]:
        steps = []
        for line in self.cleaned_data["steps"].splitlines():
            name, _comma, role = (piece.strip() for piece in line.partition(","))
            if not name:
                continue
            if len(name) > 60:
                raise forms.ValidationError(_("A step's name has at most 60 letters."))
            if role and role not in Role.values:
                message = _("There is no role %(role)s.")
                raise forms.ValidationError(message, params={"role": role})
            steps.append((name, role))
        return steps


class CoatForm(AskedReason):
    product = RowChoiceField(ReleaseProduct.objects.all(), label=_("Product"))
    lot = LotField("release")
    applied_at = MomentField(
        label=_("When"), required=False, help_text=_("Empty: just now.")
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class WithdrawalForm(forms.Form):
    reason = forms.CharField(label=_("What was wrong"), max_length=200)


class ReleaseProductForm(forms.ModelForm):
    class Meta:
        model = ReleaseProduct
        fields = (
            "name",
            "kind",
            "minutes_between",
            "minutes_before_layup",
            "coats_new",
            "rewax_every",
            "source",
        )
        field_classes = dict.fromkeys(
            ("minutes_between", "minutes_before_layup", "coats_new", "rewax_every"),
            WholeField,
        )


class DefectForm(forms.Form):
    what = forms.CharField(label=_("What"), max_length=200)
    place = forms.CharField(label=_("Where on the tool"), max_length=120)
    first_pull = RowChoiceField(
        Pull.objects.none(), label=_("First pull that shows it"), required=False
    )
    photo = RowChoiceField(
        PhotoPin.objects.none(), label=_("On the photo"), required=False
    )
    x = needed(
        PercentField(label=_("From its left edge, in %"), required=False, per=10_000),
        _("(needed with a photo)"),
    )
    y = needed(
        PercentField(label=_("From its top edge, in %"), required=False, per=10_000),
        _("(needed with a photo)"),
    )

    def __init__(self, *arguments, tool, pins, **named):
        super().__init__(*arguments, **named)
        self.fields["first_pull"].queryset = tool.pulls.select_related("tool")
        self.fields["photo"].queryset = pins
        photo = self.fields["photo"]
        photo.label_from_instance = lambda pin: pin.note or str(pin.photo)

    def clean(self):
        cleaned = super().clean()
        pin = cleaned.pop("photo", None)
        cleaned["photo"] = pin and pin.photo
        cleaned["x_ppm"], cleaned["y_ppm"] = (
            cleaned.pop("x", None),
            cleaned.pop("y", None),
        )
        if cleaned["photo"] and None in (cleaned["x_ppm"], cleaned["y_ppm"]):
            self.add_error("x", _("Say where on the photo it is."))
        return cleaned


class BeforePullField(forms.TypedChoiceField):
    """Before which pull a mold was repaired: the next, by the number that it has as the
    form is shown, or one that was started before the repair is put on record."""

    def __init__(self):
        super().__init__(
            label=_("Done before"),
            coerce=int,
            help_text=_("Parts of that pull and later ones are of the repaired mold."),
        )

    def offer(self, mold: Tool, shown_at: int) -> None:
        """The next pull of a mold, and those after one at which it was not done yet."""
        following = mold.last_pull + 1
        self.choices = [
            (following, _("the next pull (%(n)s)") % {"n": following}),
            *(
                (pull.number, before_pull_words(pull))
                for pull in pulls_since(mold.pk, shown_at)
            ),
        ]


def before_pull_words(pull: Pull) -> str:
    day = localdate(pull.started_at)
    return gettext("pull %(n)s, started %(day)s") % {"n": pull.number, "day": day}


class RepairForm(forms.Form):
    note = forms.CharField(label=_("How it was repaired"), max_length=NOTE_MAX)
    before_pull = BeforePullField()

    def __init__(self, *arguments, defect, **named):
        super().__init__(*arguments, **named)
        if defect.tool.kind != ToolKind.MOLD:
            del self.fields["before_pull"]
            return
        shown_at = defect.first_pull.number if defect.first_pull else 0
        self.fields["before_pull"].offer(defect.tool, shown_at)


class MachineForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=80)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    play_limit = length(_("Largest play allowed"), required=False)


class PlayForm(forms.Form):
    axis = forms.ChoiceField(label=_("Axis"), choices=asked(Axis.choices))
    play = length(_("Play"))
    measured_on = DateField(label=_("Measured on"), initial=localdate)
    note = forms.CharField(label=_("How"), max_length=200, required=False)


class MillingForm(forms.Form):
    machine = RowChoiceField(Machine.objects.all(), label=_("Machine"))
    milled_on = DateField(label=_("Milled on"), initial=localdate)
    radius = length(_("Tool radius"), least=1)
    stepover = length(_("Stepover"), least=1)
    stock = length(_("Stock left before"), required=False)
    sanding = length(_("What sanding takes off"), required=False)
    passes = forms.IntegerField(
        label=_("Passes"), min_value=1, max_value=10_000, initial=1
    )
    one_way = forms.BooleanField(label=_("One-way passes"), required=False)
    slopes = forms.CharField(
        label=_("Slopes to look at, in degrees"),
        initial="0 15 30 45 60",
        max_length=60,
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def clean_slopes(self) -> list[int]:
        words = self.cleaned_data["slopes"].replace(",", " ").split()
        if not all(word.isdecimal() and int(word) < 90 for word in words):
            raise forms.ValidationError(_("Whole degrees from 0 to 89, with spaces."))
        return [int(word) for word in words][:12]


class ToolFilter(Filter):
    kind = any_of(ToolKind.choices, _("Kind"))
    state = any_of(ToolState.choices, _("State"))
    waits = forms.CharField(label=_("Waits for"), required=False, max_length=60)
    order = forms.ChoiceField(
        label=_("Order"),
        choices=[("", _("by code")), ("waiting", _("longest waiting first"))],
        required=False,
    )
