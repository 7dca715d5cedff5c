"""Forms of nonconformances: the filter, and one small form a verb."""

from collections.abc import Mapping

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.models import (
    Cause,
    Check,
    DefectKind,
    Disposition,
    Joint,
    NonconformanceKind,
    Severity,
    State,
)
from qa.rules import station_names
from shop.forms.fields import DateField, SerialField, asked, needed
from shop.forms.filters import Filter, any_of
from shop.forms.row_choice import RowChoiceField
from shop.identifiers import KINDS
from shop.models import Airframe, Person, Role, Tool, ToolKind


class NonconformanceFilter(Filter):
    state = any_of([("unclosed", _("not closed")), *State.choices], _("State"))
    airframe = RowChoiceField(
        Airframe.objects.all(),
        label=_("Airframe"),
        required=False,
        empty_label=_("any"),
    )
    joint = RowChoiceField(
        Joint.objects.all(), label=_("Joint"), required=False, empty_label=_("any")
    )
    kind = any_of(NonconformanceKind.choices, _("Kind"))
    age = any_of(
        [
            ("7", _("a week and more")),
            ("30", _("30 days and more")),
            ("90", _("90 days and more")),
        ],
        _("Age"),
    )
    person = RowChoiceField(
        Person.objects.all(), label=_("Who"), required=False, empty_label=_("anybody")
    )
    defect = RowChoiceField(
        DefectKind.objects.all(),
        label=_("Kind of defect"),
        required=False,
        empty_label=_("any"),
    )
    cause = any_of(Cause.choices, _("Cause"))
    severity = any_of(Severity.choices[1:], _("Severity"))
    disposition = any_of(Disposition.choices, _("Disposition"))
    blocking = any_of([("yes", _("blocks what comes next"))], _("Blocking"))
    due = any_of([("overdue", _("overdue")), ("week", _("within a week"))], _("Due"))
    mold = RowChoiceField(
        Tool.objects.filter(kind=ToolKind.MOLD),
        label=_("Out of the mold"),
        required=False,
        empty_label=_("any"),
    )
    # From a group or a chart: "tool:3".
    origin = forms.RegexField(
        r"^[a-z]{1,12}:[0-9]{1,18}$",
        label=_("Origin"),
        required=False,
        widget=forms.HiddenInput,
    )

    FEW = ("q", "state", "airframe", "joint", "person", "age")

    @property
    def few(self):
        return [self[name] for name in self.FEW]

    @property
    def more(self):
        hidden = {field.name for field in self.hidden_fields()}
        return [self[n] for n in self.fields if n not in {*self.FEW, *hidden}]

    @property
    def more_chosen(self) -> bool:
        return any(self.chosen[field.name] for field in self.more)

    @property
    def origin_words(self) -> str:
        """What the items came from, in words."""
        kind, _colon, key = (self.chosen["origin"] or "").partition(":")
        if kind not in KINDS or not key:
            return ""
        row = KINDS[kind].rows().filter(pk=int(key)).first()
        return f"{KINDS[kind].word} {row}" if row else ""


class ReviewForm(NonconformanceFilter):
    """The filter of the list, and how it is laid out."""

    group = forms.ChoiceField(label=_("Group by"), required=False)
    order = any_of([("stand-up", _("what blocks first"))], _("Order"))

    def __init__(self, *arguments, groups, **named):
        super().__init__(*arguments, **named)
        self.fields["group"].choices = [("", _("nothing")), *groups.items()]


class _Note(forms.Form):
    note = forms.CharField(
        label=_("Note"), widget=forms.Textarea(attrs={"rows": 3}), required=False
    )


class ContainForm(forms.Form):
    note = forms.CharField(
        label=_("What was done"),
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Tagged, put where; who was told."),
    )
    holds = forms.MultipleChoiceField(
        label=_("Put on hold"), widget=forms.CheckboxSelectMultiple, required=False
    )
    spreads = forms.BooleanField(
        label=_("What came from those is suspect too"), required=False
    )

    def __init__(self, *arguments, holds, **named):
        super().__init__(*arguments, **named)
        self.fields["holds"].choices = holds
        if not holds:
            del self.fields["holds"], self.fields["spreads"]


