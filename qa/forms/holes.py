"""Forms of hole patterns: the requirement as a table, what was measured as another."""

from dataclasses import replace

from django import forms
from django.utils.translation import gettext_lazy as _

from qa.actions.holes import HoleDraft, MeasuredHole, PatternHead
from qa.files import hole_drawing
from qa.files import holes as holes_file
from qa.files.columns import (
    Complaint,
    FileComplaints,
    Row,
    length_nm,
    read_table,
    recognize,
)
from qa.files.drawing import looks_like_dxf
from qa.forms.instruments import FRACTIONS, InstrumentField, LengthField
from qa.models import HolePatternRevision, Joint
from qa.numeric.holes.spacing import SPACING_RULES
from shop.forms.fields import SerialField
from shop.forms.row_choice import RowChoiceField
from shop.models import PartDesign, Unit
from shop.numeric.units import LengthError, format_length, parse_typed, to_mm, to_nm

LENGTHS = ("x", "y", "zone", "mmc", "hole_max", "fastener", "edge")
NEEDED = ("x", "y", "zone")
# Columns of a file for plan_holes that say what was measured: read past here.
MEASURED = ("measured_x", "measured_y", "hole")
MOST_HOLES = 500
LARGEST = 1_000_000
NM_OF = {"mmc": "low_nm", "hole_max": "high_nm"}


def read_pattern(data: bytes) -> list[HoleDraft]:
    """Holes as required, from `hole,x_mm,y_mm,zone_mm[,mmc_mm,hole_max_mm,fastener_mm,
    edge_mm]`; every `_mm` may be `_in`. FileComplaints with all that is wrong."""
    table = read_table(data)
    cells = tuple("label" if name == "hole" else name for name in table.header.cells)
    columns = recognize(
        Row(table.header.line, cells),
        plain=("label",),
        lengths=(*LENGTHS, *MEASURED),
        required=("label", *NEEDED),
    )
    complaints: list[Complaint] = []
    if not table.rows or len(table.rows) > MOST_HOLES:
        reason = f"{len(table.rows)} holes; there must be 1 to {MOST_HOLES}"
        complaints.append(Complaint(reason, table.header.line))
    drafts = [
        draft
        for row in table.rows[:MOST_HOLES]
        if (draft := _draft(row, columns, complaints))
    ]
    if complaints:
        raise FileComplaints(complaints)
    return drafts


def _draft(row: Row, columns, complaints: list[Complaint]) -> HoleDraft | None:
    label = row.cells[columns["label"].index].strip()
    if not label or len(label) > 40 or not label.isprintable():
        complaints.append(
            Complaint("the name must be 1 to 40 plain characters", row.line, "hole")
        )
    values = {}
    for quantity in LENGTHS:
        column = columns.get(quantity)
        text = row.cells[column.index] if column else ""
        name = NM_OF.get(quantity, f"{quantity}_nm")
        try:
            values[name] = length_nm(text, column.unit) if text else None
        except ValueError as why:
            complaints.append(Complaint(str(why), row.line, column.name))
            return None
        if quantity in NEEDED and values[name] is None:
            reason = "is empty; every hole needs it"
            complaints.append(Complaint(reason, row.line, quantity))
            return None
    return HoleDraft(label, **values)


def pattern_text(revision: HolePatternRevision) -> str:
    """The holes of a revision as the table they can be read from again."""
    unit = revision.units
    heads = [f"{name}_{unit}" for name in LENGTHS]
    lines = [",".join(["hole", *heads])]
    for hole in revision.holes.all():
        values = [getattr(hole, NM_OF.get(name, f"{name}_nm")) for name in LENGTHS]
        cells = ["" if nm is None else format_length(nm, unit) for nm in values]
        lines.append(",".join([hole.label, *cells]))
    return "\n".join(lines)


def worded(bad: FileComplaints) -> list[str]:
    """Complaints for a form: "line 3, x_mm: ..."."""
    texts = []
    for complaint in bad.complaints[:20]:
        line = f"line {complaint.line}" if complaint.line else ""
        place = ", ".join(word for word in (line, complaint.column) if word)
        texts.append(f"{place}: {complaint.text}" if place else str(complaint.text))
    return texts


class _Table(forms.Form):
    """A table that is uploaded or typed: the file goes before the text."""

    table = forms.CharField(
        label=_("The table"),
        required=False,
        max_length=200_000,
        widget=forms.Textarea(attrs={"rows": 10, "class": "code"}),
    )
    upload = forms.FileField(label=_("or a file"), required=False)

    def table_bytes(self) -> bytes:
        file = self.cleaned_data.get("upload")
        if file:
            if file.size > LARGEST:
                raise FileComplaints([Complaint("the file is too large")])
            return file.read()
        return (self.cleaned_data.get("table") or "").encode()


