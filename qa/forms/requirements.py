"""What a revision of a joint says beside its stations, as a form."""

import json
import re
from dataclasses import fields

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from qa.actions.joints import RequirementDraft
from qa.files import motions as motions_file
from qa.files.columns import Complaint, FileComplaints
from qa.forms.instruments import LengthField, nm_of_texts
from qa.models import AcceptanceFinish, JointRevision, Rule, Side
from shop.forms.fields import AskedReason, needed
from shop.forms.numbers import NumberField
from shop.models import Unit
from shop.numeric.units import MILLI, LengthError, format_length, parse_length

EDITIONS = [
    ("2017", _("2017: 95 % proven at the limit")),
    ("1998", _("1998: guard band 2 u")),
]
SEAMS = [
    ("closed", _("closed: all the way round")),
    ("open", _("open: it has two ends")),
]
PLACES = [
    ("inside", _("inside its surround")),
    ("outside", _("outside, around its surround")),
]
MOST_POINTS = 40
LONGEST_NAME = 40
# Fields that hold a length in mm, by the name of the column without _nm.
LENGTHS = (
    "finish_part",
    "finish_surround",
    "aim",
    "repeatability",
    "expanding_length",
)
POSITIVE = LENGTHS[3:]
EXPANSIONS = ("part_expansion", "surround_expansion")
FOR_PLANNING = ("aim", "repeatability", *EXPANSIONS, "expanding_length")
FOR_PLANNING += ("points", "motions")


def radio(label, choices, **named) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label, choices=choices, widget=forms.RadioSelect, **named
    )


def expansion(label) -> NumberField:
    return NumberField(
        label=label,
        required=False,
        min_value=-100,
        max_value=1000,
        decimal_places=3,
    )


