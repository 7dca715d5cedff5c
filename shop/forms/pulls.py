"""Pulls: what is said from the start of a lay-up to its parts."""

from dataclasses import dataclass

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from shop.files.csv_table import FileComplaints
from shop.files.cure_trace import parse
from shop.models import (
    CureRecipe,
    Laminate,
    MaterialKind,
    PartDesign,
    Ply,
    PullState,
    Release,
    Tool,
)
from shop.numeric.trace import Trace, TraceError

from .fields import AskedReason, MomentField, asked, needed
from .filters import Filter, any_of
from .measures import mass, pressure, temperature
from .numbers import PercentField
from .row_choice import RowChoiceField
from .tooling import LotField, lots_of

JUST_NOW = _("Empty: just now.")


class StartForm(AskedReason):
    # Not required here: the rule that wants a laminate speaks for itself.
    laminate = RowChoiceField(
        Laminate.objects.all(), label=_("Laminate"), required=False
    )
    started_at = MomentField(label=_("Started"), required=False, help_text=JUST_NOW)
    temperature = temperature(_("Room temperature"), required=False)
    humidity = PercentField(label=_("Humidity in %"), required=False)

    def __init__(self, *arguments, tool: Tool, **named):
        super().__init__(*arguments, **named)
        laminate = self.fields["laminate"]
        laminate.asked = True
        if tool.design_id:
            own = Laminate.objects.filter(design=tool.design_id)
            # The only one in the shop may be another part's.
            laminate.fitting = own
            self.initial["laminate"] = own.order_by("-pk").first()


class LayForm(AskedReason):
    """Planned plies that are not laid yet, and a lot for each of their materials."""

    def __init__(self, *arguments, plies: list[Ply], **named):
        super().__init__(*arguments, **named)
        self.fields["plies"] = forms.ModelMultipleChoiceField(
            Ply.objects.filter(pk__in=[ply.pk for ply in plies]).select_related(
                "material"
            ),
            label=_("Plies laid"),
            widget=forms.CheckboxSelectMultiple,
        )
        self.fields["plies"].label_from_instance = lambda ply: (
            f"{ply.order}. {ply.area_name}: {ply.material.code}, {ply.orientation}°"
        )
        if plies:
            self.initial.setdefault("plies", [plies[0].pk])
        self.materials = list({ply.material for ply in plies})
        for material in sorted(self.materials, key=lambda material: material.code):
            self.fields[f"lot_{material.pk}"] = RowChoiceField(
                lots_of().filter(material=material),
                label=_("Lot of %(code)s") % {"code": material.code},
                # With several, only the lots of the plies that are chosen.
                required=len(self.materials) == 1,
            )
            needed(self.fields[f"lot_{material.pk}"], _("(needed with its plies)"))
        self.order_fields([*list(self.fields)[1:], "reason"])

    def clean(self):
        cleaned = super().clean()
        cleaned["lots"] = {
            material.pk: cleaned.pop(f"lot_{material.pk}", None)
            for material in self.materials
        }
        cleaned["plies"] = list(cleaned.get("plies") or [])
        return cleaned


class OtherPlyForm(forms.Form):
    lot = LotField("fiber", "prepreg", "core", required=True)
    area_name = forms.CharField(label=_("Area"), max_length=60)
    orientation = forms.IntegerField(
        label=_("Orientation in degrees"), min_value=-90, max_value=90
    )
    reason = forms.CharField(label=_("Why it was laid"), max_length=200)


class MixForm(AskedReason):
    resin_lot = LotField(MaterialKind.RESIN, required=True, label=_("Resin lot"))
    hardener_lot = LotField(
        MaterialKind.HARDENER, required=True, label=_("Hardener lot")
    )
    resin = mass(_("Resin as weighed"))
    hardener = mass(_("Hardener as weighed"))
    mixed_at = MomentField(label=_("Mixed"), required=False, help_text=JUST_NOW)
    temperature = temperature(_("Room temperature"), required=False)


class BagForm(forms.Form):
    level = pressure(_("Vacuum, below ambient"))
    after = pressure(_("Vacuum after the pump was shut off"), required=False)
    minutes = needed(
        forms.IntegerField(
            label=_("After so many minutes"),
            min_value=1,
            max_value=1440,
            required=False,
        ),
        _("(needed with the vacuum after)"),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class CloseForm(AskedReason):
    closed_at = MomentField(label=_("Closed"), required=False, help_text=JUST_NOW)


class WorkForm(forms.Form):
    minutes = forms.IntegerField(label=_("Minutes"), min_value=1, max_value=6000)
    what = forms.CharField(label=_("At what"), max_length=120, required=False)


class DemoldForm(AskedReason):
    demolded_at = MomentField(label=_("Out at"), required=False, help_text=JUST_NOW)
    release = forms.ChoiceField(
        label=_("How it came out"), choices=asked(Release.choices)
    )
    where_stuck = needed(
        forms.CharField(label=_("Where it stuck"), max_length=200, required=False),
        _("(needed unless it came out clean)"),
    )


class VoidForm(forms.Form):
    reason = forms.CharField(label=_("Reason"), max_length=200)


class YieldForm(forms.Form):
    design = RowChoiceField(PartDesign.objects.all(), label=_("Design"))
    serial = forms.CharField(label=_("Serial"), max_length=60)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


@dataclass(frozen=True)
class TraceFile:
    name: str
    content: bytes
    trace: Trace


class TraceForm(forms.Form):
    file = forms.FileField(
        label=_("Trace"),
        help_text=_(
            "CSV with a column of minutes (or time) and one per sensor whose name "
            "ends in _c or _f; vacuum_kpa where there is one. Leave OL where a sensor "
            "could not read: what it did not see stays open."
        ),
    )
    recipe = RowChoiceField(CureRecipe.objects.all(), label=_("Recipe"), required=False)

    def clean_file(self) -> TraceFile:
        file = self.cleaned_data["file"]
        if file.size > settings.UPLOAD_LIMIT_BYTES:
            raise forms.ValidationError(_("The file is too large for a trace."))
        content = file.read()
        try:
            return TraceFile(file.name[:120], content, parse(content))
        except FileComplaints as wrong:
            lines = [
                complaint.located(file.name) for complaint in wrong.complaints[:20]
            ]
            raise forms.ValidationError(lines) from None
        except TraceError as wrong:
            raise forms.ValidationError(str(wrong)) from None

    def clean(self):
        cleaned = super().clean()
        if file := cleaned.get("file"):
            cleaned["file_name"], cleaned["content"] = file.name, file.content
            cleaned["trace"] = file.trace
            del cleaned["file"]
        return cleaned


class PullFilter(Filter):
    state = any_of(PullState.choices, _("State"))
