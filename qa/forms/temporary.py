"""Forms of temporary items: what goes in, what comes out, the holes of a pattern."""

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.models import Joint
from shop.forms.fields import WholeField, asked, needed
from shop.forms.filters import Filter, any_of
from shop.forms.row_choice import RowChoiceField
from shop.models import Airframe, Position, TemporaryKind
from shop.rules.temporary import MOST, SIZES

BARE_SIZES = [("", _("no size")), *((size, size) for size in SIZES)]


class WhereForm(forms.Form):
    """A GET form: the airframe that something goes into."""

    airframe = RowChoiceField(
        Airframe.objects.select_related("type"), label=_("Airframe")
    )


class PutInForm(forms.Form):
    kind = forms.ChoiceField(label=_("What"), choices=asked(TemporaryKind.choices))
    count = WholeField(label=_("How many"), min_value=1, max_value=MOST, initial=1)
    bay = RowChoiceField(
        Position.objects.none(),
        label=_("Bay"),
        help_text=_("A position: it is counted there."),
    )
    joint = RowChoiceField(
        Joint.objects.none(), label=_("At a joint"), required=False, empty_label="—"
    )
    size = needed(
        forms.ChoiceField(label=_("Size"), choices=BARE_SIZES, required=False),
        _("of clecos"),
    )
    place = forms.CharField(
        label=_("Where, in words"),
        max_length=200,
        required=False,
        help_text=_("Frame 4, behind the spar, taped over the vent ..."),
    )
    why = forms.CharField(label=_("Why"), max_length=200)
    stands_for = needed(
        forms.CharField(label=_("Stands in for"), max_length=120, required=False),
        _("of a mock-up"),
    )
    owner = needed(
        forms.CharField(label=_("Borrowed from"), max_length=120, required=False),
        _("of a borrowed thing"),
    )

    def __init__(self, *arguments, airframe: Airframe, **named):
        super().__init__(*arguments, **named)
        kind = airframe.type_id
        self.fields["bay"].queryset = Position.objects.filter(type=kind)
        rows = Joint.objects.filter(type=kind).exclude(current=None)
        self.fields["joint"].queryset = rows.select_related("current", "type")


class StepForm(forms.Form):
    """Pieces of one item; `spots` are the named holes that it is in."""

    count = WholeField(label=_("How many"), min_value=1, max_value=MOST)
    spots = forms.MultipleChoiceField(
        label=_("Out of these holes"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    based_on = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *arguments, spots: list[str], asks_why=False, **named):
        super().__init__(*arguments, **named)
        if spots:
            self.fields["spots"].choices = [(spot, spot) for spot in spots]
            self.fields["spots"].required = True
            del self.fields["count"]
        else:
            del self.fields["spots"]
        if asks_why:
            self.fields["note"].label = _("Why it may be closed without it")
            self.fields["note"].required = True

    @property
    def arguments(self) -> dict:
        data = self.cleaned_data
        spots = data.get("spots", [])
        count = data.get("count") or len(spots)
        kept = {name: data[name] for name in ("note", "based_on")}
        return {"count": count, "spots": spots, **kept}


class HolesForm(forms.Form):
    """The holes of a pattern: clecos of one size go in, or whatever is in comes out."""

    spots = forms.MultipleChoiceField(
        label=_("Holes"), required=False, widget=forms.CheckboxSelectMultiple
    )
    size = forms.ChoiceField(
        label=_("Size of those that go in"),
        choices=[("", _("choose")), *BARE_SIZES[1:]],
        required=False,
    )
    why = forms.CharField(label=_("Why, or a note"), max_length=200, required=False)
    verb = forms.ChoiceField(
        choices=[("put_in", ""), ("take_out", "")],
        required=False,
        widget=forms.HiddenInput,
    )

    def __init__(self, *arguments, holes: list[str], **named):
        super().__init__(*arguments, **named)
        self.fields["spots"].choices = [(hole, hole) for hole in holes]


class TemporaryFilter(Filter):
    which = any_of(
        [
            ("on_board", _("must come off")),
            ("missing", _("not found")),
            ("out", _("out")),
        ],
        _("State"),
    )
    airframe = RowChoiceField(
        Airframe.objects.all(), label=_("Airframe"), required=False, empty_label="any"
    )
