"""Which shims level a part best: a small integer program.

The part is rigid and sits on stacks of shims at attach points. New stacks move it by a
plane (height and two tilts) that must lie within half the thinnest shim of the change
of every stack. Sought are the stacks with the least worst normalized deviation of
flushness, then with the fewest shims, then nearest to the plane, then with the thinner
stack at the earlier point: the same input gives the same stacks. A thicker shim raises
the part. Lengths are mm; solved by HiGHS through scipy.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from qa.numeric.deviation import Scales

# d is good to this; equal plans are told apart by rule, not by the solver's last
# digits.
_TIE = 1e-7
_NM = 1_000_000
MOST_STOCK, MOST_SHIMS = 20, 12


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
    """

    stacks: tuple[Stack, ...] | None
    worst_before: float
    worst_after: float | None
    worst_ideal: float
    worst_settled: float | None
    rise_mm: tuple[float, ...] | None

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
    stock = _stock(stock_mm, most)
    _check_points(points)
    if len(flush_mm) == 0:
        raise ShimError("no station has both a flushness reading and a limit")
    seen = _Sight.of(places, faces, flush_mm, scales, points)
    before = float(np.max(scales.deviation(np.asarray(flush_mm, dtype=float))))
    ideal = _worst(seen, _Program(seen, (), 0).least(_Program.WORST))
    program = _Program(seen, stock, most)
    best = _in_order(program)
    if best is None:
        return ShimPlan(None, before, None, ideal, None, None)
    heights = program.heights(best)
    stacks = [_thickest_first(height, stock, most) for height in heights]
    plane, after = _nearest_plane(program, heights)
    changes = np.array([sum(stack) for stack in stacks]) - seen.present
    misfits = changes - seen.at_points @ plane
    settled = np.linalg.lstsq(seen.at_points, changes, rcond=None)[0]
    return ShimPlan(
        tuple(
            Stack(point.label, point.shim_now_mm, stack, float(misfit))
            for point, stack, misfit in zip(points, stacks, misfits, strict=True)
        ),
        before,
        after,
        ideal,
        _worst(seen, settled),
        tuple(map(float, seen.at_stations @ plane)),
    )


@dataclass(frozen=True)
class _Sight:
    """What a plane (height, tilt, tilt) does at stations (m, 3) and points (k, 3)."""

    at_stations: np.ndarray
    at_points: np.ndarray
    flush: np.ndarray
    present: np.ndarray
    scales: Scales

    @classmethod
    def of(cls, places, faces, flush_mm, scales, points) -> _Sight:
        places, faces = np.asarray(places, float), np.asarray(faces, float)
        held = np.array([(*point.place, 0.0) for point in points], dtype=float)
        center = np.mean(held, axis=0)
        center[2] = np.mean(places[:, 2])
        held[:, 2] = center[2]
        # Tilts are in mm at a typical distance, so that all unknowns are of one size.
        size = math.sqrt(float(np.mean(np.sum((held - center) ** 2, axis=1))))
        up = np.broadcast_to([0.0, 0.0, 1.0], held.shape)
        return cls(
            _lever(places - center, faces, size),
            _lever(held - center, up, size),
            np.asarray(flush_mm, dtype=float),
            np.array([point.shim_now_mm for point in points]),
            scales,
        )


def _lever(arms: np.ndarray, along: np.ndarray, size: float) -> np.ndarray:
    """Move along unit vectors (n, 3) per height, turn about x and turn about y."""
    about_x = np.cross([1.0, 0.0, 0.0], arms) / size
    about_y = np.cross([0.0, 1.0, 0.0], arms) / size
    return np.column_stack(
        [along[:, 2], np.sum(along * about_x, axis=1), np.sum(along * about_y, axis=1)]
    )


