"""Stations laid out along a plain shape: what is typed becomes the text of a file."""

import re

import numpy as np
from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from qa.files.joint_text import MOST_STATIONS, decimal9, write
from qa.forms.instruments import FRACTIONS, LengthField, nm_of_texts
from qa.numeric.geometry import layout
from shop.forms.fields import needed
from shop.models import Unit
from shop.numeric.units import (
    E9,
    NM_PER_MM,
    LengthError,
    format_length,
    parse_length,
    to_mm,
    to_nm,
)

SHAPES = [
    ("rectangle", _("rounded rectangle")),
    ("ellipse", _("ellipse")),
    ("corners", _("corner points")),
]
SPACINGS = [
    ("even", _("evenly")),
    ("sides", _("by side")),
    ("tape", _("by tape")),
]
# What each way to spread them asks for.
SPREAD = {"even": ("count",), "sides": ("per_side",), "tape": ("tape",)}
# Where station 1 is: the one nearest to this place of the box around the seam.
STARTS = {
    "": (_("the usual place"), None),
    "bottom": (_("bottom, middle"), (0, -1)),
    "bottom_right": (_("bottom right"), (1, -1)),
    "right": (_("right, middle"), (1, 0)),
    "top_right": (_("top right"), (1, 1)),
    "top": (_("top, middle"), (0, 1)),
    "top_left": (_("top left"), (-1, 1)),
    "left": (_("left, middle"), (-1, 0)),
    "bottom_left": (_("bottom left"), (-1, -1)),
}
WAYS = [("ccw", _("counter-clockwise")), ("cw", _("clockwise"))]
LIMITS = ("gap_min", "gap_max", "flush_min", "flush_max")
# Decimals that the laid out places are written with: a micrometer or finer.
PLACES = {"mm": 3, "in": 5}


def whole_numbers(text: str) -> list[int]:
    """Counts separated by commas or spaces; ValueError for anything else."""
    return [int(word) for word in re.split(r"[\s,;]+", text.strip()) if word]


