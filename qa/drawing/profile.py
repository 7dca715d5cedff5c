"""Gap and flushness along the seam, with their limits: two panels over one length axis.

Values are floats in the unit shown; the scene is for screen and paper alike.
"""

import math
from dataclasses import dataclass

from qa.drawing import symbols
from qa.drawing.scene import Disc, Path, Scene, Shape, Text, box, line, polyline
from shop.numeric.units import MM_PER_IN


@dataclass(frozen=True)
class ProfilePoint:
    """One station: `s` mm along the seam; value, limits and drawn-in limits in the unit
    shown (None where there is none); `spread` half the length of the uncertainty bar;
    `after` the value expected after a plan."""

    label: str
    s: float
    value: float | None = None
    low: float | None = None
    high: float | None = None
    low_in: float | None = None
    high_in: float | None = None
    state: str = "not_measured"
    spread: float = 0.0
    after: float | None = None


@dataclass(frozen=True)
class Profile:
    """Both characteristics of a joint; `length` mm of seam."""

    title: str
    unit: str
    length: float
    gap: tuple[ProfilePoint, ...]
    flush: tuple[ProfilePoint, ...]
    bar_text: str = ""


@dataclass(frozen=True)
class ProfileLayout:
    """Sizes in scene units."""

    width: float = 1000.0
    panel: float = 190.0
    text: float = 15.0
    mark: float = 7.5


LEFT, RIGHT, TOP, BETWEEN, BOTTOM = 74.0, 20.0, 30.0, 40.0, 50.0


@dataclass(frozen=True)
class _Scale:
    """Panel coordinates: x' = x0 + s kx, y' = y1 - (v - low) ky."""

    x0: float
    kx: float
    y1: float
    low: float
    ky: float

    def x(self, s: float) -> float:
        return self.x0 + s * self.kx

    def y(self, value: float) -> float:
        return self.y1 - (value - self.low) * self.ky


def build(profile: Profile, layout: ProfileLayout | None = None) -> Scene:
    """The scene of both panels; a panel with nothing to show says so."""
    layout = layout or ProfileLayout()
    shapes: list[Shape] = []
    top = TOP
    for name, points in (("Gap", profile.gap), ("Flushness", profile.flush)):
        shapes += _panel(profile, name, points, top, layout)
        top += layout.panel + BETWEEN
    bottom = top - BETWEEN
    points = profile.gap or profile.flush
    if points:
        scale = _Scale(LEFT, _kx(profile, layout), 0, 0, 0)
        shapes += _numbers(points, scale, bottom, layout)
    shapes.append(
        Text(
            layout.width - RIGHT,
            bottom + BOTTOM - 6,
            f"station, along the seam ({_seam(profile)})",
            layout.text * 0.86,
            "word",
            "end",
        )
    )
    if profile.bar_text:
        shapes.append(
            Text(LEFT, bottom + BOTTOM - 6, profile.bar_text, layout.text * 0.86)
        )
    title = f"Profile of {profile.title}: gap and flushness along the seam with limits"
    return Scene(layout.width, bottom + BOTTOM, tuple(shapes), title)


def _seam(profile: Profile) -> str:
    """How long the seam is, in the unit shown."""
    if profile.unit == "in":
        return f"{profile.length / MM_PER_IN:.1f} in"
    return f"{profile.length:.0f} mm"


def _kx(profile: Profile, layout: ProfileLayout) -> float:
    return (layout.width - LEFT - RIGHT - 20) / (profile.length or 1.0)


def _panel(profile, name, points, top, layout) -> list[Shape]:
    right = layout.width - RIGHT
    heading = f"{name}, {profile.unit}"
    shapes: list[Shape] = [Text(LEFT, top - 9, heading, layout.text, "title")]
    span = value_range(points)
    if span is None:
        words = f"no {name.lower()} measured and no limits"
        shapes.append(Text(LEFT + 12, top + layout.panel / 2, words, layout.text))
        shapes.append(box(LEFT, top, right - LEFT, layout.panel, "axis"))
        return shapes
    low, high = span
    ky = layout.panel / (high - low)
    scale = _Scale(LEFT + 10, _kx(profile, layout), top + layout.panel, low, ky)
    shapes += _band(points, scale, top, layout)
    shapes += _axis(low, high, scale, right, layout, name == "Flushness")
    shapes += _limits(points, scale)
    shapes += _trace(points, scale)
    shapes.append(box(LEFT, top, right - LEFT, layout.panel, "axis"))
    for point in points:
        shapes += _point(point, scale, layout)
    return shapes


def value_range(points) -> tuple[float, float] | None:
    """What the axis must show, with a margin; None when there is nothing to show."""
    values = []
    for p in points:
        values += [v for v in (p.low, p.high, p.after) if v is not None]
        if p.value is not None:
            values += [p.value - p.spread, p.value + p.spread]
    if not values:
        return None
    low, high = min(values), max(values)
    margin = 0.14 * (high - low) or max(0.1, abs(high) * 0.1)
    return low - margin, high + margin


