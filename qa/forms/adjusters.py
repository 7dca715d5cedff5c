"""How a part is held, as a form in words: directions, places, and what can be set."""

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from qa.actions.adjusters import (
    AdjusterDraft,
    DirectionDraft,
    HoldingDraft,
    PointDraft,
)
from qa.forms.instruments import FRACTIONS, LengthField
from qa.models import AttachKind, Holding, StepKind
from qa.rules.adjusters import Typical
from shop.forms.numbers import NumberField
from shop.models import Unit
from shop.numeric.units import E9, LengthError, format_length, parse_typed, to_nm

DIRECTIONS = 4
SPARE = 2
MOST_POINTS, MOST_ADJUSTERS = 24, 36
TURN = 250  # a quarter of a turn


def _text(label, most=40, **named) -> forms.CharField:
    return forms.CharField(label=label, required=False, max_length=most, **named)


class HoldingForm(forms.Form):
    """Rows of directions, places and adjusters; an empty row says nothing."""

    use_required_attribute = False
    unit = forms.ChoiceField(
        label=_("Lengths below are in"), choices=Unit.choices, help_text=FRACTIONS
    )
    note = _text(_("What this statement changes"), 200)

    def __init__(self, *arguments, points: int = 0, adjusters: int = 0, **named):
        super().__init__(*arguments, **named)
        self.counts = {"points": points, "adjusters": adjusters}
        for name, most in (("points", MOST_POINTS), ("adjusters", MOST_ADJUSTERS)):
            field = f"{name}_count"
            self.fields[field] = forms.IntegerField(
                min_value=1,
                max_value=most,
                required=False,
                widget=forms.HiddenInput,
                initial=self.counts[name],
            )
            sent = self.data.get(field, "") if self.is_bound else ""
            if sent.isascii() and sent.isdecimal() and len(sent) < 4:
                self.counts[name] = min(max(int(sent), 1), most)
        for row in range(DIRECTIONS):
            self._direction(row)
        for row in range(self.counts["points"]):
            self._point(row)
        for row in range(self.counts["adjusters"]):
            self._adjuster(row)

    def _direction(self, row: int) -> None:
        at = {"number": row + 1}
        self.fields[f"plus_{row}"] = _text(_now("Direction %(number)s: word") % at, 20)
        self.fields[f"minus_{row}"] = _text(
            _now("Direction %(number)s: its opposite") % at, 20
        )
        for axis in "xyz":
            self.fields[f"{axis}_{row}"] = NumberField(
                to=float,
                label=_now("Direction %(number)s: %(axis)s") % {**at, "axis": axis},
                required=False,
                min_value=-1e6,
                max_value=1e6,
            )

    def _point(self, row: int) -> None:
        at = {"number": row + 1}
        self.fields[f"name_{row}"] = _text(_now("Place %(number)s: name") % at)
        self.fields[f"kind_{row}"] = forms.ChoiceField(
            label=_now("Place %(number)s: kind") % at,
            choices=AttachKind.choices,
            required=False,
        )
        for axis in ("at_x", "at_y", "at_z"):
            own = _now("Place %(number)s: %(axis)s") % {**at, "axis": axis[-1]}
            self.fields[f"{axis}_{row}"] = LengthField(label=own, required=False)

    def _adjuster(self, row: int) -> None:
        def label(words) -> str:  # the list of what is wrong has no table around it
            numbered = {"number": row + 1, "words": words}
            return _now("Setting %(number)s: %(words)s") % numbered

        self.fields[f"of_{row}"] = _text(label(_now("place")))
        self.fields[f"word_{row}"] = _text(label(_now("goes")), 20)
        for name, words in (
            ("far", _now("at most")),
            ("back", _now("and back at most")),
            ("step", _now("in steps of")),
            ("set_u", _now("is set within")),
        ):
            own = label(words)
            self.fields[f"{name}_{row}"] = LengthField(label=own, required=False)
        self.fields[f"by_{row}"] = forms.ChoiceField(
            label=label(_now("a step is")), choices=StepKind.choices, required=False
        )

    # -- rows for the template

    def _rows(self, names, count) -> list:
        return [[self[f"{name}_{row}"] for name in names] for row in range(count)]

    @property
    def direction_rows(self) -> list:
        return self._rows(("plus", "minus", "x", "y", "z"), DIRECTIONS)

    @property
    def point_rows(self) -> list:
        names = ("name", "kind", "at_x", "at_y", "at_z")
        return self._rows(names, self.counts["points"])

    @property
    def adjuster_rows(self) -> list:
        names = ("of", "word", "far", "back", "step", "by", "set_u")
        return self._rows(names, self.counts["adjusters"])

    # -- reading

    def clean(self):
        directions = self._read_directions()
        points = self._read_points()
        adjusters = self._read_adjusters(directions, {point.name for point in points})
        if not points and not self.errors:
            self.add_error("name_0", _("Name at least one place that holds the part."))
        if not self.errors:
            self.cleaned_data = {
                "draft": HoldingDraft(
                    tuple(directions),
                    tuple(points),
                    tuple(adjusters),
                    self.cleaned_data.get("note") or "",
                )
            }
        return self.cleaned_data

    def _said(self, name: str, row: int):
        value = self.cleaned_data.get(f"{name}_{row}")
        return value.strip() if isinstance(value, str) else value

    def _read_directions(self) -> list[DirectionDraft]:
        rows, words = [], set()
        for row in range(DIRECTIONS):
            plus, minus = self._said("plus", row), self._said("minus", row)
            vector = tuple(self._said(axis, row) or 0.0 for axis in "xyz")
            if not plus and not minus:
                continue
            for name, word in (("plus", plus), ("minus", minus)):
                if not word:
                    self.add_error(f"{name}_{row}", _("A direction needs two words."))
                elif word.casefold() in words:
                    self.add_error(f"{name}_{row}", _("This word is there twice."))
                words.add((word or "").casefold())
            if not any(vector):
                self.add_error(f"x_{row}", _("Say where it points: x, y, z."))
            rows.append(DirectionDraft(plus or "", minus or "", vector))
        return rows

    def _read_points(self) -> list[PointDraft]:
        rows, names = [], set()
        for row in range(self.counts["points"]):
            name = self._said("name", row)
            if not name:
                if self._said("at_x", row) or self._said("at_y", row):
                    self.add_error(f"name_{row}", _("Name this place."))
                continue
            if name in names:
                self.add_error(f"name_{row}", _("This name is there twice."))
            names.add(name)
            place = [self._length(axis, row) for axis in ("at_x", "at_y", "at_z")]
            for axis, nm in zip(("at_x", "at_y"), place, strict=False):
                if nm is None and f"{axis}_{row}" not in self.errors:
                    self.add_error(f"{axis}_{row}", _("This is missing."))
            x, y, z = (nm or 0 for nm in place)
            kind = self._said("kind", row) or AttachKind.HINGE
            rows.append(PointDraft(name, kind, (x, y, z)))
        return rows

    def _read_adjusters(self, directions, places: set[str]) -> list[AdjusterDraft]:
        rows = []
        for row in range(self.counts["adjusters"]):
            point, word = self._said("of", row), self._said("word", row)
            if not point and not word:
                continue
            if point not in places:
                self.add_error(f"of_{row}", _("No place above has this name."))
            number, along = _direction_of(word or "", directions)
            if number is None:
                self.add_error(f"word_{row}", _("No direction above has this word."))
                continue
            far, back = self._length("far", row), self._length("back", row)
            step, u = self._length("step", row), self._length("set_u", row)
            for name, nm in (("far", far), ("step", step)):
                if nm is None and f"{name}_{row}" not in self.errors:
                    self.add_error(f"{name}_{row}", _("This is missing."))
            for name, nm in (("far", far), ("back", back), ("set_u", u)):
                if nm is not None and nm < 0:
                    self.add_error(f"{name}_{row}", _("This cannot be less than 0."))
            if step is not None and step <= 0:
                self.add_error(f"step_{row}", _("This must be more than 0."))
            far, back = far or 0, back or 0
            by = self._said("by", row) or StepKind.LENGTH
            rows.append(
                AdjusterDraft(
                    point=point or "",
                    direction=number,
                    min_nm=-back if along else -far,
                    max_nm=far if along else back,
                    step_nm=step or 0,
                    step_kind=by,
                    turn_e3=TURN if by == StepKind.TURN else None,
                    set_u_nm=u or 0,
                )
            )
        return rows

    def _length(self, name: str, row: int) -> int | None:
        text = self._said(name, row)
        if not text:
            return None
        try:
            return parse_typed(text, self.cleaned_data.get("unit") or Unit.MM)
        except LengthError as error:
            self.add_error(f"{name}_{row}", f"{error}.")
            return None


