"""The map of a joint: outline, numbered stations with their state, values beside them.

Input is plain: places already seen from outside (see `projection`), x right, y up, mm;
values as text. Output is a scene for screen and paper.
"""

from dataclasses import dataclass, field

import numpy as np

from qa.drawing import attach_marks, labels, map_values, symbols
from qa.drawing.outline import along, flatten, normals, resample, smooth
from qa.drawing.scene import Disc, Group, Path, Scene, Shape, Text, arrow, line
from shop.wording import states


@dataclass(frozen=True)
class MapStation:
    """One station. (nx, ny) points from the part to its surround; (0, 0) when unknown.

    A state is a row of shop/wording/states.py, "" where the joint sets no limits. `url`
    makes it a link.
    """

    label: str
    x: float
    y: float
    nx: float = 0.0
    ny: float = 0.0
    gap_text: str = ""
    flush_text: str = ""
    gap_state: str = "not_measured"
    flush_state: str = "not_measured"
    active: bool = False
    url: str = ""

    @property
    def state(self) -> str:
        """The worse of the two results."""
        return states.worse(self.gap_state, self.flush_state)


@dataclass(frozen=True)
class AttachMark:
    """A place that holds the part, and which ways it can be set there: (word along,
    word against, dx, dy), a unit vector as seen; short where it points at the eye."""

    name: str
    x: float
    y: float
    arrows: tuple[tuple[str, str, float, float], ...] = ()


@dataclass(frozen=True)
class JointMap:
    """A joint to draw. `outline` (x, y) mm, the stations themselves when empty; `flow`
    the direction of the air (x, y) or None; `limits_text` a short hint."""

    title: str
    stations: tuple[MapStation, ...]
    outline: tuple[tuple[float, float], ...] = ()
    closed: bool = True
    part_inside: bool = True
    flow: tuple[float, float] | None = None
    part_name: str = "part"
    limits_text: str = ""
    # Hinges, latch and whatever else holds the part: name, x, y.
    attach: tuple[tuple[str, float, float], ...] = ()
    marks: tuple[AttachMark, ...] = ()


@dataclass(frozen=True)
class Layout:
    """Sizes in scene units. `values` is "all", "needed" (only what does not conform and
    the active one), "none", or "auto": all up to 32 stations, else needed."""

    width: float = 1000.0
    height: float | None = None
    radius: float = 19.0
    text: float = 19.0
    values: str = "auto"
    strip: float = 52.0


@dataclass(frozen=True)
class Frame:
    """How millimeters become scene units: x' = ox + s x, y' = oy - s y."""

    scale: float
    ox: float
    oy: float
    width: float
    height: float

    def points(self, places) -> np.ndarray:
        places = np.asarray(places, float).reshape(-1, 2)
        return np.column_stack(
            [self.ox + self.scale * places[:, 0], self.oy - self.scale * places[:, 1]]
        )


NARROWEST = 0.72
# Width of a sign in a wide system font, of its size; how far a text may shrink.
WIDE_SIGN, SMALLEST = 0.62, 0.7


@dataclass
class Drawn:
    """What the map has put where; the plan draws over it, tests measure it."""

    frame: Frame
    seam_steps: tuple
    seam: np.ndarray
    centers: np.ndarray
    normals: np.ndarray
    radius: float
    hatch: list[Shape] = field(default_factory=list)
    attach: list[Shape] = field(default_factory=list)
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)
    busy: list[tuple[float, float]] = field(default_factory=list)


def build(joint: JointMap, layout: Layout | None = None) -> Scene:
    """The scene of a joint; ValueError when it has no stations."""
    layout = layout or Layout()
    drawn = ground(joint, layout)
    shapes: list[Shape] = ground_shapes(joint, drawn)
    shapes += over(joint, layout, drawn)
    return Scene(
        drawn.frame.width,
        drawn.frame.height,
        tuple(shapes),
        describe(joint),
        links=any(s.url for s in joint.stations),
    )


def describe(joint: JointMap) -> str:
    """The picture in one sentence, for those who cannot see it."""
    counts: dict[str, int] = {}
    for station in joint.stations:
        word = states.word(station.state)
        counts[word] = counts.get(word, 0) + 1
    counted = ", ".join(f"{count} {word}" for word, count in sorted(counts.items()))
    return f"Map of {joint.title}: {len(joint.stations)} stations, {counted}"


