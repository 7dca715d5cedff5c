"""A plate of holes: nominal places, tolerance zones and measured places, with errors
magnified so that tenths can be seen. Places in mm, x right, y up."""

from dataclasses import dataclass

import numpy as np

from qa.drawing import symbols
from qa.drawing.profile import step_for
from qa.drawing.scene import Disc, Group, Scene, Shape, Text, arrow, line, polyline
from shop.wording import states


@dataclass(frozen=True)
class PlateHole:
    """One hole: nominal and measured place (None when not measured), the diameter of
    its position zone as allowed (bonus included), its state, an optional value text; a
    link called `name` on the screen where it has a `href`."""

    label: str
    x: float
    y: float
    measured: tuple[float, float] | None = None
    zone: float | None = None
    state: str = "not_measured"
    text: str = ""
    href: str = ""
    name: str = ""
    # Something is in it.
    full: bool = False


@dataclass(frozen=True)
class Plate:
    """A pattern; `edge` the outline of the plate (x, y) where known. Errors are drawn
    `magnify` times as large; worked out when None."""

    title: str
    holes: tuple[PlateHole, ...]
    edge: tuple[tuple[float, float], ...] = ()
    magnify: float | None = None


@dataclass(frozen=True)
class PlateLayout:
    """Sizes in scene units."""

    width: float = 1000.0
    text: float = 17.0
    margin: float = 96.0


def magnification(plate: Plate, room: float) -> float:
    """1, 2 or 5 times a power of ten: the largest zone or error fits `room` mm."""
    sizes = [h.zone / 2 for h in plate.holes if h.zone]
    for hole in plate.holes:
        if hole.measured:
            sizes.append(
                float(np.hypot(hole.measured[0] - hole.x, hole.measured[1] - hole.y))
            )
    largest = max(sizes, default=0.0)
    if largest <= 0 or room <= largest:
        return 1.0
    step = step_for(room / largest, 1)
    return step if step <= room / largest else step_below(step)


def step_below(step: float) -> float:
    """The next smaller number of the 1-2-5 series."""
    lead = step / 10.0 ** np.floor(np.log10(step) + 1e-9)
    return step / (2.5 if round(lead) == 5 else 2.0)


def build(plate: Plate, layout: PlateLayout | None = None) -> Scene:
    """The scene of a plate; ValueError when it has no holes."""
    if not plate.holes:
        raise ValueError("a plate needs holes")
    layout = layout or PlateLayout()
    places = np.array([(h.x, h.y) for h in plate.holes], float)
    points = np.vstack([places, np.array(plate.edge, float).reshape(-1, 2)])
    low, high = points.min(axis=0), points.max(axis=0)
    span = np.maximum(high - low, 1e-9)
    inner = layout.width - 2 * layout.margin
    tall = float(np.clip(inner * span[1] / span[0], 0.12 * inner, 0.8 * inner))
    scale = float(min(inner / span[0], tall / span[1]))
    middle = (low + high) / 2
    height = tall + 2 * layout.margin + 40

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            layout.width / 2 + (x - float(middle[0])) * scale,
            layout.margin + tall / 2 - (y - float(middle[1])) * scale,
        )

    spacing = _spacing(places) * scale
    room = min(46.0, 0.42 * spacing)
    magnify = plate.magnify or magnification(plate, room / scale)
    shapes: list[Shape] = []
    if plate.edge:
        shapes.append(polyline([at(*p) for p in plate.edge], "part", closed=True))
        shapes.append(polyline([at(*p) for p in plate.edge], "seam", closed=True))
    for hole in plate.holes:
        drawn = _hole(hole, at, scale * magnify, room, layout)
        if hole.href:
            reach = Disc(*at(hole.x, hole.y), min(36.0, 0.48 * spacing), "hit")
            drawn = [Group((*drawn, reach), hole.href, hole.name or hole.label)]
        shapes += drawn
    if any(hole.zone or hole.measured for hole in plate.holes):
        words = f"errors and zones drawn {magnify:g} times as large as the plate"
        caption = Text(24, height - 14, words, layout.text * 0.9, "word")
        shapes.append(Group((caption,), hidden=True))
    failing = [h.label for h in plate.holes if states.fails(h.state)]
    title = f"Hole plate of {plate.title}: {len(plate.holes)} holes"
    if any(h.zone for h in plate.holes):
        failures = (
            f"outside: {', '.join(failing)}" if failing else "none outside its zone"
        )
        title += f", {failures}"
    links = any(hole.href for hole in plate.holes)
    return Scene(layout.width, height, tuple(shapes), title, links=links)


def _spacing(places: np.ndarray) -> float:
    if len(places) < 2:
        return 1e9
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    return float(apart.min()) or 1.0


def _hole(hole: PlateHole, at, scale, room, layout) -> list[Shape]:
    x, y = at(hole.x, hole.y)
    arm = max(9.0, room * 0.5)
    shapes: list[Shape] = [
        line(x - arm, y, x + arm, y, "nominal"),
        line(x, y - arm, x, y + arm, "nominal"),
    ]
    radius = 0.0
    if hole.href:
        radius = min(14.0, arm)
        shapes.append(Disc(x, y, radius, "move-head" if hole.full else "zone"))
    if hole.zone:
        radius = hole.zone / 2 * scale
        shapes.append(Disc(x, y, radius, "zone"))
    tip = None
    if hole.measured is not None:
        # The nominal place stands still; only the error is magnified.
        tip = (
            x + (hole.measured[0] - hole.x) * scale,
            y - (hole.measured[1] - hole.y) * scale,
        )
        shapes += arrow(x, y, *tip, "move", 8)
        shapes += symbols.shape(hole.state, *tip, 5.5)
    size = layout.text
    # Away from the error, so that the words do not stand on the arrow.
    up = tip is not None and tip[1] > y
    lift = max(radius, arm) + 6
    base = y - lift if up else y + lift + size * 0.8
    words = f"{hole.label}  {hole.text}" if hole.text else hole.label
    shapes.append(Text(x, base, words, size, "value", "middle"))
    return shapes