class RequirementForm(AskedReason):
    """The requirement; `requirement` after validation is what actions take."""

    @property
    def planning_errors(self) -> list[str]:
        """The fields for planning that complain, so that the page opens them."""
        return [name for name in FOR_PLANNING if name in self.errors]

    use_required_attribute = False

    closed = radio(_("Seam"), SEAMS, initial="closed")
    part_inside = radio(_("The fitted part is"), PLACES, initial="inside")
    marks_on = radio(
        _("Station marks are on the"),
        Side.choices,
        initial="surround",
        help_text=_("Never on the side that is cut."),
    )
    rule = radio(_("Decision rule"), Rule.choices, initial="simple")
    edition = forms.ChoiceField(
        label=_("Guard band by ISO 14253-1"), choices=EDITIONS, initial="2017"
    )
    units = forms.ChoiceField(label=_("Units to show"), choices=Unit.choices)
    acceptance_condition = forms.CharField(
        label=_("Acceptance condition"),
        required=False,
        max_length=200,
        help_text=_("How it must be held when it is accepted: hinged and latched …"),
    )
    acceptance_finish = forms.ChoiceField(
        label=_("Accepted when"), choices=AcceptanceFinish.choices, initial="any"
    )
    finish_part = LengthField(
        label=_("Finish to come on the part (mm)"),
        required=False,
        help_text=_(
            "On each edge and face. Limits hold finished. Fractions of an inch are "
            "read in these fields too: 1/64 in."
        ),
    )
    finish_surround = LengthField(
        label=_("Finish to come on the surround (mm)"), required=False
    )
    source = forms.CharField(
        label=_("Source of the limits"), required=False, max_length=200
    )
    note = forms.CharField(
        label=_("What this revision changes"), required=False, max_length=400
    )
    flow = NumberField(
        label=_("Flow runs towards (degrees)"),
        required=False,
        min_value=-360,
        max_value=360,
        decimal_places=3,
        help_text=_(
            "0 to the right, 90 up, as seen from outside: there the nose of the left "
            "side is on the left. Empty: no flow."
        ),
    )
    aim = LengthField(
        label=_("When trimming, aim inside the limit by (mm)"), required=False
    )
    repeatability = LengthField(
        label=_("Witness stations repeat within (mm)"), required=False
    )
    part_expansion = expansion(_("Thermal expansion of the part (1e-6 per K)"))
    surround_expansion = expansion(_("Thermal expansion of the surround (1e-6 per K)"))
    expanding_length = LengthField(
        label=_("Length that it acts over (mm)"), required=False
    )
    points = forms.CharField(
        label=_("Attach points"),
        required=False,
        max_length=8_000,
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
        help_text=_("Where shims sit. One a line: name, x, y in mm."),
    )
    motions = forms.CharField(
        label=_("How the part may move"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        help_text=_("Empty: freely. Else as plan_fit reads it with --motions."),
    )

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        for name in (*EXPANSIONS, "expanding_length"):
            needed(self.fields[name], _("(all three or none)"))

    def clean(self):
        cleaned = super().clean()
        nm_of_texts(self, *LENGTHS[:3])
        nm_of_texts(self, *POSITIVE, positive=True)
        for name in ("finish_part", "finish_surround", "aim"):
            if (cleaned.get(name) or 0) < 0:
                self.add_error(name, _("This cannot be less than 0."))
        self._cross_checks(cleaned)
        for name, read in (("points", read_points), ("motions", read_motions)):
            if cleaned.get(name):
                try:
                    cleaned[name] = read(cleaned[name])
                except FileComplaints as bad:
                    for complaint in bad.complaints:
                        self.add_error(name, _worded(complaint))
        return cleaned

    def _cross_checks(self, cleaned) -> None:
        warm = [cleaned.get(name) for name in (*EXPANSIONS, "expanding_length")]
        given = [value is not None for value in warm]
        if any(given) and not all(given) and not self.errors.keys() & set(EXPANSIONS):
            self.add_error(
                "expanding_length",
                _("Both expansions and the length are needed, or none."),
            )

    @property
    def closed_seam(self) -> bool:
        return self.data.get(self.add_prefix("closed")) != "open"

    @property
    def inside(self) -> bool:
        return self.data.get(self.add_prefix("part_inside")) != "outside"

    @property
    def requirement(self) -> RequirementDraft:
        """What was said and could be read; the defaults for the rest."""
        self.is_valid()
        stated = {k: v for k, v in self.cleaned_data.items() if v not in (None, "")}
        values = {
            field.name: stated[field.name]
            for field in fields(RequirementDraft)
            if field.name in stated
        }
        values |= {"closed": self.closed_seam, "part_inside": self.inside}
        values |= {f"{name}_nm": stated[name] for name in LENGTHS if name in stated}
        for name in EXPANSIONS:
            if name in stated:
                values[f"{name}_e9"] = int(stated[name] * MILLI)
        if "flow" in stated:
            values["flow_mdeg"] = int(stated["flow"] * MILLI)
        if "points" in stated:
            values["attach_points"] = stated["points"]
        return RequirementDraft(**values)


def read_points(text: str) -> list[dict]:
    """Attach points from lines "name, x, y"; FileComplaints by line."""
    points, complaints, names = [], [], set()
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            points.append(_point(line, names))
        except ValueError as why:
            complaints.append(Complaint(str(why), number))
    if len(points) > MOST_POINTS:
        reason = f"{len(points)} points; at most {MOST_POINTS}"
        complaints.append(Complaint(reason, 1))
    if complaints:
        raise FileComplaints(complaints)
    return points


def _point(line: str, names: set[str]) -> dict:
    cells = [cell.strip() for cell in re.split(r"[,;\t]", line)]
    if len(cells) != 3 or not cells[0]:
        raise ValueError("a name and two numbers are needed: name, x, y")
    name, x, y = cells
    if len(name) > LONGEST_NAME:
        raise ValueError(f"the name is too long: at most {LONGEST_NAME} characters")
    if name in names:
        raise ValueError(f"{name!r} is there twice")
    names.add(name)
    try:
        return {
            "name": name,
            "x_nm": parse_length(x, "mm"),
            "y_nm": parse_length(y, "mm"),
        }
    except LengthError as why:
        raise ValueError(str(why)) from None


def read_motions(text: str) -> list[dict]:
    """The motions as they were typed, once `motions_file` has read them."""
    motions_file.parse(text.encode())
    content = json.loads(text)
    return content["motions"] if isinstance(content, dict) else content


def _worded(complaint) -> str:
    place = [
        complaint.line and _now("line %(line)s") % {"line": complaint.line},
        complaint.column,
    ]
    return ": ".join(str(part) for part in (*place, complaint.text) if part)


def initial_of(revision: JointRevision) -> dict:
    """What the form starts with to revise a revision; its note belongs to it alone."""
    same = (
        *("marks_on", "rule", "edition", "units"),
        *("acceptance_condition", "acceptance_finish", "source"),
    )
    start = {name: getattr(revision, name) for name in same}
    start["closed"] = "closed" if revision.closed else "open"
    start["part_inside"] = "inside" if revision.part_inside else "outside"
    for name in LENGTHS:
        nm = getattr(revision, f"{name}_nm")
        if nm is not None:
            start[name] = format_length(nm, "mm")
    for name in EXPANSIONS:
        e9 = getattr(revision, f"{name}_e9")
        if e9 is not None:
            start[name] = f"{e9 / MILLI:g}"
    if revision.flow_mdeg is not None:
        start["flow"] = f"{revision.flow_mdeg / MILLI:g}"
    if revision.attach_points:
        start["points"] = "\n".join(map(_point_line, revision.attach_points))
    if revision.motions:
        start["motions"] = json.dumps({"motions": revision.motions}, indent=1)
    return start


def mirrored(revision: JointRevision) -> dict:
    """What the form starts with for the joint of the other hand, mirrored at x = 0.
    Motions are left to the person: a hinge line is not turned over by a sign."""
    start = initial_of(revision)
    start.pop("motions", None)
    if revision.flow_mdeg is not None:
        start["flow"] = f"{(180_000 - revision.flow_mdeg) % 360_000 / MILLI:g}"
    if revision.attach_points:
        turned = [{**p, "x_nm": -p["x_nm"]} for p in revision.attach_points]
        start["points"] = "\n".join(map(_point_line, turned))
    return start


def _point_line(point: dict) -> str:
    x, y = (format_length(point[axis], "mm") for axis in ("x_nm", "y_nm"))
    return f"{point['name']}, {x}, {y}"