def step_for(span: float, most: int = 6) -> float:
    """1, 2 or 5 times a power of ten, so that at most `most` steps cover the span."""
    rough = span / most
    power = 10.0 ** math.floor(math.log10(rough))
    return next(k * power for k in (1, 2, 5, 10) if k * power >= rough * (1 - 1e-9))


def _axis(low, high, scale, right, layout, signed) -> list[Shape]:
    step = step_for(high - low)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    shapes: list[Shape] = []
    for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1):
        value = k * step
        y = scale.y(value)
        strong = signed and k == 0
        shapes.append(line(LEFT, y, right, y, "leader" if strong else "grid"))
        words = f"{abs(value):.{places}f}"
        sign = "−" if k < 0 else "+" if signed and k > 0 else ""
        size = layout.text * 0.9
        shapes.append(
            Text(LEFT - 8, y + size * 0.35, sign + words, size, "word", "end")
        )
    return shapes


def _runs(points, attribute):
    """Stretches of neighboring points that have the limit."""
    run = []
    for point in points:
        if getattr(point, attribute) is None:
            if run:
                yield run
            run = []
        else:
            run.append(point)
    if run:
        yield run


def _limit_line(run, attribute, scale) -> list[tuple[float, float]]:
    """Through the limits; a single station gets a short level piece."""
    pairs = [(scale.x(p.s), scale.y(getattr(p, attribute))) for p in run]
    if len(pairs) == 1:
        (x, y) = pairs[0]
        pairs = [(x - 8, y), (x + 8, y)]
    return pairs


def _limits(points, scale) -> list[Shape]:
    shapes: list[Shape] = []
    for attribute, look in (
        ("low", "limit"),
        ("high", "limit"),
        ("low_in", "drawn-in"),
        ("high_in", "drawn-in"),
    ):
        for run in _runs(points, attribute):
            shapes.append(polyline(_limit_line(run, attribute, scale), look))
    return shapes


def _band(points, scale, top, layout) -> list[Shape]:
    """The area between the limits; to the frame on a side that has none."""
    shapes: list[Shape] = []
    run: list[ProfilePoint] = []
    run_kind = None
    for point in [*points, None]:
        kind = None if point is None else (point.low is None, point.high is None)
        if kind and not all(kind) and (not run or kind == run_kind):
            run_kind = kind
            run.append(point)
            continue
        if len(run) > 1:
            upper = [
                (scale.x(p.s), top if p.high is None else scale.y(p.high)) for p in run
            ]
            floor = top + layout.panel
            lower = [
                (scale.x(p.s), floor if p.low is None else scale.y(p.low)) for p in run
            ]
            shapes.append(polyline(upper + lower[::-1], "band", closed=True))
        run = [point] if kind and not all(kind) else []
        run_kind = kind
    return shapes


def _trace(points, scale) -> list[Shape]:
    shapes: list[Shape] = []
    for run in _runs(points, "value"):
        if len(run) > 1:
            pairs = [(scale.x(p.s), scale.y(p.value)) for p in run]
            shapes.append(polyline(pairs, "trace"))
    return shapes


def _point(point, scale, layout) -> list[Shape]:
    if point.value is None:
        return []
    x, y = scale.x(point.s), scale.y(point.value)
    shapes: list[Shape] = []
    if point.spread:
        a, b = scale.y(point.value - point.spread), scale.y(point.value + point.spread)
        steps = [("M", x, a), ("L", x, b)]
        for end in (a, b):
            steps += [("M", x - 4, end), ("L", x + 4, end)]
        shapes.append(Path(tuple(steps), "bar"))
    size = layout.mark * 0.82
    if point.state == "":
        shapes.append(Disc(x, y, size * 0.5, "flow-head"))
    else:
        shapes += symbols.shape(point.state, x, y, size)
    if point.after is not None:
        z, arm = scale.y(point.after), size * 0.7
        steps = (("M", x - arm, z - arm), ("L", x + arm, z + arm))
        steps += (("M", x - arm, z + arm), ("L", x + arm, z - arm))
        shapes.append(Path(steps, "mark"))
    return shapes


def _numbers(points, scale, bottom, layout) -> list[Shape]:
    """Station names under the lower panel, as many as there is room for."""
    shapes: list[Shape] = []
    size = layout.text * 0.86
    used = -math.inf
    for point in points:
        x = scale.x(point.s)
        shapes.append(line(x, bottom, x, bottom + 4, "tick"))
        width = len(point.label) * 0.62 * size
        if x - width / 2 > used + 3:
            shapes.append(
                Text(x, bottom + 6 + size, point.label, size, "word", "middle")
            )
            used = x + width / 2
    return shapes
