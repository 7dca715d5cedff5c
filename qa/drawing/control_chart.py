"""A control chart as a scene, and as a table that says the same to a screen reader.

Places above, their spread below. A point where a rule spoke has the accent and the
number of the rule beside it; what the numbers mean stands under the chart.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from qa.drawing.panel import LEFT, TEXT, Panel, reach_of
from qa.drawing.scene import Disc, Scene, Shape, Text, box, line
from qa.numeric.measuring.charts import Chart, Line
from qa.wording import measuring

WIDTH, ABOVE, BELOW, GAP = 1000.0, 250.0, 130.0, 44.0
TOP = 34.0
ACROSS = 112  # letters in a line under the chart


@dataclass(frozen=True)
class Note:
    """What happened before a point (counted from 1): a new mold, a repair."""

    at: int
    words: str


@dataclass(frozen=True)
class Remark:
    """What somebody wrote on a point (counted from 1), with who and when."""

    at: int
    words: str


@dataclass(frozen=True)
class ChartSheet:
    """A chart that was told, with what surrounds it; `labels` one for each point."""

    title: str
    unit: str
    chart: Chart
    labels: tuple[str, ...]
    notes: tuple[Note, ...] = ()
    remarks: tuple[Remark, ...] = ()
    rules: str = "western_electric"
    digits: int = 3


def build(sheet: ChartSheet) -> Scene:
    """The scene of both panels."""
    chart, count = sheet.chart, len(sheet.labels)
    places = list(range(1, count + 1))
    above = _panel(chart.places, TOP, ABOVE, count)
    below = _panel(chart.spread, TOP + ABOVE + GAP, BELOW, count)
    shapes = _notes(sheet, above)
    spoke = _by_point(chart, spread=False)
    shapes += _drawn(sheet, chart.places, above, places, spoke)
    shapes += _remarks(sheet, above)
    spoke = _by_point(chart, spread=True)
    shapes += _drawn(sheet, chart.spread, below, chart.spread_at, spoke)
    shapes += below.labels(places, sheet.labels)
    y = below.bottom + 46
    for words in _legend(sheet):
        for k, part in enumerate(wrap(words, ACROSS) or [""]):
            shapes.append(Text(LEFT + (18 if k else 0), y, part, TEXT * 0.9))
            y += TEXT * 1.35
    title = f"Control chart of {sheet.title}: {_summary(sheet)}"
    return Scene(WIDTH, y, tuple(shapes), title)


def table(sheet: ChartSheet) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Headings and rows: point, value, limits, spread, and what spoke or happened."""
    chart = sheet.chart
    kind = chart.places.kind
    head = ("point", "value" if kind == "individuals" else kind, "lower", "upper")
    head += (chart.spread.kind.replace("_", " "), "signals and notes")
    letters = _letters(sheet)
    spread = dict(zip(chart.spread_at, chart.spread.points, strict=True))
    rows = []
    for k, label in enumerate(sheet.labels, 1):
        notes = [
            measuring.rule(signal.rule) for signal in chart.signals if signal.at == k
        ]
        notes += [f"before it: {note.words}" for note in sheet.notes if note.at == k]
        notes += [
            f"{sign}: {remark.words}" for sign, remark in letters if remark.at == k
        ]
        line = chart.places
        values = (line.points[k - 1], line.lower[k - 1], line.upper[k - 1])
        numbers = tuple(f"{value:z.{sheet.digits}f}" for value in values)
        width = f"{spread[k]:.{sheet.digits}f}" if k in spread else ""
        rows.append((label, *numbers, width, "; ".join(notes)))
    return head, rows


def _panel(line_: Line, top: float, height: float, count: int) -> Panel:
    low, high = reach_of([*line_.points, *line_.lower, *line_.upper])
    return Panel(top, height, WIDTH, 1, max(count, 2), low, high)