def _direction_of(word: str, directions) -> tuple[int | None, bool]:
    """Which direction a word is of, and whether along it."""
    for number, direction in enumerate(directions):
        if word.casefold() == direction.plus.casefold():
            return number, True
        if word.casefold() == direction.minus.casefold():
            return number, False
    return None, True


# -- what the form starts with


def start_of(holding: Holding, unit: str, set_u_nm: dict | None = None):
    """Initial values and counts of rows from what was stated last; set_u_nm: another
    setting uncertainty by the name of its adjuster."""
    other = set_u_nm or {}
    start: dict = {"unit": unit}
    for row, direction in enumerate(holding.directions.all()):
        start |= {f"plus_{row}": direction.plus, f"minus_{row}": direction.minus}
        start |= {
            f"{a}_{row}": f"{getattr(direction, f'{a}_e9') / E9:.9g}" for a in "xyz"
        }
    points = list(holding.points.prefetch_related("adjusters__direction"))
    number = 0
    for row, place in enumerate(points):
        start |= {f"name_{row}": place.name, f"kind_{row}": place.kind}
        for axis in "xyz":
            nm = getattr(place, f"{axis}_nm")
            start[f"at_{axis}_{row}"] = format_length(nm, unit)
        for adjuster in place.adjusters.all():
            start |= {
                f"of_{number}": place.name,
                f"word_{number}": adjuster.direction.plus,
                f"far_{number}": format_length(adjuster.max_nm, unit),
                f"back_{number}": format_length(-adjuster.min_nm, unit),
                f"step_{number}": format_length(adjuster.step_nm, unit),
                f"by_{number}": adjuster.step_kind,
                f"set_u_{number}": format_length(
                    other.get(adjuster.name, adjuster.set_u_nm), unit
                ),
            }
            number += 1
    return start, _counts(len(points), number)