class LayoutForm(forms.Form):
    """A shape, how stations are spread over it, and limits for all of them."""

    use_required_attribute = False

    shape = forms.ChoiceField(label=_("Shape"), choices=SHAPES, initial="rectangle")
    unit = forms.ChoiceField(
        label=_("Lengths are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    width = LengthField(label=_("Width"), required=False)
    height = LengthField(label=_("Height"), required=False)
    radius = LengthField(label=_("Corner radius"), required=False)
    corners = forms.CharField(
        label=_("Corner points"),
        required=False,
        max_length=400_000,  # a seam out of a drawing is one of thousands
        widget=forms.Textarea(attrs={"rows": 5, "spellcheck": "false"}),
        help_text=_("One a line: x, y. In the order of the seam, seen from outside."),
    )
    spacing = forms.ChoiceField(label=_("Spread"), choices=SPACINGS, initial="even")
    count = forms.IntegerField(
        label=_("Stations in all"),
        required=False,
        min_value=3,
        max_value=MOST_STATIONS,
        initial=24,
    )
    per_side = forms.CharField(
        label=_("Stations per side"),
        required=False,
        max_length=400,
        help_text=_("One count per side. A rectangle: bottom, right, top, left."),
    )
    tape = forms.CharField(
        label=_("Distances by tape"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
        help_text=_(
            "One side a line: how far each station is along the edge from the side's "
            "first corner; - for a side without. A rectangle: bottom, right, top, "
            "left, counter-clockwise; a rounded corner is measured from its middle."
        ),
    )
    per_corner = forms.IntegerField(
        label=_("Stations per rounded corner"),
        required=False,
        min_value=0,
        max_value=50,
    )
    start = forms.ChoiceField(
        label=_("Station 1 is nearest to"),
        required=False,
        choices=[(key, words) for key, (words, _at) in STARTS.items()],
    )
    way = forms.ChoiceField(label=_("Numbered"), choices=WAYS, initial="ccw")
    gap_min = LengthField(label=_("Least gap"), required=False)
    gap_max = LengthField(label=_("Greatest gap"), required=False)
    flush_min = LengthField(label=_("Lowest flushness"), required=False)
    flush_max = LengthField(label=_("Proudest flushness"), required=False)

    NEEDED = (
        (("width", "height"), _("(needed for a rectangle and an ellipse)")),
        (("radius",), _("(needed for a rectangle)")),
        (("corners",), _("(needed for corner points)")),
        (("count",), _("(needed to spread them evenly)")),
        (("per_side",), _("(needed to spread them by side)")),
        (("tape",), _("(needed to lay them by tape)")),
    )

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        for names, words in self.NEEDED:
            for name in names:
                needed(self.fields[name], words)

    def clean(self):
        cleaned = self.cleaned_data
        if cleaned.get("shape") == "corners":
            cleaned |= {"width": "", "height": "", "radius": ""}
        elif cleaned.get("shape") == "ellipse":
            cleaned["radius"] = ""
        typed = {name: cleaned.get(name) for name in LIMITS}
        nm_of_texts(self, "width", "height", positive=True)
        nm_of_texts(self, "radius", *LIMITS)
        cleaned["limits"] = {
            name: _cell(typed[name], cleaned[name], cleaned["unit"])
            for name in LIMITS
            if cleaned.get(name) is not None and "unit" in cleaned
        }
        for low, high in (LIMITS[:2], LIMITS[2:]):
            least, most = cleaned.get(low), cleaned.get(high)
            if least is not None and most is not None and least > most:
                self.add_error(high, _("This is below the other limit."))
        self._need(cleaned)
        return cleaned

    def _need(self, cleaned) -> None:
        """Ask for what the chosen shape and spread cannot do without."""
        shape, spacing = cleaned.get("shape"), cleaned.get("spacing")
        needed = {
            "rectangle": ("width", "height", "radius"),
            "ellipse": ("width", "height"),
            "corners": ("corners",),
        }.get(shape, ())
        needed += SPREAD.get(spacing, ())
        for name in needed:
            if cleaned.get(name) in (None, "") and name not in self.errors:
                self.add_error(name, _("This is needed for the shape."))
        if shape == "ellipse" and spacing in ("sides", "tape"):
            self.add_error("spacing", _("An ellipse has no sides."))
        if cleaned.get("tape") and spacing == "tape" and "unit" in cleaned:
            cleaned["tape"] = self._tape(cleaned["tape"], cleaned["unit"])
        if cleaned.get("corners") and shape == "corners" and "unit" in cleaned:
            cleaned["corners"] = self._corners(cleaned["corners"], cleaned["unit"])
        if cleaned.get("per_side") and spacing == "sides":
            try:
                cleaned["per_side"] = whole_numbers(cleaned["per_side"])
            except ValueError:
                self.add_error("per_side", _("These must be whole numbers: 4, 3, 4."))
            else:
                if sum(cleaned["per_side"]) > MOST_STATIONS:
                    self.add_error("per_side", _("Those are too many stations."))

    def _tape(self, text: str, unit: str) -> list[list[float]]:
        sides = []
        for number, line in enumerate(text.strip().splitlines(), start=1):
            words = [word for word in re.split(r"[\s,;]+", line.strip()) if word]
            try:
                bare = [] if words == ["-"] else words
                sides.append([to_mm(parse_length(word, unit)) for word in bare])
            except LengthError as why:
                message = _now("line %(number)s: %(why)s")
                self.add_error("tape", message % {"number": number, "why": why})
        if sum(map(len, sides)) > MOST_STATIONS:
            self.add_error("tape", _("Those are too many stations."))
        return sides

    def _corners(self, text: str, unit: str) -> list[tuple[float, float]]:
        points = []
        for number, line in enumerate(text.splitlines(), start=1):
            words = [word for word in re.split(r"[\s,;]+", line.strip()) if word]
            if not words:
                continue
            try:
                x, y = (to_mm(parse_length(word, unit)) for word in words)
            except LengthError as why:
                self.add_error("corners", f"line {number}: {why}")
            except ValueError:
                message = _now("line %(number)s: two numbers are needed, x and y")
                self.add_error("corners", message % {"number": number})
            else:
                points.append((x, y))
        return points

    def text(self, *, closed: bool, part_inside: bool) -> str | None:
        """The stations as the text of a file; None after complaining."""
        if not self.is_valid():
            return None
        cleaned = self.cleaned_data
        if not closed and cleaned["shape"] != "corners":
            self.add_error("shape", _("An open seam is laid along corner points."))
            return None
        try:
            laid = _laid(cleaned, closed, part_inside)
        except ValueError as why:
            self.add_error("shape", f"{why}.".capitalize())
            return None
        order = _order(laid.places, cleaned) if closed else range(len(laid.places))
        return write(
            [_row(laid, row, n, cleaned) for n, row in enumerate(order, start=1)]
        )


def _cell(text: str, nm: int, unit: str) -> tuple[str, str]:
    """A limit as it goes into the text of stations, where no fraction is read."""
    if "/" in text:
        return format_length(nm, "mm"), "mm"
    return text.strip().replace(",", "."), unit


def _laid(cleaned: dict, closed: bool, part_inside: bool) -> layout.Layout:
    even = cleaned["spacing"] == "even"
    spread = cleaned[SPREAD[cleaned["spacing"]][0]]
    if cleaned["shape"] == "corners":
        lay = {
            "even": layout.polyline,
            "sides": layout.polyline_by_side,
            "tape": layout.polyline_by_tape,
        }[cleaned["spacing"]]
        return lay(cleaned["corners"], spread, closed=closed, part_inside=part_inside)
    size = [to_mm(cleaned[name]) for name in ("width", "height")]
    if cleaned["shape"] == "ellipse":
        return layout.ellipse(*size, cleaned["count"], part_inside=part_inside)
    size.append(to_mm(cleaned["radius"]))
    if cleaned["spacing"] == "tape":
        lay = layout.rounded_rectangle_by_tape
        return lay(*size, spread, part_inside=part_inside)
    if even:
        return layout.rounded_rectangle(*size, spread, part_inside=part_inside)
    return layout.rounded_rectangle_by_side(
        *size,
        spread,
        per_corner=cleaned.get("per_corner") or 0,
        part_inside=part_inside,
    )


def _order(places: np.ndarray, cleaned: dict) -> list[int]:
    """Rows in the order of their numbers: from the start asked for, either way."""
    rows = list(range(len(places)))
    if cleaned["way"] == "cw":
        rows.reverse()
    at = STARTS[cleaned["start"]][1]
    if at is None:
        return rows[-1:] + rows[:-1] if cleaned["way"] == "cw" else rows
    low, high = places[:, :2].min(axis=0), places[:, :2].max(axis=0)
    target = (low + high) / 2 + np.array(at) * (high - low) / 2
    away = np.round(np.hypot(*(places[:, :2] - target).T), 6)
    first = min(rows, key=lambda row: (away[row], row))
    turn = rows.index(first)
    return rows[turn:] + rows[:turn]


def _row(laid: layout.Layout, row: int, number: int, cleaned: dict) -> dict:
    unit = cleaned["unit"]
    cells = {"station": str(number), **cleaned["limits"]}
    for axis, value in zip("xy", laid.places[row], strict=False):
        nm = to_nm(float(value))
        cells[axis] = (format_length(nm, unit, PLACES[unit]), unit)
    for axis, value in zip("xy", laid.gap_directions[row], strict=False):
        cells[f"normal_{axis}"] = decimal9(to_nm(float(value)) * (E9 // NM_PER_MM))
    return cells
