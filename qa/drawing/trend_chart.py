"""A trend as a scene: values by pull, the line with its band, the limit, repairs.

And as a table that says the same to a screen reader.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from qa.drawing.panel import LEFT, TEXT, Panel, reach_of
from qa.drawing.scene import Disc, Scene, Shape, Text, line, polyline
from qa.numeric.measuring.trend import Foreseen, Trend

WIDTH, HEIGHT, TOP = 1000.0, 320.0, 34.0
LOOKS = {"limit": "limit", "target": "drawn-in"}


@dataclass(frozen=True)
class TrendSheet:
    """A trend that was told, what it is of, and its values (pull, value); `words` say
    its course, `breaks` are the pulls before which a repair was made. `limit`: what it
    is held against, by the name of it, None where there is nothing."""

    title: str
    unit: str
    limit: float | None
    points: tuple[tuple[float, float], ...]
    trend: Trend
    words: str
    breaks: tuple[float, ...] = ()
    digits: int = 2
    limit_name: str = "limit"


def build(sheet: TrendSheet) -> Scene:
    """The scene."""
    band = sheet.trend.prediction
    pulls = [point.pull for point in band] + [pull for pull, _ in sheet.points]
    reach = sheet.trend.reaches
    ends = [point.low for point in band] + [point.high for point in band]
    held = () if sheet.limit is None else (sheet.limit,)
    low, high = reach_of([*ends, *held, *(value for _, value in sheet.points)])
    panel = Panel(TOP, HEIGHT, WIDTH, min(pulls), max(pulls), low, high)
    shapes: list[Shape] = []
    for stretch in _stretches(band, sheet.breaks):
        shapes += _band(panel, stretch)
    shapes += panel.frame(f"{sheet.title}, {sheet.unit}")
    for at in sheet.breaks:
        x = panel.x(at - 0.5)
        shapes.append(line(x, panel.top, x, panel.bottom, "bite-line"))
        shapes.append(Text(x + 5, panel.top + 15, "repair", TEXT * 0.86))
    for value in held:
        words = f"{sheet.limit_name} {value:z.{sheet.digits}f}"
        shapes.append(panel.level((), held, LOOKS[sheet.limit_name]))
        shapes.append(panel.beside(value, words))
    for pull, value in sheet.points:
        shapes.append(Disc(panel.x(pull), panel.y(value), 3.4, "flow-head"))
    if held and reach and reach.pull <= panel.last:
        shapes.append(Disc(panel.x(reach.pull), panel.y(sheet.limit), 6.5, "now"))
    numbers = sorted(set(pulls))
    shapes += panel.labels(numbers, [f"{pull:g}" for pull in numbers])
    foot = panel.bottom + 46
    shapes.append(Text(LEFT, foot, _sentence(sheet), TEXT * 0.9))
    title = f"Trend of {sheet.title} against pull number: {_sentence(sheet)}"
    return Scene(WIDTH, foot + 12, tuple(shapes), title)


def table(sheet: TrendSheet) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Headings and rows: pull, value read, and between what it was expected."""
    read: dict[float, list[float]] = {}
    for pull, value in sheet.points:
        read.setdefault(pull, []).append(value)

    def text(value: float) -> str:
        return f"{value:z.{sheet.digits}f}"

    pulls = sorted(foreseen.pull for foreseen in sheet.trend.prediction)
    # The first that was read of those after it: its own may never have been fitted.
    repaired = {
        next((pull for pull in pulls if pull >= at), None) for at in sheet.breaks
    }
    rows = [
        (
            f"{point.pull:g}",
            ", ".join(map(text, read.get(point.pull, ()))),
            text(point.value),
            f"{text(point.low)} to {text(point.high)}",
            "repaired before it" if point.pull in repaired else "",
        )
        for point in sheet.trend.prediction
    ]
    return ("pull", "value", "line", "one value lies within", "note"), rows


def _stretches(
    band: Sequence[Foreseen], breaks: Sequence[float]
) -> list[list[Foreseen]]:
    stretches: dict[int, list[Foreseen]] = {}
    for foreseen in band:
        stretches.setdefault(sum(at <= foreseen.pull for at in breaks), []).append(
            foreseen
        )
    return list(stretches.values())


def _band(panel: Panel, stretch: Sequence[Foreseen]) -> list[Shape]:
    if len(stretch) < 2:
        return []
    upper = [(panel.x(foreseen.pull), panel.y(foreseen.high)) for foreseen in stretch]
    lower = [
        (panel.x(foreseen.pull), panel.y(foreseen.low))
        for foreseen in reversed(stretch)
    ]
    pulls, values = (
        [foreseen.pull for foreseen in stretch],
        [foreseen.value for foreseen in stretch],
    )
    return [
        polyline(upper + lower, "band", closed=True),
        panel.trace(pulls, values, "seam"),
    ]


def _sentence(sheet: TrendSheet) -> str:
    return f"{sheet.words[:1].upper()}{sheet.words[1:]}."
