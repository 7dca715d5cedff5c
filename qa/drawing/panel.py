"""A frame with a value axis: what charts draw their points, lines and areas into."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from qa.drawing.profile import step_for
from qa.drawing.scene import Shape, Text, box, line, polyline

LEFT, RIGHT = 84.0, 116.0
TEXT = 15.0


@dataclass(frozen=True)
class Panel:
    """A frame from `top`, `height` units high, in a scene `width` wide; across from
    `first` to `last`, up from `low` to `high`."""

    top: float
    height: float
    width: float
    first: float
    last: float
    low: float
    high: float

    @property
    def right(self) -> float:
        return self.width - RIGHT

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def x(self, place: float) -> float:
        span = self.right - LEFT - 28
        return LEFT + 14 + span * (place - self.first) / ((self.last - self.first) or 1)

    def y(self, value: float) -> float:
        return self.bottom - self.height * (value - self.low) / (self.high - self.low)

    def frame(self, heading: str) -> list[Shape]:
        """The box, its name, and the value axis."""
        shapes: list[Shape] = [Text(LEFT, self.top - 9, heading, TEXT, "title")]
        step = step_for(self.high - self.low)
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        first = math.ceil(self.low / step - 1e-9)
        for k in range(first, math.floor(self.high / step + 1e-9) + 1):
            y, size = self.y(k * step), TEXT * 0.9
            words = f"{k * step:z.{digits}f}".replace("-", "−")
            shapes.append(line(LEFT, y, self.right, y, "grid"))
            shapes.append(Text(LEFT - 8, y + size * 0.35, words, size, "word", "end"))
        return [*shapes, box(LEFT, self.top, self.right - LEFT, self.height, "axis")]

    def trace(self, places: Sequence[float], values: Sequence[float], look: str):
        """A line through values."""
        pairs = zip(places, values, strict=True)
        return polyline(
            [(self.x(place), self.y(value)) for place, value in pairs], look
        )

    def level(self, places: Sequence[float], values: Sequence[float], look: str):
        """A line that keeps each value half way to its neighbors; from edge to edge."""
        if len(set(values)) == 1:
            y = self.y(values[0])
            return line(LEFT, y, self.right, y, look)
        ends = [place + side * 0.5 for place in places for side in (-1, 1)]
        doubled = [value for value in values for _ in range(2)]
        pairs = zip(ends, doubled, strict=True)
        inside = [(min(max(self.x(e), LEFT), self.right), self.y(v)) for e, v in pairs]
        return polyline(inside, look)

    def beside(self, value: float, words: str) -> Text:
        """Words at the right, at the height of a value."""
        return Text(self.right + 6, self.y(value) + TEXT * 0.32, words, TEXT * 0.86)

    def labels(self, places: Sequence[float], words: Sequence[str]) -> list[Shape]:
        """Names below the frame, as many as there is room for."""
        shapes: list[Shape] = []
        size, used = TEXT * 0.86, -math.inf
        for place, text in zip(places, words, strict=True):
            x, width = self.x(place), len(text) * 0.62 * TEXT * 0.86
            shapes.append(line(x, self.bottom, x, self.bottom + 4, "tick"))
            if x - width / 2 > used + 5:
                y = self.bottom + 6 + size
                shapes.append(Text(x, y, text, size, "word", "middle"))
                used = x + width / 2
        return shapes


def reach_of(values: Iterable[float]) -> tuple[float, float]:
    """What an axis must show of values, with a margin."""
    low, high = min(values := list(values)), max(values)
    margin = 0.13 * (high - low) or max(0.1, abs(high) * 0.1)
    return low - margin, high + margin
