"""Values with their bounds as bars, one for each station: gap above, flushness below.

And what the bars say as a table stands beside it on the page.
"""

from dataclasses import dataclass

from qa.drawing.panel import LEFT, TEXT, Panel, reach_of
from qa.drawing.scene import Disc, Scene, Shape, Text, line

WIDTH, HEIGHT, TOP, GAP = 1000.0, 190.0, 34.0, 62.0


@dataclass(frozen=True)
class Bar:
    """One station; None where nothing can be told. `marked`: bounds exclude zero, and
    it is worth it."""

    label: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    marked: bool = False


@dataclass(frozen=True)
class BoundsSheet:
    """Panels by name, each with a bar for every station; `worth` (0: none) in the same
    unit; `legend` stands below."""

    title: str
    unit: str
    worth: float
    panels: tuple[tuple[str, tuple[Bar, ...]], ...]
    legend: str = "dot: as told; bar: its bounds; dashed: what is worth correcting"


def build(sheet: BoundsSheet) -> Scene:
    """The scene."""
    shapes: list[Shape] = []
    top = TOP
    for name, bars in sheet.panels:
        shapes += _panel(sheet, name, bars, top)
        top += HEIGHT + GAP
    foot = top - GAP + 50
    shapes.append(Text(LEFT, foot, sheet.legend, TEXT * 0.86))
    return Scene(WIDTH, foot + 12, tuple(shapes), sheet.title)


def _panel(sheet: BoundsSheet, name: str, bars, top: float) -> list[Shape]:
    bounded = [bar for bar in bars if bar.low is not None]
    values = [value for bar in bounded for value in (bar.low, bar.high)]
    values += [bar.value for bar in bars if bar.value is not None]
    low, high = reach_of([*values, sheet.worth, -sheet.worth])
    panel = Panel(top, HEIGHT, WIDTH, 1, max(len(bars), 2), low, high)
    shapes = panel.frame(f"{name}, {sheet.unit}")
    shapes.append(panel.level((), (0.0,), "leader"))
    for worth in {sheet.worth, -sheet.worth} - {0.0}:
        shapes.append(panel.level((), (worth,), "drawn-in"))
    for place, bar in enumerate(bars, 1):
        x = panel.x(place)
        if bar.low is not None:
            ends = panel.y(bar.low), panel.y(bar.high)
            shapes.append(line(x, ends[0], x, ends[1], "seam" if bar.marked else "bar"))
            shapes += [line(x - 4, y, x + 4, y, "tick") for y in ends]
        if bar.value is not None:
            size, look = (6.0, "now") if bar.marked else (3.2, "flow-head")
            shapes.append(Disc(x, panel.y(bar.value), size, look))
    labels = [bar.label for bar in bars]
    return shapes + panel.labels(range(1, len(bars) + 1), labels)
