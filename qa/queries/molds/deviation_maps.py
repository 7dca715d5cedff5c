"""Deviations of a mold as a map, as bars with their bounds, and as rows of texts."""

from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from qa.drawing import bounds_chart, tool_map
from qa.drawing.bounds_chart import Bar, BoundsSheet
from qa.drawing.tool_map import ToolMap
from qa.models import Kind
from qa.numeric.tool.estimate import Advice, ToolValue
from qa.queries.joints.drawings import map_of
from qa.rules.history import Seam
from qa.wording import advice, lengths, tools
from shop.numeric.units import MM_PER_IN, to_mm, to_nm


@dataclass(frozen=True)
class Cell:
    """One characteristic of a station, as texts without unit; "" where none."""

    tool: str
    bounds: str
    advice: str
    code: str
    after: str = ""
    of_plug: bool = False

    @property
    def does(self) -> bool:
        return self.code not in (Advice.LEAVE, Advice.CANNOT_TELL)

    @property
    def whose(self) -> str:
        """That it is the plug's, where something is to be done and it is."""
        return advice.OF_PLUG if self.of_plug and self.does else ""

    @property
    def text(self) -> str:
        """ "cut line in 1.30, of the plug"."""
        return ", ".join(filter(None, (self.advice, self.whose)))


@dataclass(frozen=True)
class StationRow:
    label: str
    gap: Cell
    flush: Cell


def station_rows(labels, values, unit: str, of_plug=()) -> list[StationRow]:
    """A row for each station, from values by kind; of_plug: labels and kinds."""
    return [
        StationRow(
            label,
            _cell(gap, unit, (label, Kind.GAP) in of_plug),
            _cell(flush, unit, (label, Kind.FLUSH) in of_plug),
        )
        for label, gap, flush in zip(
            labels, values[Kind.GAP], values[Kind.FLUSH], strict=True
        )
    ]


def _cell(value: ToolValue, unit: str, of_plug: bool) -> Cell:
    bounds = ""
    if value.low_mm is not None:
        bounds = _("%(low)s to %(high)s") % {
            "low": signed(value.low_mm, unit),
            "high": signed(value.high_mm, unit),
        }
    return Cell(
        tool=signed(value.tool_mm, unit),
        bounds=bounds,
        advice=tools.advice_text(value, unit),
        code=str(value.advice),
        after=signed(value.after_mm, unit),
        of_plug=of_plug,
    )


def signed(mm: float | None, unit: str) -> str:
    """A deviation from target, with its sign; "" where there is none."""
    if mm is None:
        return ""
    text = lengths.number(to_nm(mm), unit)
    if not text.strip("0.\N{MINUS SIGN}"):
        return text.lstrip("\N{MINUS SIGN}")
    return text if mm < 0 else f"+{text}"


def map_scene(seam: Seam, values, unit: str, title: str):
    """The map of what is to be done."""
    drawn = map_of(seam.revision, seam.stations, unit=unit, bare=True, title=title)
    marked, out = [], []
    rows = zip(drawn.stations, values[Kind.GAP], values[Kind.FLUSH], strict=True)
    for station, gap, flush in rows:
        moved = gap.correction_mm or 0.0
        unknown = Advice.CANNOT_TELL in (gap.advice, flush.advice)
        shown = {
            "gap_text": _short(gap, unit),
            "flush_text": _short(flush, unit),
            "gap_state": "not_measured" if unknown else "",
        }
        marked.append(replace(station, **shown))
        # A gap that is too wide is closed by a part that is larger: out of the part.
        out.append(-moved if gap.advice in (Advice.OUT, Advice.IN) else 0.0)
    joint = replace(drawn, stations=tuple(marked), limits_text="")
    does = [f"station {s.label}: {', '.join(filter(None, (s.gap_text, s.flush_text)))}"
            for s in marked if s.gap_text or s.flush_text]  # fmt: skip
    words = "; ".join(does) or "nothing to correct"
    return tool_map.build(ToolMap(joint, tuple(out), f"Map of {title}: {words}"))


def _short(value: ToolValue, unit: str) -> str:
    """ "in 1.30", "" where it is left or not known."""
    if value.advice in (Advice.LEAVE, Advice.CANNOT_TELL):
        return ""
    size = lengths.on_map(to_nm(abs(value.correction_mm)), unit)
    return f"{value.advice} {size}"


def bars_scene(labels, values, unit: str, title: str, worth_nm: int):
    """Values and bounds as bars."""
    per = 1.0 if unit == "mm" else MM_PER_IN

    def bar(label: str, value: ToolValue) -> Bar:
        numbers = (value.tool_mm, value.low_mm, value.high_mm)
        scaled = (None if number is None else number / per for number in numbers)
        does = value.advice not in (Advice.LEAVE, Advice.CANNOT_TELL)
        return Bar(label, *scaled, does)

    panels = tuple(
        (name, tuple(map(bar, labels, values[kind])))
        for kind, name in (
            (Kind.GAP, "gap from target"),
            (Kind.FLUSH, "flushness from target"),
        )
    )
    name = (
        f"Deviations of {title} with bounds, station by station; numbers in the table"
    )
    return bounds_chart.build(BoundsSheet(name, unit, to_mm(worth_nm) / per, panels))
