"""Before and after a plan on the map of its joint: arrows for the move, yellow hatched
bands for what is to be cut, dotted bands for what is to be built up."""

from dataclasses import dataclass, replace

import numpy as np

from qa.drawing import joint_map
from qa.drawing.joint_map import Drawn, JointMap, Layout
from qa.drawing.outline import flatten
from qa.drawing.scene import Group, Path, Scene, Shape, Text, arrow, polyline


@dataclass(frozen=True)
class PlanStation:
    """What a plan does at one station of the map, mm, in the order of its stations.

    `move` is how the part moves here (x, y), seen from outside; `side` "part" or
    "surround" says which edge loses `trim` or gains `build_up`."""

    label: str
    move: tuple[float, float] = (0.0, 0.0)
    trim: float = 0.0
    build_up: float = 0.0
    side: str = "part"
    after_gap_text: str = ""
    after_flush_text: str = ""
    after_gap_state: str = ""
    after_flush_state: str = ""


@dataclass(frozen=True)
class PlanMap:
    """The map as measured and the plan for it. `move_text` says the move in words."""

    joint: JointMap
    stations: tuple[PlanStation, ...]
    move_text: str = ""


MOST_ARROW = 58.0  # scene units of the longest move arrow
MOST_BAND = 26.0  # and of the deepest cut


def before(plan: PlanMap, layout: Layout | None = None) -> Scene:
    """The joint as measured, with the move and the cut drawn over it, magnified."""
    layout = layout or Layout()
    drawn = joint_map.ground(plan.joint, layout)
    shapes = joint_map.ground_shapes(plan.joint, drawn)
    bands, deep = _bands(plan, drawn)
    arrows, far = _arrows(plan, drawn)
    shapes += bands
    sizes = [f"arrows {far:.0f}×"] if arrows and far >= 1 else []
    sizes += [f"depths {deep:.0f}×"] if bands and deep >= 1 else []
    note = _note([plan.move_text, "  ".join(sizes)], layout)
    drawn.busy += _points([*bands, *arrows]) + _under(note)
    shapes += joint_map.over(plan.joint, layout, drawn)
    shapes += [*arrows, *note]
    return Scene(
        drawn.frame.width,
        drawn.frame.height,
        tuple(shapes),
        f"Before: {joint_map.describe(plan.joint)}. {plan.move_text}".strip(),
        links=any(s.url for s in plan.joint.stations),
    )


def after(plan: PlanMap, layout: Layout | None = None) -> Scene:
    """The joint as expected after the plan, in the states the plan predicts."""
    layout = layout or Layout()
    stations = tuple(
        replace(
            station,
            gap_text=p.after_gap_text,
            flush_text=p.after_flush_text,
            # What no one measured is not known after the plan either.
            gap_state=p.after_gap_state or station.gap_state,
            flush_state=p.after_flush_state or station.flush_state,
            active=False,
        )
        for station, p in zip(plan.joint.stations, plan.stations, strict=True)
    )
    joint = replace(plan.joint, stations=stations)
    scene = joint_map.build(joint, layout)
    shapes = (*scene.shapes, *_note(["expected after the plan"], layout))
    return replace(scene, shapes=shapes, title=f"Expected after: {scene.title}")


def _points(groups) -> list[tuple[float, float]]:
    """Every corner of the shapes, for labels to stay away from."""
    paths = [shape for group in groups for shape in group.shapes]
    return [
        (x, y)
        for path in paths
        for x, y in flatten([s for s in path.steps if s[0] != "Z"], 6.0).tolist()
    ]


def _under(note: list[Shape]) -> list[tuple[float, float]]:
    """Points all over the words of a note."""
    texts = [text for group in note for text in group.shapes]
    return [
        (text.x + 8.0 * k, text.y - lift * text.size)
        for text in texts
        for k in range(int(len(text.words) * 0.6 * text.size / 8) + 2)
        for lift in (0.0, 0.4, 0.8)
    ]


