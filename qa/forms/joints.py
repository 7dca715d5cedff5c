"""Forms of joints: the filter of the list, a new joint, its next revision."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.forms.requirements import RequirementForm
from qa.forms.station_drafts import Positions
from qa.forms.stations import StationsForm
from qa.models import Joint
from shop.forms.filters import Filter
from shop.forms.row_choice import RowChoiceField
from shop.models import AirframeType, Position


class JointFilter(Filter):
    type = RowChoiceField(
        AirframeType.objects.all(),
        label=_("Airframe type"),
        required=False,
        empty_label=_("any"),
    )


class PositionField(RowChoiceField):
    """A position of any type, told with its type."""

    def __init__(self, **named):
        rows = Position.objects.select_related("type").order_by("type__code", "path")
        super().__init__(rows, empty_label=_("choose"), **named)

    def label_from_instance(self, position):
        return f"{position.type.code}: {position.path}"


class MirrorField(RowChoiceField):
    def label_from_instance(self, joint):
        return f"{joint.type.code}: {joint.number} {joint.name}"


class IdentityForm(forms.Form):
    """Between what a joint is, and on which airframes."""

    position = PositionField(label=_("Fitted part"))
    surround = PositionField(label=_("Surround"))
    number = forms.CharField(label=_("Joint number"), max_length=40)
    name = forms.CharField(label=_("Name"), max_length=120)
    first_line = forms.IntegerField(
        label=_("From line number"), min_value=1, max_value=1_000_000, initial=1
    )
    last_line = forms.IntegerField(
        label=_("To line number"), required=False, min_value=1, max_value=1_000_000
    )
    mirror = MirrorField(
        Joint.objects.filter(mirror=None).select_related("type"),
        label=_("Mirror of"),
        required=False,
        empty_label=_("none"),
        help_text=_("The joint of the other hand; stations map by their names."),
    )

    def clean(self):
        cleaned = super().clean()
        part, around = cleaned.get("position"), cleaned.get("surround")
        if part and around:
            if part == around:
                self.add_error("surround", _("A part cannot be its own surround."))
            elif part.type_id != around.type_id:
                message = _("Both positions must be of one airframe type.")
                self.add_error("surround", message)
        first, last = cleaned.get("first_line"), cleaned.get("last_line")
        if first and last and last < first:
            self.add_error("last_line", _("This is below the first line number."))
        if part and cleaned.get("number"):
            taken = Joint.objects.filter(type_id=part.type_id, number=cleaned["number"])
            if taken.exists():
                message = _("This joint number is taken on this type.")
                self.add_error("number", message)
        return cleaned


def positions_of(type_id: int) -> Positions:
    rows = Position.objects.filter(type_id=type_id)
    return Positions(rows.values_list("code", "name", "pk"))


class NewJointForm(IdentityForm, StationsForm, RequirementForm):
    IDENTITY = tuple(IdentityForm.base_fields)

    def positions(self):
        part = self.cleaned_data.get("position")
        return positions_of(part.type_id) if part else Positions()

    @property
    def identity(self) -> dict:
        return {name: self.cleaned_data.get(name) for name in self.IDENTITY}


class RevisionForm(StationsForm, RequirementForm):
    def __init__(self, *arguments, type_id, **named):
        super().__init__(*arguments, **named)
        self.type_id = type_id

    def positions(self):
        return positions_of(self.type_id)
