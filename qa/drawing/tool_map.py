"""What to correct in a mold on the map of its joint: arrows where the cut line moves.

An arrow goes out of the part where it is to be larger; the words beside a station say
by how much, and what is done to the surface. What cannot be told yet is dashed.
"""

from dataclasses import dataclass

import numpy as np

from qa.drawing import joint_map
from qa.drawing.joint_map import Drawn, JointMap, Layout
from qa.drawing.scene import Group, Scene, Shape, Text, arrow

MOST_ARROW = 52.0  # scene units of the longest arrow
LEAST_ARROW = 20.0


@dataclass(frozen=True)
class ToolMap:
    """The map, and for each of its stations how far the cut line goes out, mm (0 where
    it stays). `title` says in words what the picture shows."""

    joint: JointMap
    out: tuple[float, ...]
    title: str


def build(sheet: ToolMap, layout: Layout | None = None) -> Scene:
    """The scene of a correction."""
    layout = layout or Layout(values="all")
    drawn = joint_map.ground(sheet.joint, layout)
    shapes = joint_map.ground_shapes(sheet.joint, drawn)
    arrows = _arrows(sheet, drawn)
    drawn.busy += [
        (float(x), float(y))
        for arrow in arrows
        for step in getattr(arrow, "steps", ())
        if len(step) == 3
        for x, y in [step[1:]]
    ]
    shapes += joint_map.over(sheet.joint, layout, drawn)
    shapes.append(Group(tuple(arrows), hidden=True))
    longest = max((abs(length) for length in sheet.out), default=0.0)
    if longest:
        size = layout.text * 0.84
        words = "arrows: where the cut line of the part goes; not to scale"
        shapes.append(Group((Text(24, size * 1.3, words, size),), hidden=True))
    return Scene(drawn.frame.width, drawn.frame.height, tuple(shapes), sheet.title)


def _arrows(sheet: ToolMap, drawn: Drawn) -> list[Shape]:
    longest = max((abs(length) for length in sheet.out), default=0.0)
    shapes: list[Shape] = []
    for out, center, normal in zip(
        sheet.out, drawn.centers, drawn.normals, strict=True
    ):
        if not out:
            continue
        size = LEAST_ARROW + (MOST_ARROW - LEAST_ARROW) * abs(out) / longest
        # On the part's side of the symbol: values stand on the other.
        inner = center - normal * (drawn.radius * 1.35)
        far = inner - normal * size
        start, end = (far, inner) if out > 0 else (inner, far)
        shapes += arrow(*np.concatenate([start, end]).tolist(), "move", 12)
    return shapes