def ground(joint: JointMap, layout: Layout) -> Drawn:
    """Work out frame, seam, symbol places and radius."""
    if not joint.stations:
        raise ValueError("a joint map needs stations")
    places = np.array([(s.x, s.y) for s in joint.stations], float)
    outline = np.array(joint.outline, float) if joint.outline else places
    frame = _frame(np.vstack([places, outline]), layout)
    towards = _normals(joint, places)
    true = frame.points(places)
    if joint.outline:
        steps = smooth(frame.points(outline), joint.closed)
    else:
        steps = along(true, towards, joint.closed)
    radius = min(layout.radius, max(1.0, 0.41 * _usual_spacing(true)))
    centers = labels.spread(true, towards, 2.15 * radius)
    seam = flatten(steps, 4.0)
    if joint.closed:
        seam = np.vstack([seam, seam[:1]])
    drawn = Drawn(frame, steps, seam, centers, towards, radius)
    drawn.hatch = _hatch(joint, drawn)
    drawn.attach = _attach(joint, layout, drawn) + attach_marks.build(
        joint, layout, drawn
    )
    return drawn


def _attach(joint: JointMap, layout: Layout, drawn: Drawn) -> list[Shape]:
    """A ring with a dot and its name, towards the middle of the part, at each place
    that holds it; values keep away."""
    shapes: list[Shape] = []
    size, middle = layout.text * 0.84, drawn.frame.width / 2
    for name, x, y in joint.attach:
        at_x, at_y = map(float, drawn.frame.points([(x, y)])[0])
        left = at_x > middle
        shapes += [Disc(at_x, at_y, 7.0, "hole"), Disc(at_x, at_y, 2.4, "flow-head")]
        start = at_x - 12 if left else at_x + 12
        anchor = "end" if left else "start"
        shapes.append(Text(start, at_y + size * 0.35, name, size, "word", anchor))
        wide = len(name) * WIDE_SIGN * size
        steps = range(int(wide / 8) + 3)
        drawn.busy += [(at_x + (-8 if left else 8) * k, at_y) for k in steps]
    return shapes


def _usual_spacing(points: np.ndarray) -> float:
    """Typical distance to the nearest neighbor; doubled corners do not count."""
    if len(points) < 2:
        return 100.0
    apart = np.hypot(*(points[:, None, :] - points[None, :, :]).transpose(2, 0, 1))
    apart[apart < 1e-6] = np.inf
    return float(np.percentile(apart.min(axis=1), 20))


def _frame(points: np.ndarray, layout: Layout) -> Frame:
    low, high = points.min(axis=0), points.max(axis=0)
    span = np.maximum(high - low, 1e-9)
    margin = layout.radius * 1.6 + layout.text * 5.2
    width = layout.width
    wide = width - 2 * margin
    if layout.height is None:
        tall = float(np.clip(wide * span[1] / span[0], 0.16 * wide, 0.86 * wide))
        height = tall + 2 * margin + layout.strip
        # A tall joint gets a narrow drawing, down to what the line below it needs.
        least = NARROWEST * width if layout.strip else 0.0
        width = min(width, max(least, tall * float(span[0] / span[1]) + 2 * margin))
        wide = width - 2 * margin
    else:
        height = layout.height
        tall = height - 2 * margin - layout.strip
    scale = float(min(wide / span[0], tall / span[1]))
    middle = (low + high) / 2
    ox = width / 2 - scale * float(middle[0])
    oy = margin + tall / 2 + scale * float(middle[1])
    return Frame(scale, ox, oy, width, height)


def _normals(joint: JointMap, places: np.ndarray) -> np.ndarray:
    """Unit normals towards the surround, in scene directions (y down)."""
    given = np.array([(s.nx, s.ny) for s in joint.stations], float)
    size = np.hypot(given[:, 0], given[:, 1])
    drawn = normals(places, joint.closed, joint.part_inside)
    out = np.where(
        (size > 1e-3)[:, None], given / np.where(size == 0, 1, size)[:, None], drawn
    )
    return out * (1.0, -1.0)


def _hatch(joint: JointMap, drawn: Drawn) -> list[Shape]:
    """Short strokes along the side of the seam where the part is."""
    points, tangents = resample(drawn.seam, 15.0)
    nearest = np.argmin(
        np.hypot(*(points[:, None, :] - drawn.centers[None]).transpose(2, 0, 1)), axis=1
    )
    side = np.column_stack([-tangents[:, 1], tangents[:, 0]])
    # The stations know on which side the part is; one vote for the whole seam, since
    # a single station at a corner may look along the next edge.
    vote = np.sum(side * drawn.normals[nearest])
    side = -side if vote > 0 else side
    tips = points + (side + 0.7 * tangents) * 9.0
    steps = []
    for a, b in zip(points, tips, strict=True):
        steps += [("M", float(a[0]), float(a[1])), ("L", float(b[0]), float(b[1]))]
    return [Path(tuple(steps), "hatch")]