class ExplainForm(_Note):
    cause = forms.ChoiceField(label=_("Cause"), choices=asked(Cause.choices))
    origin = forms.ChoiceField(
        label=_("It came from"),
        required=False,
        help_text=_("Of what the serial was made of and in: the chain leads on."),
    )
    field_order = ("cause", "origin", "note")

    def __init__(self, *arguments, origins, **named):
        super().__init__(*arguments, **named)
        self.fields["origin"].choices = [("", _("nothing named")), *origins]


class AssignForm(_Note):
    holder = RowChoiceField(Person.objects.none(), label=_("Who has it"))
    severity = forms.ChoiceField(
        label=_("How severe"), choices=Severity.choices, required=False
    )
    blocking = forms.BooleanField(label=_("Blocks what comes next"), required=False)
    due = DateField(label=_("Due"), required=False)
    field_order = ("holder", "severity", "blocking", "due", "note")

    def __init__(self, *arguments, standing, **named):
        names = ("holder", "severity", "blocking", "due")
        start = {name: getattr(standing, name) for name in names}
        super().__init__(*arguments, initial=start, **named)
        crew = Person.objects.filter(is_active=True).exclude(role=Role.VISITOR)
        self.fields["holder"].queryset = crew


class DispositionField(forms.ChoiceField):
    """What may be decided; `barred`: why not the others, by what they are."""

    barred: Mapping[str, str] = {}

    def validate(self, value):
        if why := self.barred.get(value):
            raise forms.ValidationError(why, code="invalid_choice")
        super().validate(value)


class DisposeForm(_Note):
    disposition = DispositionField(
        error_messages={"invalid_choice": _("Choose one of these.")},
        label=_("Disposition"),
        choices=Disposition.choices,
        widget=forms.RadioSelect,
        help_text=_(
            "Rework promises full conformity; use as is and repair are the engineer's; "
            "scrap marks the serial for good."
        ),
    )
    concession = forms.CharField(
        label=_("Concession"),
        max_length=200,
        required=False,
        help_text=_("Who granted it, and its number."),
    )
    field_order = ("disposition", "note", "concession")

    def __init__(self, *arguments, dispositions, barred=None, primary=True, **named):
        """barred: why not the others; what bars scrap is told before it is asked."""
        super().__init__(*arguments, **named)
        field = self.fields["disposition"]
        field.choices = [
            (disposition.value, disposition.label) for disposition in dispositions
        ]
        field.barred = barred or {}
        if why := field.barred.get(Disposition.SCRAP):
            field.help_text = _(
                "Rework promises full conformity; use as is and repair are the "
                "engineer's. Scrap is not offered: %(why)s"
            ) % {"why": why}
        self.fields["note"].label = _("Justification, or what is to be done")
        granted = {disposition.value for disposition in dispositions} & {
            "use_as_is",
            "repair",
        }
        if not (primary and granted):
            del self.fields["concession"]
            if Disposition.SCRAP in dispositions:
                needed(self.fields["note"], _("(needed for scrap)"))
            return
        words = _("(needed where primary structure is used as it is or repaired)")
        needed(
            self.fields["note"],
            _(
                "(needed for scrap, and where primary structure is used as it is or "
                "repaired)"
            ),
        )
        needed(self.fields["concession"], words)


class WorkForm(forms.Form):
    note = forms.CharField(
        label=_("What was done"), widget=forms.Textarea(attrs={"rows": 3})
    )


