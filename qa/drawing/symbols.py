"""States as shapes, and the words for them. The shape tells, the color helps."""

import math

from qa.drawing.scene import Disc, Path, Shape, Text, line, polyline

WORDS = {
    "conforms": "conforms",
    "above": "above",
    "below": "below",
    "not_proven": "not proven",
    "not_measured": "not measured",
    "stale": "stale",
    "skipped": "skipped",
    "": "no limits",
}
# The worse of two results stands for the station.
SEVERITY = {
    "above": 6,
    "below": 6,
    "not_proven": 5,
    "stale": 4,
    "not_measured": 3,
    "skipped": 2,
    "conforms": 1,
    "": 0,
}


# Below this radius a number inside a symbol cannot be read; it goes to the value.
READABLE = 6.5


def worse(first: str, second: str) -> str:
    """The state that stands for both; the first when they are equally bad."""
    return second if SEVERITY[second] > SEVERITY[first] else first


def reach(state: str, radius: float, active: bool = False) -> float:
    """Half the side of the square that the symbol of this radius stays within."""
    if active:
        return radius * 1.5
    return radius * (1.42 if state in ("above", "below", "not_proven") else 1.2)


def _triangle(x: float, y: float, r: float, up: bool) -> tuple[tuple, ...]:
    s = -1 if up else 1
    # Its middle third holds the number, so the triangle is larger than the disc.
    return ((x, y + s * 1.36 * r), (x - 1.28 * r, y - s * 0.9 * r),
            (x + 1.28 * r, y - s * 0.9 * r))  # fmt: skip


def shape(state: str, x: float, y: float, r: float) -> list[Shape]:
    """The bare shape of a state about (x, y)."""
    if state in ("above", "below"):
        points = _triangle(x, y, r, state == "above")
        return [polyline(points, state, closed=True)]
    if state == "not_proven":
        d = 1.38 * r
        whole = ((x, y - d), (x + d, y), (x, y + d), (x - d, y))
        lower = ((x + d, y), (x, y + d), (x - d, y))
        edge = Path(polyline(whole, "mark", closed=True).steps, "tick")
        return [
            polyline(whole, "not_proven", closed=True),
            polyline(lower, "not_proven-half", closed=True),
            edge,
        ]
    if state == "stale":  # once measured, no longer true: a broken hexagon
        corners = [
            (math.cos(k * math.pi / 3), math.sin(k * math.pi / 3)) for k in range(6)
        ]
        around = [(x + 1.12 * r * c, y + 1.12 * r * s) for c, s in corners]
        return [polyline(around, state, closed=True)]
    shapes: list[Shape] = [Disc(x, y, r, state or "skipped")]
    if state == "skipped":
        for s in (-1, 1):
            shapes.append(line(x + s * 0.8 * r, y, x + s * 1.2 * r, y, "strike"))
    return shapes


def station(
    state: str, x: float, y: float, r: float, label: str, active: bool = False
) -> list[Shape]:
    """The symbol of a station with its number; the active one on a yellow square."""
    shapes: list[Shape] = []
    if active:
        h = 1.46 * r
        corners = ((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h))
        shapes.append(polyline(corners, "now", closed=True))
    shapes += shape(state, x, y, r)
    if not label:
        return shapes
    size = r * (1.12 if len(label) <= 2 else 0.86 if len(label) == 3 else 0.66)
    lift = {"above": 0.3, "below": -0.3}.get(state, 0.0) * r
    look = "n-on" if state in ("above", "below") else "n"
    shapes.append(Text(x, y + lift + size * 0.36, label, size, look, "middle"))
    return shapes


def check_mark(x: float, y: float, r: float) -> Path:
    """The sign of "conforms", about (x, y)."""
    points = ((x - 0.7 * r, y), (x - 0.2 * r, y + 0.6 * r), (x + 0.8 * r, y - 0.7 * r))
    return polyline(points, "mark")


def mark(state: str, x: float, y: float, r: float) -> list[Shape]:
    """The small sign of a state beside a value: no number in it."""
    if state == "":
        return []
    if state == "conforms":
        return [check_mark(x, y, r)]
    scale = 0.72 if state in ("above", "below", "not_proven") else 0.85
    return shape(state, x, y, r * scale)


def state_of(verdict: str | None, deviation: float = 0.0) -> str:
    """The state to draw for a verdict: one that does not conform is above or below,
    by the sign of its deviation; None (no limits) is ""."""
    if verdict == "does_not_conform":
        return "above" if deviation > 0 else "below"
    return "" if verdict is None else str(verdict)
