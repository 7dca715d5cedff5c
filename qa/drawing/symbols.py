"""States as symbols of a drawing: a shape, with a number on it or beside a value."""

from qa.drawing.scene import Disc, Shape, Text, polyline
from shop.wording import shapes
from shop.wording.shapes import SHAPES
from shop.wording.states import VERDICTS

# Below this radius a number inside a symbol cannot be read; it goes to the value.
READABLE = 6.5
NUMBERS = {"on-above": "n-above", "on-below": "n-below"}


def reach(state: str, radius: float, active: bool = False) -> float:
    """Half the side of the square that the symbol of this radius stays within."""
    return radius * (1.5 if active else VERDICTS[state].shape.reach)


def shape(state: str, x: float, y: float, r: float) -> list[Shape]:
    """The bare shape of a state about (x, y)."""
    return _drawn(VERDICTS[state].shape, state or "skipped", x, y, r)


def _drawn(of: shapes.Shape, look: str, x: float, y: float, r: float) -> list[Shape]:
    drawn: list[Shape] = []
    for part in of.parts:
        if isinstance(part, shapes.Disc):
            drawn.append(Disc(x + part.x * r, y, part.radius * r, look))
            continue
        points = [(x + px * r, y + py * r) for px, py in part.points]
        name = look if part.role == "outline" else part.role
        if not part.closed:
            name = "mark"
        drawn.append(polyline(points, name, closed=part.closed))
    return drawn


def station(
    state: str, x: float, y: float, r: float, label: str, active: bool = False
) -> list[Shape]:
    """The symbol of a station with its number; the active one on a yellow square."""
    drawn: list[Shape] = []
    if active:
        h = 1.46 * r
        corners = ((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h))
        drawn.append(polyline(corners, "now", closed=True))
    drawn += shape(state, x, y, r)
    if not label:
        return drawn
    row = VERDICTS[state]
    size = r * (1.12 if len(label) <= 2 else 0.86 if len(label) == 3 else 0.66)
    base = y + row.shape.lift * r + size * 0.36
    look = NUMBERS.get(row.sign, "n")
    drawn.append(Text(x, base, label, size, look, "middle"))
    return drawn


def mark(state: str, x: float, y: float, r: float) -> list[Shape]:
    """The small sign of a state beside a value: no number in it."""
    if state == "":
        return []
    row = VERDICTS[state]
    if row.beside:
        return _drawn(SHAPES[row.beside], "mark", x, y, r)
    return shape(state, x, y, r * row.shape.scale)
