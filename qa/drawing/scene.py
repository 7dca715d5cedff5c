"""Plain shapes: all that a renderer has to know. Units of the scene, y down."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from qa.wording.lengths import true_minus

# A path is a tuple of steps: ("M", x, y), ("L", x, y),
# ("C", x1, y1, x2, y2, x, y) or ("Z",).
Step = tuple


@dataclass(frozen=True)
class Path:
    """A line or an area in the look of the class `look`."""

    steps: tuple[Step, ...]
    look: str


@dataclass(frozen=True)
class Disc:
    """A circle."""

    x: float
    y: float
    radius: float
    look: str


@dataclass(frozen=True)
class Text:
    """One line of text; (x, y) is on its base line, `anchor` start, middle or end."""

    x: float
    y: float
    words: str
    size: float
    look: str = "word"
    anchor: str = "start"

    def __post_init__(self):
        object.__setattr__(self, "words", true_minus(self.words))


@dataclass(frozen=True)
class Group:
    """Shapes that belong together; with `href` a link called `name` on the screen.

    `hidden` groups are for eyes only: their words stand elsewhere for a screen reader.
    """

    shapes: tuple["Shape", ...]
    href: str = ""
    name: str = ""
    key: str = ""
    hidden: bool = False
    current: bool = False


Shape = Path | Disc | Text | Group


@dataclass(frozen=True)
class Scene:
    """A drawing of `width` x `height` units. `title` says what it shows."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    links: bool = field(default=False)


def polyline(points: Iterable[Sequence[float]], look: str, closed=False) -> Path:
    """A path of straight lines."""
    steps: list[Step] = [("L", float(x), float(y)) for x, y in points]
    steps[0] = ("M", *steps[0][1:])
    if closed:
        steps.append(("Z",))
    return Path(tuple(steps), look)


def line(x1: float, y1: float, x2: float, y2: float, look: str) -> Path:
    """One straight line."""
    return Path((("M", x1, y1), ("L", x2, y2)), look)


def box(x: float, y: float, width: float, height: float, look: str) -> Path:
    """A rectangle with upper left corner (x, y)."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return polyline(corners, look, closed=True)


def arrow(
    x1: float, y1: float, x2: float, y2: float, look: str, size: float = 9
) -> tuple[Shape, ...]:
    """A line with a filled head (class `look`-head) that ends at (x2, y2)."""
    dx, dy = x2 - x1, y2 - y1
    length = (dx * dx + dy * dy) ** 0.5
    if length == 0:
        return ()
    ux, uy = dx / length, dy / length
    size = min(size, length)
    bx, by = x2 - ux * size, y2 - uy * size
    half = size * 0.38
    head = (
        (x2, y2),
        (bx - uy * half, by + ux * half),
        (bx + uy * half, by - ux * half),
    )
    return (line(x1, y1, bx, by, look), polyline(head, f"{look}-head", closed=True))