class PatternForm(_Table):
    """A pattern and what it requires; `revision` makes it the form of a revision.

    A drawing says where holes are and how large, not how exactly: that is asked for,
    and all of it is put into the table, to be looked at before it is saved.
    """

    number = forms.CharField(label=_("Pattern number"), max_length=40)
    name = forms.CharField(label=_("Name"), max_length=120)
    joint = RowChoiceField(Joint.objects.all(), label=_("On the joint"), required=False)
    design = RowChoiceField(
        PartDesign.objects.all(), label=_("Drilled in"), required=False
    )
    mate = RowChoiceField(PartDesign.objects.all(), label=_("and in"), required=False)
    spacing_rule = forms.ChoiceField(
        label=_("Rule for edge distance and pitch"),
        required=False,
        choices=[("", _("none"))]
        + [(rule.key, f"{rule.name} ({rule.source})") for rule in SPACING_RULES],
        help_text=_("Sources differ, and the drawing governs."),
    )
    source = forms.CharField(
        label=_("Source of the requirement"), required=False, max_length=200
    )
    units = forms.ChoiceField(label=_("Shown in"), choices=Unit.choices)
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    layer = forms.CharField(
        label=_("Layer of a drawing"), required=False, max_length=120,
        help_text=_("Where circles or points are drawn on more than one."),
    )  # fmt: skip
    zone = LengthField(
        label=_("Position zone of the holes of a drawing"), required=False
    )
    larger = LengthField(label=_("A hole may be larger than drawn by"), required=False)

    field_order = (
        *("number", "name", "joint", "design", "mate"),
        *("spacing_rule", "source", "units", "note", "table", "upload"),
        *("layer", "zone", "larger"),
    )

    def __init__(self, *arguments, revision=None, **named):
        super().__init__(*arguments, **named)
        self.fields["table"].help_text = _(
            "One hole a line under a line of names: hole, x_mm, y_mm, zone_mm and, "
            "where known, mmc_mm, hole_max_mm (smallest and largest hole), "
            "fastener_mm and edge_mm (distance to the edge)."
        )
        self.fields["upload"].help_text = _(
            "A table (CSV), or a drawing (DXF): circles are holes, points holes of no "
            "stated size, a text that begins in the middle is a name."
        )
        if revision:
            for name in ("number", "name", "joint", "design", "mate"):
                del self.fields[name]
            self.initial = {
                "spacing_rule": revision.spacing_rule,
                "source": revision.source,
                "units": revision.units,
                "table": pattern_text(revision),
            }

    def clean(self):
        data = super().clean()
        upload = data.get("upload")
        try:
            if upload and looks_like_dxf(upload.name):
                self._take_drawing(upload)
            else:
                self.holes = read_pattern(self.table_bytes())
        except FileComplaints as bad:
            field = "upload" if upload else "table"
            for text in worded(bad):
                self.add_error(field, text)
        return data

    def _take_drawing(self, upload) -> None:
        """Put its holes into the table. Nothing is saved by that: somebody looks."""
        data = self.cleaned_data
        unit = data.get("units") or Unit.MM
        drawn = hole_drawing.read(
            self.table_bytes(), layer=data.get("layer", "").strip(), unit=unit
        )
        zone, larger = (self._length(name, unit) for name in ("zone", "larger"))
        sized = any(hole.diameter_mm for hole in drawn.holes)
        if zone is None and "zone" not in self.errors:
            self.add_error("zone", _("A drawing does not say it: how far off is good?"))
        if sized and larger is None and "larger" not in self.errors:
            words = _("The drawing has circles: say how large such a hole may be.")
            self.add_error("larger", words)
        if self.errors:
            return
        words = {"file": upload.name, "count": len(drawn.holes), "layer": drawn.layer}
        words["unit"] = drawn.unit or unit
        self.data = self.data.copy()
        self.data["table"] = hole_drawing.table_of(drawn.holes, zone, larger or 0)
        read = _(
            "%(file)s was read: %(count)s holes on layer %(layer)s, in %(unit)s. They "
            "are in the table now, nothing is saved yet: look at it, then save."
        )
        self.add_error("table", read % words)

    def _length(self, name: str, unit: str) -> int | None:
        text = self.cleaned_data.get(name)
        if not text:
            return None
        try:
            nm = parse_typed(text, unit)
        except LengthError as error:
            self.add_error(name, f"{error}.")
            return None
        if nm < 0:
            self.add_error(name, _("It is at least 0."))
        return nm

    @property
    def says(self) -> PatternHead:
        data = self.cleaned_data
        names = ("note", "source", "spacing_rule", "units")
        return PatternHead(**{name: data[name] for name in names})


