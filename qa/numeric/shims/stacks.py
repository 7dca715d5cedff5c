"""Which shims level a part best.

The part is rigid and sits on stacks of shims at attach points; it touches all that are
there now. New stacks let it rest on three of them (rest.py beside this): with three
points there is one plane and it is exact, with more the worst of all ways in which the
part can settle governs. Nothing is allowed for how the part might be pulled into place.
Sought are the stacks with the least worst normalized deviation of flushness, then with
the fewest shims, then with the least loose, then thinner: the same input gives the same
stacks. What the plane of the answer does is judged as readings are, in whole
nanometers. A thicker shim raises the part. Lengths are mm.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from qa.numeric.shims.rest import Triple, extremes, rests, triples
from qa.numeric.shims.search import Search, Sight
from qa.numeric.verdict.deviation import Scales
from shop.numeric.finite import finite
from shop.numeric.units import to_mm, to_nm

MOST_STOCK, MOST_SHIMS, MOST_HEIGHTS = 20, 12, 5_000


class ShimError(ValueError):
    """Shims cannot be planned from this; the message says which value and why."""


@dataclass(frozen=True)
class AttachPoint:
    """Where the part is held: place (x, y) and the stack that is there now, in mm."""

    label: str
    place: tuple[float, float]
    shim_now_mm: float


@dataclass(frozen=True)
class Stack:
    """A stack of shims, thickest first, and how far the part may stay above it in some
    way of resting: mm."""

    label: str
    shim_now_mm: float
    shims: tuple[float, ...]
    loose_mm: float

    @property
    def shim_mm(self) -> float:
        """Height of the new stack."""
        return round(math.fsum(self.shims), 6)


@dataclass(frozen=True)
class ShimPlan:
    """The best stacks, and what was judged of them.

    `rests` are the threes of points on which the part can rest, `governing` the one of
    them that leaves the worst flushness; `worst_after`, `rise_mm` (m,) and what the
    part does at each measured place are of that one. `worst_ideal` is the best that any
    plane gives, shims or not. `conforms`: every flushness within its limits in every
    way of resting, in whole nanometers. `proven` is False when so many stacks come into
    question that not all were tried: then a better choice may exist.
    """

    stacks: tuple[Stack, ...]
    rests: tuple[tuple[str, str, str], ...]
    governing: tuple[str, str, str]
    worst_before: float
    worst_after: float
    worst_ideal: float
    rise_mm: tuple[float, ...]
    conforms: bool
    proven: bool = True

    @property
    def shims_used(self) -> int:
        return sum(len(stack.shims) for stack in self.stacks)

    @property
    def to_fetch(self) -> dict[float, int]:
        """How many of each thickness the new stacks need, thinnest first."""
        every = (shim for stack in self.stacks for shim in stack.shims)
        return dict(sorted(Counter(every).items()))


@dataclass(frozen=True)
class Settled:
    """What a part does on stacks: ways of resting, as numbers of points, and for each
    the rise of every place (ways, m) in mm."""

    rests: tuple[Triple, ...]
    rise_mm: np.ndarray
    middle: int  # the way it rests when pressed in the middle of all points


def plan_shims(
    places, faces, flush_mm, scales: Scales, points, stock_mm, most
) -> ShimPlan:
    """The best stacks of at most `most` shims from `stock_mm` at each AttachPoint.

    `places` and `faces` (m, 3), `flush_mm` (m,) and `scales` (m) are of the stations
    that were measured and have limits. Raises ShimError for fewer than three points or
    points in a line (no plane is determined), for a stock that cannot be, and for a
    reading or a place that is no number.
    """
    points = tuple(points)
    stacks = _stacks(_stock(stock_mm, most), most)
    _check_points(points)
    flush = np.asarray(flush_mm, dtype=float)
    if len(flush) == 0:
        raise ShimError("no station has both a flushness reading and a limit")
    sight = _sight(places, faces, flush, scales, points)
    heights, made_of = list(stacks), list(stacks.values())
    search = Search(
        sight,
        to_mm(np.array(heights)),
        np.array([len(shims) for shims in made_of]),
        extremes(_places_nm(points)),
    )
    ideal = search.ideal()[0]
    chosen, settled, conforms = _first_that_conforms(
        search.best(), points, heights, sight, scales
    )
    worst = sight.deviations(settled.rise_mm)
    governing = int(np.argmax(worst))
    named = [tuple(points[k].label for k in three) for three in settled.rests]
    changes = to_mm(np.array([heights[k] for k in chosen])) - sight.present
    return ShimPlan(
        tuple(map(_stack, points, [made_of[k] for k in chosen], search.loose(changes))),
        tuple(named),
        named[governing],
        float(sight.deviations(np.zeros(len(flush)))),
        float(worst[governing]),
        ideal,
        tuple(map(float, settled.rise_mm[governing])),
        conforms,
        search.proven,
    )


def _stack(point: AttachPoint, made_of, loose) -> Stack:
    return Stack(
        point.label,
        point.shim_now_mm,
        tuple(to_mm(shim) for shim in made_of),
        float(loose),
    )


def _first_that_conforms(choices, points, heights, sight: Sight, scales: Scales):
    """Of choices that are equally good the first whose every way of resting conforms,
    judged as readings are; else the first."""
    first = None
    for chosen in choices:
        settled = _settle(points, [heights[k] for k in chosen], sight)
        after = sight.flush + settled.rise_mm
        conforms = all(bool(scales.conform(gaps).all()) for gaps in after)
        if conforms:
            return chosen, settled, True
        first = first or (chosen, settled, False)
    return first


def _settle(points, heights_nm, sight: Sight) -> Settled:
    now = [to_nm(point.shim_now_mm) for point in points]
    changes = [height - there for height, there in zip(heights_nm, now, strict=True)]
    ways = rests(_places_nm(points), changes, sight.threes)
    if not ways:
        raise ShimError("the attach points lie nearly in a line: no plane is certain")
    change_mm = to_mm(np.array(changes))
    rise = [sight.rises(three, change_mm)[0] for three in ways]
    return Settled(ways, np.array(rise), _under_middle(points, ways))


def _under_middle(points, ways: tuple[Triple, ...]) -> int:
    """The way whose three points stand around the mean of all points, or nearest."""
    places = np.array([point.place for point in points])
    shares = [
        np.linalg.solve(np.vstack([places[list(way)].T, np.ones(3)]), [*middle, 1.0])
        for middle in [places.mean(axis=0)]
        for way in ways
    ]
    return int(np.argmax([share.min() for share in shares]))


def settled_on(places, faces, points, heights_mm) -> Settled:
    """What stacks of `heights_mm` (k,) at AttachPoints do to places (m, 3) with faces
    (m, 3), in every way in which the part can rest on them. Raises ShimError."""
    points = tuple(points)
    _check_points(points)
    finite(heights_mm=heights_mm)
    nothing = np.zeros(len(places))
    empty = Scales(*(nothing,) * 5)
    sight = _sight(places, faces, nothing, empty, points)
    return _settle(points, [to_nm(height) for height in heights_mm], sight)


def _places_nm(points) -> list[tuple[int, int]]:
    return [tuple(to_nm(value) for value in point.place) for point in points]


def _sight(places, faces, flush, scales: Scales, points) -> Sight:
    """What a plane does at stations and points.

    Tilts are in mm at a typical distance, so that all unknowns are of one size. The
    points are taken at the mean height of the stations.
    """
    places, faces = np.asarray(places, float), np.asarray(faces, float)
    if not all(np.isfinite(each).all() for each in (places, faces, flush)):
        raise ShimError("places, faces and flushness must be numbers")
    held = np.array([(*point.place, 0.0) for point in points], dtype=float)
    held[:, 2] = np.mean(places[:, 2])
    center = np.mean(held, axis=0)
    size = math.sqrt(float(np.mean(np.sum((held - center) ** 2, axis=1))))
    up = np.broadcast_to([0.0, 0.0, 1.0], held.shape)
    return Sight(
        _lever(places - center, faces, size),
        _lever(held - center, up, size),
        flush,
        np.array([point.shim_now_mm for point in points]),
        scales.aim,
        scales.below,
        scales.above,
        triples([point.place for point in points]),
    )


def _lever(arms: np.ndarray, along: np.ndarray, size: float) -> np.ndarray:
    """Move along unit vectors (n, 3) per height, turn about x and turn about y."""
    about_x = np.cross([1.0, 0.0, 0.0], arms) / size
    about_y = np.cross([0.0, 1.0, 0.0], arms) / size
    return np.column_stack(
        [along[:, 2], np.sum(along * about_x, axis=1), np.sum(along * about_y, axis=1)]
    )


def _stacks(stock: tuple[int, ...], most: int) -> dict[int, tuple[int, ...]]:
    """Every height that stacks can have, lowest first, and the best stack for it.

    In nm: fewest shims; of equal numbers the one with the thickest shims first.
    """
    thickest_first = stock[::-1]
    level, stacks = {0: ()}, {0: ()}
    for _ in range(most):
        above: dict[int, tuple[int, ...]] = {}
        for height, stack in level.items():
            for shim in thickest_first:
                taller = tuple(sorted((*stack, shim), reverse=True))
                above[height + shim] = max(above.get(height + shim, ()), taller)
        level = {
            height: stack for height, stack in above.items() if height not in stacks
        }
        stacks |= level
        if len(stacks) > MOST_HEIGHTS:
            raise ShimError("too many different stacks: allow fewer thicknesses")
    return dict(sorted(stacks.items()))


def _stock(stock_mm, most: int) -> tuple[int, ...]:
    """Thicknesses in nm, thinnest first, each once."""
    if most < 1 or most > MOST_SHIMS:
        raise ShimError(f"at most {most} shims a stack: must be 1 to {MOST_SHIMS}")
    for thick in stock_mm:
        if not (math.isfinite(thick) and 0.001 <= thick <= 100):
            raise ShimError(f"a shim of {thick:g} mm: must be 0.001 to 100 mm")
    stock = tuple(sorted({to_nm(thick) for thick in stock_mm}))
    if not stock or len(stock) > MOST_STOCK:
        raise ShimError(f"{len(stock)} thicknesses in stock: must be 1 to {MOST_STOCK}")
    return stock


def _check_points(points: tuple[AttachPoint, ...]) -> None:
    for point in points:
        if not all(map(math.isfinite, (*point.place, point.shim_now_mm))):
            raise ShimError(f"point {point.label}: place and stack must be numbers")
        if point.shim_now_mm < 0:
            raise ShimError(f"point {point.label}: the stack cannot be less than 0")
    if len({point.label for point in points}) < len(points):
        raise ShimError("two attach points have the same name")
    if len(points) < 3:
        text = f"{len(points)} attach points: three are needed to hold a plane"
        raise ShimError(text)
    places = np.array([point.place for point in points])
    spread = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)
    if spread[1] < max(1e-3, 1e-4 * spread[0]) or not triples(
        [point.place for point in points]
    ):
        raise ShimError("the attach points lie in a line: no plane is determined")
