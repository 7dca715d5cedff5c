"""Which stations of a joint fail, over parts: a disc at each, filled as far as its
share of parts that did not conform; the counts stand beside it."""

import math
from dataclasses import dataclass

from qa.drawing import joint_map
from qa.drawing.joint_map import JointMap, Layout
from qa.drawing.scene import Disc, Group, Scene, Shape, Text

LARGE = 0.5


@dataclass(frozen=True)
class HeatMap:
    """The map (its texts are what stands beside), the share of each station that
    failed, None where none was judged, and the link of each."""

    joint: JointMap
    shares: tuple[float | None, ...]
    title: str


def build(sheet: HeatMap, layout: Layout | None = None) -> Scene:
    """The scene."""
    layout = layout or Layout(values="all")
    drawn = joint_map.ground(sheet.joint, layout)
    shapes = joint_map.ground_shapes(sheet.joint, drawn)
    shapes += joint_map.over(sheet.joint, layout, drawn)
    radius = drawn.radius
    filled: list[Shape] = []
    for share, center, station in zip(
        sheet.shares, drawn.centers, sheet.joint.stations, strict=True
    ):
        if not share:
            continue
        x, y = map(float, center)
        # Below that a number would stand half on the fill: it stays dark, on gray.
        fill, look = ("above", "n-above") if share >= LARGE else ("half", "n")
        filled.append(Disc(x, y, radius * math.sqrt(share), fill))
        size = radius * (1.12 if len(station.label) <= 2 else 0.8)
        filled.append(Text(x, y + size * 0.36, station.label, size, look, "middle"))
    shapes.append(Group(tuple(filled), hidden=True))
    size = layout.text * 0.84
    words = "filled: the share of parts that did not conform"
    shapes.append(Group((Text(24, size * 1.3, words, size),), hidden=True))
    return Scene(drawn.frame.width, drawn.frame.height, tuple(shapes), sheet.title)