@dataclass
class _Program:
    """Unknowns: plane (3), worst d, misfit of each point, count of each thickness.

    Rows are added as aims are reached, so that a later aim cannot spoil an earlier one.
    """

    WORST = "worst"
    seen: _Sight
    stock: tuple[int, ...]
    most: int
    rows: list[np.ndarray] = field(default_factory=list)
    lows: list[float] = field(default_factory=list)
    highs: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.points = len(self.seen.present) if self.stock else 0
        self.width = 4 + self.points * (1 + len(self.stock))
        scales, at = self.seen.scales, self.seen.at_stations
        for slopes, side in ((scales.above, 1.0), (scales.below, -1.0)):
            for row in np.flatnonzero(slopes > 0):
                steep = side * slopes[row]
                aside = scales.aim[row] - self.seen.flush[row]
                self.add({range(3): steep * at[row], 3: -1.0}, high=steep * aside)
        for point in range(self.points):
            self._hold(point)

    def _hold(self, point: int) -> None:
        """The stack is as high as the plane, to within the misfit, and not too many."""
        thick = np.array(self.stock) / _NM
        lever, now = self.seen.at_points[point], self.seen.present[point]
        counts = self.counts(point)
        for side in (1.0, -1.0):
            cells = {range(3): -side * lever, counts: side * thick, 4 + point: -1.0}
            self.add(cells, high=side * now)
        self.add({counts: np.ones(len(thick))}, high=self.most)

    def counts(self, point: int) -> range:
        """Columns of the counts at a point."""
        start = 4 + self.points + point * len(self.stock)
        return range(start, start + len(self.stock))

    def add(self, cells: dict, low: float = -np.inf, high: float = np.inf) -> None:
        self.rows.append(self.row(cells))
        self.lows.append(low)
        self.highs.append(high)

    def row(self, cells: dict) -> np.ndarray:
        row = np.zeros(self.width)
        for columns, values in cells.items():
            row[columns] = values
        return row

    def least(self, aim) -> np.ndarray | None:
        """Unknowns with the least `aim` (a row, or WORST); None when nothing fits."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        # HiGHS stops at an absolute gap of 1e-6, so that d is asked for in thousandths.
        cost = self.row({3: 1000.0}) if isinstance(aim, str) else aim
        half = min(self.stock) / _NM / 2 if self.stock else 0.0
        lower, upper = np.zeros(self.width), np.full(self.width, float(self.most))
        lower[:3], upper[:4] = -np.inf, np.inf
        upper[4 : 4 + self.points] = half
        whole = np.zeros(self.width)
        whole[4 + self.points :] = 1
        found = milp(
            cost,
            constraints=LinearConstraint(np.array(self.rows), self.lows, self.highs),
            bounds=Bounds(lower, upper),
            integrality=whole,
            options={"mip_rel_gap": 0.0},
        )
        if found.status == 2:
            return None
        if not found.success:
            raise ShimError(f"the stacks were not found: {found.message}")
        return found.x

    def heights(self, unknowns: np.ndarray) -> list[int]:
        """Height of each stack in nm."""
        counts = [np.rint(unknowns[self.counts(p)]) for p in range(self.points)]
        return [
            sum(int(n) * thick for n, thick in zip(each, self.stock, strict=True))
            for each in counts
        ]


def _in_order(program: _Program) -> np.ndarray | None:
    """Least worst d, fewest shims, least misfit, then thinner stacks first."""
    best = program.least(program.WORST)
    if best is None:
        return None
    program.add({3: 1.0}, high=_worst(program.seen, best[:3]) + _TIE)
    every = range(4 + program.points, program.width)
    fewest = program.least(program.row({every: 1.0}))
    program.add({every: 1.0}, high=float(np.rint(np.sum(fewest[every]))))
    misfits = range(4, 4 + program.points)
    near = program.least(program.row({misfits: 1.0}))
    program.add({misfits: 1.0}, high=float(np.sum(near[misfits])) + _TIE)
    for point in range(program.points):
        height = {program.counts(point): np.array(program.stock) / _NM}
        near = program.least(program.row(height))
        top = program.heights(near)[point] / _NM
        program.add(height, high=top + _TIE)
    return near


def _nearest_plane(program, heights: list[int]) -> tuple[np.ndarray, float]:
    """With the stacks settled: least worst d, and of such planes the nearest one."""
    for point, height in enumerate(heights):
        cells = {program.counts(point): np.array(program.stock) / _NM}
        program.add(cells, height / _NM, height / _NM)
    best = program.least(program.WORST)
    after = _worst(program.seen, best)
    program.add({3: 1.0}, high=after + _TIE)
    near = program.least(program.row({range(4, 4 + program.points): 1.0}))
    return (best if near is None else near)[:3], after


def _worst(seen: _Sight, unknowns) -> float:
    after = seen.flush + seen.at_stations @ np.asarray(unknowns)[:3]
    return float(np.max(seen.scales.deviation(after)))


def _thickest_first(
    height: int, stock: tuple[int, ...], most: int
) -> tuple[float, ...]:
    """The fewest shims of that height; of equal numbers the one with thicker shims."""
    for count in range(most + 1):
        found = _made_of(height, sorted(stock, reverse=True), count)
        if found is not None:
            return tuple(thick / _NM for thick in found)
    raise ShimError(f"no stack is {height / _NM:g} mm high")


def _made_of(height: int, stock: list[int], count: int) -> list[int] | None:
    if count == 0:
        return [] if height == 0 else None
    for index, thick in enumerate(stock):
        if thick * count < height:
            return None
        if thick <= height:
            rest = _made_of(height - thick, stock[index:], count - 1)
            if rest is not None:
                return [thick, *rest]
    return None


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
