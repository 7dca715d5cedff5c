"""A gauge study as a picture: every value at its place, a line through each person's
means. A table beside it says the same."""

import math
from dataclasses import dataclass

from qa.drawing.panel import TEXT, Panel, reach_of
from qa.drawing.scene import Disc, Scene, Shape, Text

WIDTH, HEIGHT, TOP = 1000.0, 300.0, 34.0
LOOKS = ("seam", "bite-line", "limit", "drawn-in", "trace", "move")


@dataclass(frozen=True)
class PersonValues:
    """The values of one person, one tuple for each place."""

    name: str
    values: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class StudySheet:
    title: str
    unit: str
    places: tuple[str, ...]
    people: tuple[PersonValues, ...]


def build(sheet: StudySheet) -> Scene:
    """The scene."""
    every = [v for person in sheet.people for cell in person.values for v in cell]
    low, high = reach_of(every)
    panel = Panel(TOP, HEIGHT, WIDTH, 1, max(2, len(sheet.places)), low, high)
    shapes: list[Shape] = panel.frame(f"{sheet.title}, {sheet.unit}")
    count = len(sheet.people)
    ends = []
    for number, person in enumerate(sheet.people):
        aside = 0.12 * (number - (count - 1) / 2)
        at = [place + aside for place in range(1, len(sheet.places) + 1)]
        means = [sum(cell) / len(cell) for cell in person.values]
        shapes.append(panel.trace(at, means, LOOKS[number % len(LOOKS)]))
        for place, cell in zip(at, person.values, strict=True):
            shapes += [Disc(panel.x(place), panel.y(v), 2.6, "flow-head") for v in cell]
        ends.append((means[-1], person.name))
    shapes += _names(panel, ends)
    shapes += panel.labels(range(1, len(sheet.places) + 1), sheet.places)
    return Scene(WIDTH, panel.bottom + 34, tuple(shapes), sheet.title)


def _names(panel: Panel, ends: list[tuple[float, str]]) -> list[Shape]:
    """Names at the right ends of the lines, pushed apart where they would overlap."""
    shapes: list[Shape] = []
    below = -math.inf
    for value, name in sorted(ends, key=lambda pair: -pair[0]):
        y = max(panel.y(value) + TEXT * 0.32, below + TEXT)
        shapes.append(Text(panel.right + 6, y, name[:14], TEXT * 0.86))
        below = y
    return shapes
