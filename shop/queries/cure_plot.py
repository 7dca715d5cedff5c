"""A cure trace as lines on a sheet: numbers for a template, drawn by nobody else."""

from dataclasses import dataclass, replace

from shop.models import CureRecipe
from shop.numeric.trace import Trace
from shop.numeric.units import MILLI
from shop.rules import cures

WIDTH, HEIGHT, LEFT, FOOT = 900, 300, 52, 34
NAMES = 60
NAME_HEIGHT = 14
MOST_POINTS = 400


@dataclass(frozen=True)
class Curve:
    """Lines of one sensor: one for each time that it was heard without a break."""

    name: str
    lines: list[str]
    label_y: float


@dataclass(frozen=True)
class Tick:
    at: float
    text: str


@dataclass(frozen=True)
class Plot:
    """`band` is the dwell of the recipe as (y, height); places in user units."""

    width: int
    height: int
    left: int
    foot: float
    curves: list[Curve]
    minutes: list[Tick]
    degrees: list[Tick]
    band: tuple[float, float]

    @property
    def end(self) -> int:
        """Where the curves end and their names begin."""
        return self.width - NAMES

    @property
    def room(self) -> int:
        return self.end - self.left

    @property
    def before(self) -> int:
        return self.left - 8

    @property
    def below(self) -> int:
        return self.height - 12


def _step(span: float, most: int) -> float:
    for size in (1, 2, 5, 10, 20, 30, 60, 120, 240, 480, 960, 1440, 2880):
        if span / size <= most:
            return size
    return span / most


def plot(trace: Trace, recipe: CureRecipe) -> Plot:
    """Scale a trace and its dwell band to the sheet."""
    low, high = recipe.dwell_low / MILLI, recipe.dwell_high / MILLI
    values = [value for sensor in trace.sensors.values() for value in sensor.values]
    bottom, top = min([low, *values]) - 3, max([high, *values]) + 3
    start, end = trace.start, trace.end
    span = max(end - start, 1)
    longest = cures.window_of(recipe).silence_minutes

    def x(minute: float) -> float:
        return round(LEFT + (minute - start) / span * (WIDTH - LEFT - NAMES), 1)

    def y(celsius: float) -> float:
        return round((top - celsius) / (top - bottom) * (HEIGHT - FOOT), 1)

    curves = []
    for name, sensor in trace.sensors.items():
        if not sensor.minutes:
            continue
        stride = max(1, len(sensor.minutes) // MOST_POINTS)
        lines = []
        for run in sensor.runs(longest):
            pairs = list(zip(run.minutes, run.values, strict=True))
            drawn = [*pairs[::stride], pairs[-1]]
            lines.append(" ".join(f"{x(m)},{y(c)}" for m, c in drawn))
        curves.append(Curve(name, lines, y(sensor.values[-1])))
    _spread(curves)
    return Plot(
        WIDTH,
        HEIGHT,
        LEFT,
        HEIGHT - FOOT,
        curves,
        _ticks(start, end, _step(span, 9), x),
        _ticks(bottom, top, _step(top - bottom, 6), y),
        (y(high), round(y(low) - y(high), 1)),
    )


def _ticks(low: float, high: float, step: float, place) -> list[Tick]:
    first = -int(-low // step)
    return [
        Tick(place(n * step), f"{n * step:g}")
        for n in range(first, int(high // step) + 1)
    ]


def _spread(curves: list[Curve]) -> None:
    """Move the names of curves that end close together apart, in their order."""
    floor = float("-inf")
    for place, curve in sorted(enumerate(curves), key=lambda pair: pair[1].label_y):
        floor = max(curve.label_y, floor + NAME_HEIGHT)
        curves[place] = replace(curve, label_y=floor)