def _note(lines: list[str], layout: Layout) -> list[Shape]:
    """Lines at the upper left corner, for eyes only."""
    size = layout.text * 0.84
    texts = [
        Text(24, size * 1.3 * (k + 1), line, size, "title" if k == 0 else "word")
        for k, line in enumerate(line for line in lines if line)
    ]
    return [Group(tuple(texts), hidden=True)] if texts else []


def _arrows(plan: PlanMap, drawn: Drawn) -> tuple[list[Shape], float]:
    """The move at each station, all magnified alike, and by how much."""
    moves = np.array([p.move for p in plan.stations], float) * (1.0, -1.0)
    longest = float(np.hypot(*moves.T).max(initial=0.0))
    if longest < 1e-6:
        return [], 0.0
    factor = MOST_ARROW / longest
    shapes: list[Shape] = []
    for (x, y), (dx, dy), normal in zip(
        drawn.centers, moves * factor, drawn.normals, strict=True
    ):
        # Beside the symbol on the part's side, where the part is what moves.
        ax, ay = x - normal[0] * drawn.radius * 2, y - normal[1] * drawn.radius * 2
        shapes += arrow(
            *map(float, (ax - dx / 2, ay - dy / 2, ax + dx / 2, ay + dy / 2)),
            "move",
            10,
        )
    return [Group(tuple(shapes), hidden=True)], factor / drawn.frame.scale


def _bands(plan: PlanMap, drawn: Drawn) -> tuple[list[Shape], float]:
    """Bands along the seam where an edge loses or gains, and the magnification."""
    depths = [max(p.trim, p.build_up) for p in plan.stations]
    deepest = max(depths, default=0.0)
    if deepest <= 0:
        return [], 0.0
    factor = MOST_BAND / deepest
    true = drawn.frame.points([(s.x, s.y) for s in plan.joint.stations])
    count = len(true)
    shapes: list[Shape] = []
    for i in range(count if plan.joint.closed else count - 1):
        j = (i + 1) % count
        for amount, look in (("trim", "cut-area"), ("build_up", "build")):
            a = getattr(plan.stations[i], amount) * factor
            b = getattr(plan.stations[j], amount) * factor
            if max(a, b) <= 0 or np.hypot(*(true[j] - true[i])) < 1e-6:
                continue
            side = plan.stations[i if a >= b else j].side
            shapes += _band(drawn, true, i, j, a, b, side, look)
    return [Group(tuple(shapes), hidden=True)], factor / drawn.frame.scale


def _band(drawn, true, i, j, a, b, side, look) -> list[Shape]:
    """One band between neighbors; it follows the seam drawn between them."""
    steps = 8
    line_points = _between(drawn.seam, true[i], true[j], steps)
    t = np.linspace(0, 1, len(line_points))[:, None]
    normals = drawn.normals[i] * (1 - t) + drawn.normals[j] * t
    size = np.hypot(normals[:, 0], normals[:, 1])[:, None]
    normals = normals / np.where(size < 1e-9, 1, size)
    sign = 1.0 if side == "surround" else -1.0
    inner = line_points + normals * sign * (a * (1 - t) + b * t)
    ring = [*map(tuple, line_points), *map(tuple, inner[::-1])]
    shapes: list[Shape] = [polyline(ring, look, closed=True)]
    if look == "cut-area":
        hatch = []
        for k in range(len(line_points) - 1):
            p, q = line_points[k], inner[k + 1]
            hatch += [("M", float(p[0]), float(p[1])), ("L", float(q[0]), float(q[1]))]
        shapes.append(Path(tuple(hatch), "cut"))
        shapes.append(polyline(inner, "cut-line"))
    return shapes


def _between(seam: np.ndarray, start, end, count: int) -> np.ndarray:
    """`count` points along the drawn seam between two stations, the short way."""
    a = int(np.argmin(np.hypot(*(seam - start).T)))
    b = int(np.argmin(np.hypot(*(seam - end).T)))
    total = len(seam)
    forward = (b - a) % total
    backward = (a - b) % total
    if forward <= backward:
        index = (a + np.round(np.linspace(0, forward, count)).astype(int)) % total
    else:
        index = (a - np.round(np.linspace(0, backward, count)).astype(int)) % total
    return seam[index]
