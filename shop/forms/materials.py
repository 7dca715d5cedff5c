"""Materials, lots, laminates, cure recipes."""

from decimal import Decimal, InvalidOperation

from django import forms
from django.utils.timezone import localdate
from django.utils.translation import gettext_lazy as _

from shop.models import (
    CureRecipe,
    Laminate,
    LotActKind,
    LotState,
    Material,
    MaterialKind,
    PartDesign,
)
from shop.numeric.units import MILLI, MM2_PER_M2, PPM_PER_PERCENT, to_mm

from .fields import DateField, WholeField, asked, needed
from .filters import Filter, any_of
from .measures import AmountField, temperature
from .numbers import NumberField, PercentField
from .row_choice import RowChoiceField


class MaterialForm(forms.ModelForm):
    thickness_nm = AmountField(
        dimension="length",
        unit="mm",
        label=_("Thickness of a core"),
        required=False,
        least=1,
        most=10**12,
    )

    class Meta:
        model = Material
        fields = (
            "code",
            "name",
            "kind",
            "density",
            "areal_mass",
            "thickness_nm",
            "out_time_limit",
            "pot_minutes",
            "ratio",
        )
        field_classes = dict.fromkeys(
            ("density", "areal_mass", "out_time_limit", "pot_minutes", "ratio"),
            WholeField,
        )

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        if self.instance.thickness_nm:
            self.initial["thickness_nm"] = f"{to_mm(self.instance.thickness_nm):g}"


class LotForm(forms.Form):
    material = RowChoiceField(Material.objects.all(), label=_("Material"))
    number = forms.CharField(label=_("Lot number"), max_length=60)
    received_on = DateField(label=_("Received"), initial=localdate)
    expires_on = DateField(label=_("Expires"), required=False)
    amount = forms.CharField(label=_("Amount"), max_length=40, required=False)
    place = forms.CharField(label=_("Where"), max_length=80, required=False)
    supplier = forms.CharField(label=_("Supplier"), max_length=80, required=False)
    certificate = forms.CharField(
        label=_("Certificate of conformity, number"),
        max_length=80,
        required=False,
        help_text=_("Both may be said later, when the papers are here."),
    )


class LotPapersForm(forms.Form):
    """What is on record when it is opened goes with it."""

    supplier = forms.CharField(label=_("Supplier"), max_length=80, required=False)
    certificate = forms.CharField(
        label=_("Certificate of conformity, number"), max_length=80, required=False
    )
    shown_supplier = forms.CharField(
        widget=forms.HiddenInput, required=False, strip=False
    )
    shown_certificate = forms.CharField(
        widget=forms.HiddenInput, required=False, strip=False
    )


class LotActForm(forms.Form):
    kind = forms.ChoiceField(
        label=_("What was done"),
        choices=asked(
            (kind, word)
            for kind, word in LotActKind.choices
            if kind not in (LotActKind.RECEIVED, LotActKind.PAPERS)
        ),
    )
    minutes = needed(
        forms.IntegerField(
            label=_("Minutes out"), min_value=1, max_value=1_000_000, required=False
        ),
        _("(needed for time out of the freezer)"),
    )
    temperature = temperature(_("Temperature out there"), required=False)
    note = needed(
        forms.CharField(label=_("Note, or where to"), max_length=200, required=False),
        _("(needed for a move)"),
    )


class RecipeForm(forms.ModelForm):
    """Temperatures and rates are typed in degrees and kept in thousandths."""

    class Meta:
        model = CureRecipe
        fields = ("name", "dwell_minutes", "minutes_to_release")
        field_classes = dict.fromkeys(fields[1:], WholeField)

    dwell_low = temperature(_("Dwell from"))
    dwell_high = temperature(_("Dwell to"))
    peak_most = temperature(_("Peak at most"), required=False)
    ramp_most = NumberField(
        label=_("Fastest ramp in K per minute"),
        required=False,
        min_value=0,
        max_value=100,
        decimal_places=3,
    )

    def clean_ramp_most(self):
        rate = self.cleaned_data["ramp_most"]
        return None if rate is None else int(rate * MILLI)


