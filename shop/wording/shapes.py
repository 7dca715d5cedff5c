"""The shapes of states, once: pages, drawings, paper and the tablet draw from these.

Coordinates are in units of the radius about the middle, y down as on a screen. Discs,
triangles and diamonds are verdicts, squares are states of a record: the two are never
mistaken for each other, in color or without. Chosen and measured for separation with
color-blind vision in the reference on tablets (section 3.2).
"""

import math
from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A line or an area. `role`: "outline" is filled and stroked in the colors of the
    state, "half" is the pale and "solid" the full part of it, "edge" a line over it."""

    points: tuple[Point, ...]
    role: str = "outline"
    closed: bool = True


@dataclass(frozen=True)
class Disc:
    """A circle about (x, 0)."""

    x: float = 0.0
    radius: float = 1.0
    role: str = "outline"


@dataclass(frozen=True)
class Shape:
    """What to draw. `parts` carry a number where there is one, `sign` stands in them
    where there is none; `reach` is half the side of the square that holds all of it,
    `scale` makes the shapes look alike in size beside words, `lift` is how far its
    middle lies below the place (above, negative)."""

    parts: tuple[Line | Disc, ...]
    sign: tuple[Line, ...] = ()
    reach: float = 1.2
    scale: float = 0.85
    lift: float = 0.0


def _stroke(*points: Point) -> Line:
    return Line(points, "edge", closed=False)


def _sign(*points: Point) -> Line:
    return Line(points, "sign", closed=False)


def _ring(corners: int, radius: float, turn: float = 0.0) -> tuple[Point, ...]:
    step = 2 * math.pi / corners
    return tuple(
        (radius * math.cos(k * step + turn), radius * math.sin(k * step + turn))
        for k in range(corners)
    )


def _triangle(up: bool) -> tuple[Point, ...]:
    # Its middle third holds the number, so the triangle is larger than the disc.
    s = -1 if up else 1
    return ((0, s * 1.36), (-1.28, -s * 0.9), (1.28, -s * 0.9))


_TICK = ((-0.7, 0.0), (-0.2, 0.6), (0.8, -0.7))
_DIAMOND = ((0, -1.38), (1.38, 0), (0, 1.38), (-1.38, 0))
_A = 0.88  # half the side of the squares
_SQUARE = ((-_A, -_A), (_A, -_A), (_A, _A), (-_A, _A))


def _scaled(points, by: float) -> tuple[Point, ...]:
    return tuple((x * by, y * by) for x, y in points)


_SMALL_TICK = _sign(*_scaled(_TICK, 0.66))
_LARGE = {"reach": 1.42, "scale": 0.72}

SHAPES: dict[str, Shape] = {
    "disc": Shape((Disc(),)),
    "disc_tick": Shape((Disc(),), (_SMALL_TICK,)),
    # What stands beside a value instead of a disc with a tick: no fill, no room.
    "tick": Shape((Line(_TICK, "tick", closed=False),)),
    "triangle_up": Shape(
        (Line(_triangle(up=True)),),
        (_sign((0, -0.16), (0, 0.76)), _sign((-0.46, 0.3), (0.46, 0.3))),
        lift=0.3,
        **_LARGE,
    ),
    "triangle_down": Shape(
        (Line(_triangle(up=False)),), (_sign((-0.46, -0.4), (0.46, -0.4)),),
        lift=-0.3, **_LARGE,
    ),  # fmt: skip
    "octagon": Shape(
        (Line(_ring(8, 1.3, math.pi / 8)),),
        (_sign((-0.46, -0.46), (0.46, 0.46)), _sign((0.46, -0.46), (-0.46, 0.46))),
        **_LARGE,
    ),
    "diamond": Shape(
        (Line(_DIAMOND), Line(_DIAMOND[1:], "half"), Line(_DIAMOND, "edge")), **_LARGE
    ),
    # Once measured, no longer true: a broken hexagon.
    "hexagon": Shape((Line(_ring(6, 1.12)),)),
    "struck_disc": Shape(
        (Disc(), _stroke((-1.2, 0), (-0.8, 0)), _stroke((0.8, 0), (1.2, 0)))
    ),
    "two_discs": Shape((Disc(-0.4), Disc(0.4)), reach=1.42, scale=0.72),
    "square": Shape((Line(_SQUARE),)),
    "square_bang": Shape(
        (Line(_SQUARE),), (_sign((0, -0.58), (0, 0.15)), _sign((0, 0.4), (0, 0.62)))
    ),
    "square_half": Shape(
        (Line(_SQUARE), Line((_SQUARE[0], _SQUARE[3], _SQUARE[2]), "solid"))
    ),
    "square_tick": Shape((Line(_SQUARE),), (_SMALL_TICK,)),
    "square_bars": Shape(
        (Line(_SQUARE),),
        (_sign((-0.3, -0.4), (-0.3, 0.4)), _sign((0.3, -0.4), (0.3, 0.4))),
    ),
    "square_cross": Shape(
        (Line(_SQUARE),), (_sign((-_A, -_A), (_A, _A)), _sign((_A, -_A), (-_A, _A)))
    ),
}  # fmt: skip