def over(joint: JointMap, layout: Layout, drawn: Drawn) -> list[Shape]:
    """Values, symbols and the line below: what stands on the ground."""
    shapes = _true_places(joint, drawn)
    shapes += map_values.values(joint, layout, drawn)
    # The active one last: its square may cover a neighbor, never the other way.
    order = sorted(
        range(len(joint.stations)), key=lambda i: (joint.stations[i].active, i)
    )
    shapes += [_station(joint, i, drawn) for i in order]
    return shapes + strip(joint, layout, drawn.frame)


def ground_shapes(joint: JointMap, drawn: Drawn) -> list[Shape]:
    """Part, hatching and seam."""
    shapes: list[Shape] = []
    if joint.closed and joint.part_inside:
        shapes.append(Path(drawn.seam_steps, "part"))
    shapes += drawn.hatch
    shapes.append(Path(drawn.seam_steps, "seam"))
    return shapes + drawn.attach


def _true_places(joint: JointMap, drawn: Drawn) -> list[Shape]:
    """A tick and a leader where a symbol had to stand away from its place."""
    shapes: list[Shape] = []
    true = drawn.frame.points([(s.x, s.y) for s in joint.stations])
    for here, there in zip(true, drawn.centers, strict=True):
        if np.hypot(*(there - here)) > 0.35 * drawn.radius:
            shapes.append(line(*map(float, (*here, *there)), "leader"))
            shapes.append(Disc(float(here[0]), float(here[1]), 2.2, "flow-head"))
    return shapes


def _station(joint: JointMap, i: int, drawn: Drawn) -> Group:
    station = joint.stations[i]
    x, y = map(float, drawn.centers[i])
    shapes = symbols.station(
        station.state, x, y, drawn.radius, _number(station, drawn), station.active
    )
    if not station.url:
        return Group(tuple(shapes))
    others = np.delete(drawn.centers, i, axis=0)
    near = float(np.hypot(*(others - drawn.centers[i]).T).min()) if len(others) else 60
    hit = Disc(x, y, min(30.0, near / 2), "hit")
    return Group(
        (*shapes, hit),
        href=station.url,
        name=_spoken(station),
        key=f"station-{station.label}",
        current=station.active,
    )


def _number(station: MapStation, drawn: Drawn) -> str:
    """What stands in the symbol: nothing where nobody could read it."""
    return station.label if drawn.radius >= symbols.READABLE else ""


def _spoken(station: MapStation) -> str:
    parts = []
    for kind, value, state in (
        ("gap", station.gap_text, station.gap_state),
        ("flushness", station.flush_text, station.flush_state),
    ):
        if value or state:
            word = states.word(state)
            parts.append(" ".join(part for part in (kind, value, word) if part))
    return f"Station {station.label}: " + (", ".join(parts) or states.word(""))


def strip(joint: JointMap, layout: Layout, frame: Frame) -> list[Shape]:
    """The line below the map: flow, which side is which, limits."""
    if layout.strip <= 0:
        return []
    y = frame.height - layout.strip / 2
    size = layout.text * 0.84
    base = y + size * 0.36
    x = 24.0
    shapes: list[Shape] = []
    if joint.flow is not None and any(joint.flow):
        dx, dy = joint.flow
        length = (dx * dx + dy * dy) ** 0.5
        r = layout.strip * 0.4
        ux, uy = dx / length * r, -dy / length * r
        shapes += arrow(x + r - ux, y - uy, x + r + ux, y + uy, "flow", 12)
        shapes.append(Text(x + 2 * r + 10, base, "flow", size))
        x += 2 * r + 10 + 4 * size
    swatch = [
        step
        for k in range(4)
        for step in (("M", x + k * 8, y + 7), ("L", x + k * 8 + 9, y - 7))
    ]
    shapes.append(Path(tuple(swatch), "hatch"))
    shapes.append(line(x, y + 7, x + 33, y + 7, "seam"))
    shapes.append(Text(x + 42, base, joint.part_name, size))
    left = x + 42 + (len(joint.part_name) + 2) * WIDE_SIGN * size
    right = frame.width - 24
    fits = (right - left) / max(len(joint.limits_text) * WIDE_SIGN * size, 1.0)
    # Limits stand in every table too: too small to read, they are left out here.
    if joint.limits_text and fits > SMALLEST:
        text = size * min(fits, 1.0)
        shapes.append(Text(right, base, joint.limits_text, text, "word", "end"))
    return [Group(tuple(shapes), hidden=True)]