def usual_words(flow: tuple[float, float] | None) -> dict:
    """Aft where the air flows to; else right, of a joint that sees no flow."""
    x, y = flow or (1.0, 0.0)
    first = ("aft", "fore") if flow else ("right", "left")
    rows = [(*first, x, y, 0), ("up", "down", 0, 1, 0), ("out", "in", 0, 0, 1)]
    start: dict = {}
    for row, (plus, minus, *vector) in enumerate(rows):
        start |= {f"plus_{row}": plus, f"minus_{row}": minus}
        axes = zip("xyz", vector, strict=True)
        start |= {f"{axis}_{row}": f"{value:g}" for axis, value in axes}
    return start


def start_typical(typical: Typical | None, words: dict, unit: str) -> tuple[dict, dict]:
    """The same from how such a part is usually held; None: only the directions."""
    start = {"unit": unit, **words}
    points = typical.points if typical else ()
    rows = typical.adjusters if typical else ()

    def text(mm: float) -> str:
        return format_length(to_nm(mm), unit, 2 if unit == "mm" else 4)

    for row, point in enumerate(points):
        start |= {f"name_{row}": point.name, f"kind_{row}": point.kind}
        start |= {
            f"at_{axis}_{row}": text(mm)
            for axis, mm in zip("xyz", point.place_mm, strict=True)
        }
    own_word = {"aft": words.get("plus_0", "aft")}
    for row, adjuster in enumerate(rows):
        start |= {
            f"of_{row}": adjuster.point,
            f"word_{row}": own_word.get(adjuster.word, adjuster.word),
            f"far_{row}": text(adjuster.far_mm),
            f"back_{row}": text(adjuster.back_mm),
            f"step_{row}": text(adjuster.step_mm),
            f"by_{row}": adjuster.step_kind,
        }
    return start, _counts(len(points), len(rows))


def _counts(points: int, adjusters: int) -> dict:
    return {
        "points": min(points + SPARE, MOST_POINTS),
        "adjusters": min(adjusters + SPARE, MOST_ADJUSTERS),
    }