class HoleCheckForm(_Table):
    """Which serial, with what; holes typed one by one, or a file for plan_holes."""

    part = SerialField(label=_("Part serial"), max_length=60)
    instrument = InstrumentField(
        label=_("Instrument"),
        required=False,
        empty_label=_("none stated"),
    )
    unit = forms.ChoiceField(
        label=_("Lengths are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    COLUMNS = (
        ("x", _("Measured x")),
        ("y", _("Measured y")),
        ("size", _("Diameter")),
        ("edge", _("To the edge")),
    )
    field_order = ("part", "instrument", "unit", "note", "upload")

    def __init__(self, *arguments, holes, **named):
        super().__init__(*arguments, **named)
        del self.fields["table"]
        self.fields["upload"].label = _("A CSV file of what was measured")
        self.holes = holes
        for row, hole in enumerate(holes):
            for name, label in self.COLUMNS:
                words = {"column": label, "hole": hole.label}
                self.fields[f"{name}_{row}"] = LengthField(
                    label=_("%(column)s of hole %(hole)s") % words, required=False
                )

    @property
    def heads(self):
        return [label for _name, label in self.COLUMNS]

    @property
    def lines(self) -> list:
        """(hole, its fields) for the table."""
        return [
            (hole, [self[f"{name}_{row}"] for name, _label in self.COLUMNS])
            for row, hole in enumerate(self.holes)
        ]

    @property
    def plain(self) -> list:
        names = ("part", "instrument", "unit", "note", "upload")
        return [self[name] for name in names]

    def clean(self):
        data = super().clean()
        try:
            if data.get("upload"):
                self.measured = self._from_file()
            else:
                self.measured = self._typed()
        except FileComplaints as bad:
            for text in worded(bad):
                self.add_error("upload", text)
        return data

    def _typed(self) -> list[MeasuredHole]:
        data, unit = self.cleaned_data, self.cleaned_data.get("unit") or Unit.MM
        holes = []
        for row, hole in enumerate(self.holes):
            texts = {name: data.get(f"{name}_{row}", "") for name, _l in self.COLUMNS}
            if not any(texts.values()):
                continue
            for name, text in texts.items():
                try:
                    if text:
                        texts[name] = decimal_text(text, unit)
                    elif name in ("x", "y"):
                        self.add_error(f"{name}_{row}", _("The place needs x and y."))
                except LengthError as error:
                    self.add_error(f"{name}_{row}", f"{error}.")
            holes.append(MeasuredHole(hole.label, **texts, unit=unit))
        return holes

    def _from_file(self) -> list[MeasuredHole]:
        """Measured holes of a file; its nominal places must be the pattern's."""
        file = holes_file.parse(self.table_bytes())
        known = {nominal.label: nominal for nominal in self.holes}
        complaints, measured = [], []
        for hole, line in zip(file.holes, file.lines, strict=True):
            nominal = known.get(hole.label)
            if nominal is None:
                text = f"hole {hole.label} is not in this pattern"
                complaints.append(Complaint(text, line, "hole"))
                continue
            there = tuple(to_nm(v) for v in (*hole.nominal, hole.zone_mm))
            if there != (nominal.x_nm, nominal.y_nm, nominal.zone_nm):
                text = f"hole {hole.label}: nominal place or zone is not the pattern's"
                complaints.append(Complaint(text, line, "x"))
            measured.append(_measured(hole))
        if complaints:
            raise FileComplaints(complaints)
        return measured


def _layers(text: str) -> list[str]:
    """Lengths with + or a space between; a fraction may have a space of its own."""
    if "/" not in text:
        return text.replace("+", " ").split()
    return [part for part in text.split("+") if part.strip()]


def decimal_text(text: str, unit: str) -> str:
    """What was typed, once it can be read; a fraction of an inch as exact mm where all
    the others are mm. Raises LengthError."""
    nm = parse_typed(text, unit)
    if "/" not in text:
        return text
    return format_length(nm, "mm") if unit == "mm" else text.removesuffix("in").strip()


def _measured(hole) -> MeasuredHole:
    """A hole of a file, in exact mm."""

    def text(mm):
        return "" if mm is None else format_length(to_nm(mm), "mm")

    start = MeasuredHole(hole.label, text(hole.measured[0]), text(hole.measured[1]))
    return replace(start, size=text(hole.hole_mm), edge=text(hole.edge_mm))


class StackForm(forms.Form):
    """Layers that a temporary fastener has to hold together; kept nowhere."""

    unit = forms.ChoiceField(
        choices=Unit.choices, widget=forms.HiddenInput, required=False
    )
    stack = forms.CharField(
        label=_("Layers of the stack, with + between"), required=False, max_length=120
    )
    grip = LengthField(
        label=_("Greatest grip of the temporary fastener"), required=False
    )

    def clean(self):
        data = self.cleaned_data
        unit = data.get("unit") or Unit.MM
        for name in ("stack", "grip"):
            text = data.get(name) or ""
            try:
                data[name] = [to_mm(parse_typed(part, unit)) for part in _layers(text)]
            except LengthError as error:
                self.add_error(name, f"{error}.")
        return data