def read_plies(text: str) -> list[tuple[str, int, Material, int]]:
    """Read "area, m2, material, degrees" a line; ValidationError names each line."""
    materials = {material.code: material for material in Material.objects.all()}
    plies, wrong, areas = [], [], {}
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        cells = [cell.strip() for cell in line.replace(";", ",").split(",")]
        try:
            area, square, code, *angle = cells
            mm2 = int(Decimal(square) * MM2_PER_M2)
            degrees = int(angle[0]) if angle and angle[0] else 0
            material = materials[code]
        except KeyError:
            wrong.append(_("Line %(n)s: no material %(c)s.") % {"n": number, "c": code})
        except (ValueError, InvalidOperation, OverflowError):
            wrong.append(
                _("Line %(n)s: write area, square meters, material, degrees.")
                % {"n": number}
            )
        else:
            if not (0 < mm2 < 10**12 and -90 <= degrees <= 90 and area):
                wrong.append(_("Line %(n)s: a value that cannot be.") % {"n": number})
            elif areas.setdefault(area, mm2) != mm2:
                message = _("Line %(n)s: %(area)s had another size above.")
                wrong.append(message % {"n": number, "area": area})
            plies.append((area, mm2, material, degrees))
    if wrong:
        raise forms.ValidationError([str(fault) for fault in wrong])
    return plies


class LaminateForm(forms.Form):
    code = forms.CharField(label=_("Code"), max_length=40)
    revision = forms.CharField(label=_("Revision"), max_length=12, initial="A")
    name = forms.CharField(label=_("Name"), max_length=120)
    design = RowChoiceField(
        PartDesign.objects.all(),
        label=_("For the design"),
        required=False,
        help_text=_("Its parts are weighed against this laminate."),
    )
    resin = RowChoiceField(
        Material.objects.filter(kind=MaterialKind.RESIN), label=_("Resin")
    )
    recipe = RowChoiceField(
        CureRecipe.objects.all(), label=_("Cure recipe"), required=False
    )
    fiber_fraction_ppm = PercentField(
        label=_("Fiber volume fraction in %"), per=10_000, min_value=1, max_value=99
    )
    loss_ppm = PercentField(
        label=_("Resin lost in mixing, in %"), per=10_000, initial=15
    )
    spread_ppm = PercentField(
        label=_("Spread of the resin fraction, in %"), per=10_000, initial=3
    )
    core_uptake = forms.IntegerField(
        label=_("Resin a face of core takes up, in g per square meter"),
        min_value=0,
        max_value=5000,
        initial=0,
    )
    plies = forms.CharField(
        label=_("Plies"),
        widget=forms.Textarea(attrs={"rows": 12}),
        help_text=_(
            "One a line in the order of laying: area, square meters, material, "
            "degrees. Example: skin, 0.52, GF-200, 45"
        ),
    )

    def clean_plies(self):
        return read_plies(self.cleaned_data["plies"])


def laminate_initial(laminate: Laminate) -> dict:
    """What the form of a laminate shows when its next revision is written."""
    percent = ("fiber_fraction_ppm", "loss_ppm", "spread_ppm")
    lines = [
        f"{ply.area_name}, {ply.area_mm2 / MM2_PER_M2:g}, {ply.material.code}, "
        f"{ply.orientation}"
        for ply in laminate.plies.select_related("material")
    ]
    return {
        "code": laminate.code,
        "revision": laminate.revision,
        "name": laminate.name,
        "design": laminate.design_id,
        "resin": laminate.resin_id,
        "recipe": laminate.recipe_id,
        "core_uptake": laminate.core_uptake,
        "plies": "\n".join(lines),
    } | {name: f"{getattr(laminate, name) / PPM_PER_PERCENT:g}" for name in percent}


class MaterialFilter(Filter):
    kind = any_of(MaterialKind.choices, _("Kind"))


class LotFilter(Filter):
    state = any_of(LotState.choices, _("State"))