def _drawn(
    sheet: ChartSheet,
    line_: Line,
    panel: Panel,
    places: Sequence[int],
    spoke: dict[int, list[str]],
) -> list[Shape]:
    name = line_.kind.replace("_", " ")
    shapes = panel.frame(f"{name}, {sheet.unit}" if sheet.unit else name)
    for values, look, word in (
        (line_.lower, "limit", "lower"),
        (line_.upper, "limit", "upper"),
        (line_.center, "drawn-in", "center"),
    ):
        shapes.append(panel.level(places, values, look))
        if word != "lower" or values[-1] > 0 or name in ("individuals", "mean"):
            words = f"{word} {values[-1]:z.{sheet.digits}f}"
            shapes.append(panel.beside(values[-1], words))
    shapes.append(panel.trace(places, line_.points, "trace"))
    for place, value in zip(places, line_.points, strict=True):
        x, y = panel.x(place), panel.y(value)
        if place not in spoke:
            shapes.append(Disc(x, y, 3.2, "flow-head"))
            continue
        shapes.append(Disc(x, y, 6.5, "now"))
        higher = value >= line_.center[0]
        words = ",".join(spoke[place])
        at = y - 11 if higher else y + 11 + TEXT * 0.6
        shapes.append(Text(x, at, words, TEXT * 0.86, "n", "middle"))
    return shapes


def _notes(sheet: ChartSheet, panel: Panel) -> list[Shape]:
    """Lines before points, their words in as many rows as they need to stand clear."""
    shapes: list[Shape] = []
    used: list[float] = []  # how far each row is written
    size = TEXT * 0.86
    for note in sheet.notes:
        x, wide = panel.x(note.at - 0.5), len(note.words) * 0.58 * size
        shapes.append(line(x, panel.top, x, panel.bottom + GAP + BELOW, "bite-line"))
        inside = x + 5 + wide <= panel.right
        left = x + 5 if inside else x - 5 - wide
        row = next((k for k, end in enumerate(used) if end < left), len(used))
        used[row : row + 1] = [left + wide + 5]
        at, anchor = (left, "start") if inside else (x - 5, "end")
        y = panel.top + 15 + row * size * 1.2
        shapes.append(Text(at, y, note.words, size, "word", anchor))
    return shapes


def _letters(sheet: ChartSheet) -> list[tuple[str, Remark]]:
    """What is written, under the letters a to z, aa, ab in the order of the points."""
    letters = "abcdefghijklmnopqrstuvwxyz"
    ordered = sorted(sheet.remarks, key=lambda remark: remark.at)
    return [
        (("" if k < 26 else letters[k // 26 - 1]) + letters[k % 26], remark)
        for k, remark in enumerate(ordered[: 26 * 27])
    ]


def _remarks(sheet: ChartSheet, panel: Panel) -> list[Shape]:
    """The letters of what is written, boxed, at the foot of the panel."""
    signs: dict[int, list[str]] = {}
    for sign, remark in _letters(sheet):
        signs.setdefault(remark.at, []).append(sign)
    shapes: list[Shape] = []
    for at, own in signs.items():
        x, y, value = panel.x(at), panel.bottom - 8, sheet.chart.places.points[at - 1]
        words = own[0] if len(own) == 1 else f"{own[0]}–{own[-1]}"
        half, high = 4 + len(words) * TEXT * 0.26, TEXT * 1.1
        shapes.append(line(x, panel.y(value) + 7, x, y - high, "grid"))
        x = min(x, panel.right - half - 3)
        shapes.append(box(x - half, y - high, 2 * half, high + 3, "flag"))
        shapes.append(Text(x, y - 2, words, TEXT * 0.86, "n", "middle"))
    return shapes


def _by_point(chart: Chart, *, spread: bool) -> dict[int, list[str]]:
    """Numbers of the rules that spoke, by point."""
    numbers: dict[int, list[str]] = {}
    for signal in chart.signals:
        if signal.rule.endswith("_spread") == spread:
            number = signal.rule.removesuffix("_spread").rsplit("_", 1)[1]
            numbers.setdefault(signal.at, []).append(number)
    return numbers


def _legend(sheet: ChartSheet) -> list[str]:
    spoke = sorted({signal.rule for signal in sheet.chart.signals})
    rules = dict.fromkeys(
        f"{rule.removesuffix('_spread').rsplit('_', 1)[1]}: {measuring.rule(rule)}"
        for rule in spoke
    )
    source = f"Rules: {measuring.RULE_SOURCES[sheet.rules]}"
    return [
        measuring.chart_limits(sheet.chart.kind, even=sheet.chart.places.even),
        f"{source}; none spoke" if not spoke else source,
        *rules,
        *(f"{sign}: {remark.words}" for sign, remark in _letters(sheet)),
    ]


def _summary(sheet: ChartSheet) -> str:
    points = len({signal.at for signal in sheet.chart.signals})
    if not points:
        return f"{len(sheet.labels)} points, no rule spoke"
    return f"{len(sheet.labels)} points, rules spoke at {points}"
