"""Which shims level a part best: a small integer program.

The part is rigid and sits on stacks of shims at attach points. New stacks move it by a
plane (height and two tilts) that must lie within half the thinnest shim of the change
of every stack. Sought are the stacks with the least worst normalized deviation of
flushness, then with the fewest shims, then, point by point in order, nearest to the
middle of what such planes ask for, then thinner: the same input gives the same stacks.
A thicker shim raises the part. Lengths are mm.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from qa.numeric.deviation import Scales
from qa.numeric.shim_search import Search, Sight, TooManyChoices

_NM = 1_000_000
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
    """A stack of shims, thickest first, and how far it is from the plane: mm."""

    label: str
    shim_now_mm: float
    shims: tuple[float, ...]
    misfit_mm: float

    @property
    def shim_mm(self) -> float:
        """Height of the new stack."""
        return round(math.fsum(self.shims), 6)


@dataclass(frozen=True)
class ShimPlan:
    """The best stacks. None of them when the points' stacks let no rigid part sit.

    `worst_*` are normalized deviations: `worst_ideal` the best that any plane gives,
    shims or not; `worst_settled` that of the plane that fits the stacks best, when the
    part settles into them. `rise_mm` (m,) is how far each measured place is raised.
    `fewest_proven` is False when so many stacks are as good that the search for the
    fewest shims was cut short.
    """

    stacks: tuple[Stack, ...] | None
    worst_before: float
    worst_after: float | None
    worst_ideal: float
    worst_settled: float | None
    rise_mm: tuple[float, ...] | None
    fewest_proven: bool = True

    @property
    def conforms(self) -> bool:
        """Every flushness within its limits with these stacks."""
        return self.worst_after is not None and self.worst_after <= 1 + 1e-6

    @property
    def shims_used(self) -> int | None:
        return None if self.stacks is None else sum(len(s.shims) for s in self.stacks)

    @property
    def to_fetch(self) -> dict[float, int]:
        """How many of each thickness the new stacks need, thinnest first."""
        every = (shim for stack in self.stacks or () for shim in stack.shims)
        return dict(sorted(Counter(every).items()))


def plan_shims(
    places, faces, flush_mm, scales: Scales, points, stock_mm, most
) -> ShimPlan:
    """The best stacks of at most `most` shims from `stock_mm` at each AttachPoint.

    `places` and `faces` (m, 3), `flush_mm` (m,) and `scales` (m) are of the stations
    that were measured and have limits. Raises ShimError for fewer than three points or
    points in a line (no plane is determined), and for a stock that cannot be.
    """
    points = tuple(points)
    stacks = _stacks(_stock(stock_mm, most), most)
    _check_points(points)
    if len(flush_mm) == 0:
        raise ShimError("no station has both a flushness reading and a limit")
    sight = _sight(places, faces, flush_mm, scales, points)
    heights = [height / _NM for height in stacks]
    counts = [len(stack) for stack in stacks.values()]
    half = min(min(stack) for stack in stacks.values() if stack) / _NM / 2
    free = Search(replace(sight, present=np.zeros(0)), [0.0], [0], 0.0)
    before, ideal = sight.worst(np.zeros(3)), free.least_worst()
    search = Search(sight, heights, counts, half)
    try:
        worst = search.least_worst()
        chosen = None if worst is None else search.best(worst)
    except TooManyChoices as why:
        text = f"{why}: allow fewer thicknesses, points or shims a stack"
        raise ShimError(text) from why
    if chosen is None:
        return ShimPlan(None, before, None, ideal, None, None)
    plane, after = search.settle(chosen)
    changes = np.array(heights)[list(chosen)] - sight.present
    misfits = changes - sight.at_points @ plane
    settled = np.linalg.lstsq(sight.at_points, changes, rcond=None)[0]
    made_of = [tuple(shim / _NM for shim in list(stacks.values())[k]) for k in chosen]
    return ShimPlan(
        tuple(
            Stack(point.label, point.shim_now_mm, shims, float(misfit))
            for point, shims, misfit in zip(points, made_of, misfits, strict=True)
        ),
        before,
        after,
        ideal,
        sight.worst(settled),
        tuple(map(float, sight.at_stations @ plane)),
        search.proven,
    )


def _sight(places, faces, flush_mm, scales: Scales, points) -> Sight:
    """What a plane does at stations and points.

    Tilts are in mm at a typical distance, so that all unknowns are of one size. The
    points are taken at the mean height of the stations.
    """
    places, faces = np.asarray(places, float), np.asarray(faces, float)
    held = np.array([(*point.place, 0.0) for point in points], dtype=float)
    held[:, 2] = np.mean(places[:, 2])
    center = np.mean(held, axis=0)
    size = math.sqrt(float(np.mean(np.sum((held - center) ** 2, axis=1))))
    up = np.broadcast_to([0.0, 0.0, 1.0], held.shape)
    return Sight(
        _lever(places - center, faces, size),
        _lever(held - center, up, size),
        np.asarray(flush_mm, dtype=float),
        np.array([point.shim_now_mm for point in points]),
        scales.aim,
        scales.below,
        scales.above,
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
    level, found = {0: ()}, {0: ()}
    for _ in range(most):
        above: dict[int, tuple[int, ...]] = {}
        for height, stack in level.items():
            for shim in thickest_first:
                taller = tuple(sorted((*stack, shim), reverse=True))
                above[height + shim] = max(above.get(height + shim, ()), taller)
        level = {
            height: stack for height, stack in above.items() if height not in found
        }
        found |= level
        if len(found) > MOST_HEIGHTS:
            raise ShimError("too many different stacks: allow fewer thicknesses")
    return dict(sorted(found.items()))


def _stock(stock_mm, most: int) -> tuple[int, ...]:
    """Thicknesses in nm, thinnest first, each once."""
    if most < 1 or most > MOST_SHIMS:
        raise ShimError(f"at most {most} shims a stack: must be 1 to {MOST_SHIMS}")
    for thick in stock_mm:
        if not (math.isfinite(thick) and 0.001 <= thick <= 100):
            raise ShimError(f"a shim of {thick:g} mm: must be 0.001 to 100 mm")
    stock = tuple(sorted({round(thick * _NM) for thick in stock_mm}))
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
    if spread[1] < max(1e-3, 1e-4 * spread[0]):
        raise ShimError("the attach points lie in a line: no plane is determined")
