"""What a sampling plan protects from, as a scene: the share of lots accepted against
the share nonconforming in them. The same stands beside it as a table."""

from dataclasses import dataclass

from qa.drawing.panel import LEFT, TEXT, Panel
from qa.drawing.scene import Disc, Scene, Shape, Text

WIDTH, HEIGHT, TOP = 1000.0, 300.0, 34.0
MARKS = 10
LEAST = 1e-6  # percent: a lot of one has one point


@dataclass(frozen=True)
class CurveSheet:
    """Points (percent nonconforming, percent accepted) in order; `marked` stand out."""

    title: str
    points: tuple[tuple[float, float], ...]
    marked: tuple[tuple[float, float], ...] = ()


def build(sheet: CurveSheet) -> Scene:
    last = max(sheet.points[-1][0], LEAST)
    panel = Panel(TOP, HEIGHT, WIDTH, 0, last, 0, 100)
    shapes: list[Shape] = panel.frame("percent of lots that are accepted")
    places, values = zip(*sheet.points, strict=True)
    shapes.append(panel.trace(places, values, "seam"))
    for place, value in sheet.marked:
        if place <= last:
            x, y = panel.x(place), panel.y(value)
            shapes.append(Disc(x, y, 5.0, "now"))
            words = f"{value:.0f} % at {place:.2g} %"
            shapes.append(Text(x + 10, y - 6, words, TEXT * 0.9))
    ticks = [last * k / MARKS for k in range(MARKS + 1)]
    shapes += panel.labels(ticks, [f"{tick:.3g}" for tick in ticks])
    foot = panel.bottom + 46
    words = "percent nonconforming in the lot"
    shapes.append(Text(LEFT, foot, words, TEXT * 0.9))
    return Scene(WIDTH, foot + 12, tuple(shapes), f"Operating curve, {sheet.title}")