class VerifyForm(_Note):
    recheck = RowChoiceField(Check.objects.none(), label=_("Re-check"), required=False)
    field_order = ("recheck", "note")

    def __init__(self, *arguments, rechecks, too_old=(), **named):
        """too_old: checks that are not offered, begun before the work was recorded."""
        super().__init__(*arguments, **named)
        self.fields["recheck"].queryset = rechecks
        if too_old:
            self.fields["recheck"].help_text = _(
                "A check begun before the work was recorded shows what was there "
                "before it, and is not offered: %(labels)s. Measure again after the "
                "work."
            ) % {"labels": ", ".join(check.label for check in too_old)}
        self.fields["note"].label = _("What was verified")
        needed(self.fields["recheck"], _("(needed where it was found by measuring)"))
        needed(self.fields["note"], _("(needed without a re-check)"))


class CloseForm(_Note):
    pass


class ReopenForm(forms.Form):
    note = forms.CharField(
        label=_("Why it is opened again"), widget=forms.Textarea(attrs={"rows": 3})
    )


class RemarkForm(forms.Form):
    note = forms.CharField(label=_("Remark"), widget=forms.Textarea(attrs={"rows": 3}))


class ByHandForm(forms.Form):
    airframe = RowChoiceField(Airframe.objects.all(), label=_("Airframe"))
    title = forms.CharField(label=_("What is wrong"), max_length=200)
    joint = RowChoiceField(
        Joint.objects.select_related("current"), label=_("Joint"), required=False
    )
    stations = forms.CharField(
        label=_("Stations of the joint"),
        required=False,
        max_length=200,
        help_text=_("4, 5 or 4 to 7; a place that is none, in words below."),
    )
    first = forms.ChoiceField(
        label=_("At station"),
        required=False,
        help_text=_("A place that is at none, in words below."),
    )
    last = forms.ChoiceField(
        label=_("Up to station"),
        required=False,
        help_text=_("Where it is a stretch: along the stations as they are numbered."),
    )
    part = SerialField(label=_("Part serial"), required=False, max_length=60)
    defect = RowChoiceField(
        DefectKind.objects.filter(in_use=True),
        label=_("Kind of defect"),
        required=False,
        empty_label=_("other"),
    )
    requirement = forms.CharField(
        label=_("Requirement"), required=False, max_length=200
    )
    found = forms.CharField(label=_("Found"), required=False, max_length=200)
    place = forms.CharField(label=_("Place"), required=False, max_length=200)
    note = forms.CharField(
        label=_("Note"), widget=forms.Textarea(attrs={"rows": 3}), required=False
    )

    def __init__(self, *arguments, joint: Joint | None = None, **named):
        """joint: its stations are offered to choose from, instead of written."""
        super().__init__(*arguments, **named)
        self.joint = joint
        if joint is None:
            del self.fields["first"], self.fields["last"]
            return
        del self.fields["joint"], self.fields["stations"]
        self.fields["airframe"].queryset = Airframe.objects.filter(type=joint.type_id)
        labels = joint.current.stations.values_list("label", flat=True)
        choices = [("", _("none")), *((label, label) for label in labels)]
        self.fields["first"].choices = self.fields["last"].choices = choices

    def clean(self):
        data = super().clean()
        if self.joint is None:
            return data
        first, last = data.pop("first", ""), data.pop("last", "")
        if last and not first:
            self.add_error("first", _("Choose where the stretch begins."))
            return data
        labels = [label for label, _word in self.fields["first"].choices[1:]]
        closed = self.joint.current.closed
        stations = station_names.stretch(first, last, labels, closed=closed)
        return data | {"joint": self.joint, "stations": stations}


class ByHandJointForm(forms.Form):
    """A GET form: the joint whose map and stations are shown to choose from."""

    joint = RowChoiceField(
        Joint.objects.exclude(current=None).select_related("current", "type"),
        label=_("On the map of joint"),
        empty_label=_("choose"),
    )

    @property
    def chosen(self) -> Joint | None:
        self.is_valid()
        return getattr(self, "cleaned_data", {}).get("joint")


class DefectKindForm(forms.Form):
    name = forms.CharField(label=_("Kind of defect"), max_length=60)
    in_use = forms.BooleanField(label=_("May be chosen"), required=False, initial=True)
