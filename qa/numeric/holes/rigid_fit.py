"""Best rigid fit, in the plane, of a measured pattern of points onto its nominal one.

Points are written as complex numbers inside this module: a turn is then one
multiplication, and a rotation can never become a reflection. Lengths are millimeters,
angles radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from shop.numeric.finite import finite

_GOLDEN = (math.sqrt(5) - 1) / 2


class FitError(ValueError):
    """The points given cannot be fitted; the message says which and why."""


@dataclass(frozen=True)
class RigidFit:
    """The move center + turn (p - center) + (x, y), laying measured on nominal points.

    `rms_mm` and `worst_mm` are radial distances left after the move; positive turns are
    counter-clockwise.
    """

    x_mm: float
    y_mm: float
    turn_rad: float
    rms_mm: float
    worst_mm: float
    center: tuple[float, float]

    @property
    def turn_deg(self) -> float:
        """The turn in degrees."""
        return math.degrees(self.turn_rad)

    def moved(self, points) -> np.ndarray:
        """Points (n, 2) in mm after the move."""
        plane = _complex(points)
        center = complex(*self.center)
        after = (
            center
            + np.exp(1j * self.turn_rad) * (plane - center)
            + complex(self.x_mm, self.y_mm)
        )
        return np.column_stack([after.real, after.imag])


def least_squares(measured, nominal) -> RigidFit:
    """Move with the least sum of squared distances.

    Both tables (n, 2) in mm, the same point in the same row. Closed form: with both
    patterns about their own means, the turn is the argument of the sum of nominal times
    conjugate measured. This is the plane case of Umeyama, IEEE PAMI 13(4), 1991,
    without scale and with determinant +1. A turn that the points cannot show (one
    point, or all at one place) is held at zero.
    """
    here, there, center = _pair(measured, nominal)
    turn = _least_squares_turn(here, there)
    shift = np.mean(there - np.exp(1j * turn) * here)
    return _result(here, there, center, turn, complex(shift))


def minimax(measured, nominal, allowances=None) -> RigidFit:
    """Move with the least worst radial distance; both (n, 2) in mm.

    `allowances` (n,) in mm, when given, are taken off each distance first, so that the
    least *worst excess* is sought (holes with unequal clearance). For one turn the best
    shift is the center of the smallest circle around the residuals, exactly; what is
    left is a search over one angle. Where several turns are equally good the one
    nearest to the least-squares turn is taken. Exact to about 1e-11 of the size of the
    pattern.
    """
    here, there, center = _pair(measured, nominal)
    allowances = _allowances(allowances, len(here))
    # Distance minus allowance plus the greatest allowance: the same optimum, and no
    # negative radius.
    radii = np.max(allowances) - allowances

    def enclosing(turn: float) -> tuple[complex, float]:
        return smallest_enclosing(there - np.exp(1j * turn) * here, radii)

    start = _least_squares_turn(here, there)
    if not _turn_shows(here):
        return _result(here, there, center, 0.0, enclosing(0.0)[0])
    half = _half_bracket(here, there, start, enclosing(start)[1] - radii)
    turn = _least_over_turn(
        lambda angle: enclosing(angle)[1], start, half, float(np.max(np.abs(here)))
    )
    return _result(here, there, center, turn, enclosing(turn)[0])


def smallest_enclosing(
    points: np.ndarray, radii: np.ndarray | None = None
) -> tuple[complex, float]:
    """Center and radius of the smallest circle around points, or around circles.

    `points` are complex (n,), `radii` (n,) or none. Grows a support of at most three
    circles by the farthest one outside until none is outside; each step solves its at
    most four circles by trying every pair and triple, so that the answer is exact (the
    problem has three unknowns, as in Welzl, 1991). The radius returned is the true
    farthest reach from the center returned.
    """
    points = np.asarray(points, dtype=complex)
    finite(points=points, radii=radii)
    radii = np.zeros(len(points)) if radii is None else np.asarray(radii, dtype=float)
    support = [int(np.argmax(radii))]
    center, reach = complex(points[support[0]]), float(radii[support[0]])
    slip = 1e-15 * float(np.max(np.abs(points)) + np.max(radii))
    for _ in range(4 * len(points) + 10):
        reaches = np.abs(points - center) + radii
        farthest = int(np.argmax(reaches))
        if reaches[farthest] <= reach + slip or farthest in support:
            break
        center, reach, support = _smallest_of_few(points, radii, [*support, farthest])
    return center, float(np.max(np.abs(points - center) + radii))


def _smallest_of_few(
    points, radii, members: list[int]
) -> tuple[complex, float, list[int]]:
    """The best of the circles held by one, two or three members (all are tried)."""
    best = (complex(points[members[0]]), math.inf, members[:1])
    for size in (1, 2, 3):
        for held in combinations(members, size):
            for center in _held_by(
                [complex(points[i]) for i in held], [float(radii[i]) for i in held]
            ):
                reach = max(
                    abs(complex(points[i]) - center) + float(radii[i]) for i in members
                )
                if reach < best[1]:
                    best = (center, reach, list(held))
    return best


def _held_by(points: list[complex], radii: list[float]) -> list[complex]:
    """Centers of the circles that touch all the given circles from outside."""
    if len(points) == 1:
        return points
    if len(points) == 2:
        apart = points[1] - points[0]
        if abs(apart) <= abs(radii[1] - radii[0]):
            return []
        along = (abs(apart) + radii[1] - radii[0]) / 2
        return [points[0] + apart * (along / abs(apart))]
    return _touching_three(points, radii)


def _touching_three(points: list[complex], radii: list[float]) -> list[complex]:
    """Apollonius: seen from the first circle the center is a + b * rho, linear in rho,
    and |a + b rho| = rho.
    """
    q1, q2 = points[1] - points[0], points[2] - points[0]
    v1, v2 = radii[1] - radii[0], radii[2] - radii[0]
    cross = q1.real * q2.imag - q1.imag * q2.real
    if cross == 0:
        return []

    def solve(first: float, second: float) -> complex:
        return (
            complex(
                first * q2.imag - second * q1.imag, second * q1.real - first * q2.real
            )
            / cross
        )

    a = solve((abs(q1) ** 2 - v1 * v1) / 2, (abs(q2) ** 2 - v2 * v2) / 2)
    b = solve(v1, v2)
    square, half, rest = abs(b) ** 2 - 1, a.real * b.real + a.imag * b.imag, abs(a) ** 2
    inside = half * half - square * rest
    if inside < 0:
        return []
    if abs(square) < 1e-14:
        rhos = [-rest / (2 * half)] if half else []
    else:
        rhos = [(-half + sign * math.sqrt(inside)) / square for sign in (1, -1)]
    return [points[0] + a + b * rho for rho in rhos if rho >= 0]


def _least_over_turn(worst, start: float, half: float, size: float) -> float:
    """Least `worst` within start +- half: a grid finds the valleys, golden section goes
    down each of them.
    """
    steps = 24 if half < 0.2 else 360
    grid = start + half * np.linspace(-1, 1, steps + 1)
    values = [worst(angle) for angle in grid]
    floor = (
        min(values),
        abs(float(grid[int(np.argmin(values))]) - start),
        float(grid[int(np.argmin(values))]),
    )
    for i in range(steps + 1):
        left, right = max(i - 1, 0), min(i + 1, steps)
        if values[i] <= values[left] and values[i] <= values[right]:
            angle = _golden_section(worst, float(grid[left]), float(grid[right]))
            floor = min(floor, (worst(angle), abs(angle - start), angle))
    return _nearest_as_good(worst, start, floor[2], floor[0] + 1e-12 + 1e-15 * size)


def _golden_section(worst, low: float, high: float) -> float:
    first, second = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_first, at_second = worst(first), worst(second)
    for _ in range(90):
        if high - low <= 1e-15:
            break
        if at_first <= at_second:
            high, second, at_second = second, first, at_first
            first = high - _GOLDEN * (high - low)
            at_first = worst(first)
        else:
            low, first, at_first = first, second, at_second
            second = low + _GOLDEN * (high - low)
            at_second = worst(second)
    return first if at_first <= at_second else second


def _nearest_as_good(worst, start: float, best: float, enough: float) -> float:
    """On a flat valley floor any angle is as good: take the one nearest to `start`, so
    that the answer is one answer.
    """
    if worst(start) <= enough:
        return start
    bad, good = start, best
    for _ in range(60):
        middle = (bad + good) / 2
        if worst(middle) <= enough:
            good = middle
        else:
            bad = middle
    return good


def _half_bracket(here, there, start: float, bounds: np.ndarray) -> float:
    """How far the best turn can lie from the least-squares turn.

    At the optimum no distance exceeds `bounds`, so that its mean square is at most
    theirs; the mean square grows with the turn as rms^2 + 2 C (1 - cos), C the
    correlation of the two patterns.
    """
    lag = there - np.exp(1j * start) * here
    least = float(np.mean(np.abs(lag - np.mean(lag)) ** 2))
    correlation = abs(np.mean((there - np.mean(there)) * np.conj(here - np.mean(here))))
    slack = max(0.0, float(np.mean(bounds**2)) - least)
    if correlation == 0 or slack >= 4 * correlation:
        return math.pi
    return 2 * math.asin(math.sqrt(slack / (4 * correlation))) * (1 + 1e-9) + 1e-12


def _least_squares_turn(here: np.ndarray, there: np.ndarray) -> float:
    if not _turn_shows(here) or not _turn_shows(there):
        return 0.0
    correlation = complex(
        np.sum((there - np.mean(there)) * np.conj(here - np.mean(here)))
    )
    size = float(np.max(np.abs(here)) * np.max(np.abs(there)))
    return (
        math.atan2(correlation.imag, correlation.real)
        if abs(correlation) > 1e-13 * size
        else 0.0
    )


def _turn_shows(points: np.ndarray) -> bool:
    return bool(np.max(np.abs(points - np.mean(points))) > 1e-9)


def _result(here, there, center: complex, turn: float, shift: complex) -> RigidFit:
    left = np.abs(there - np.exp(1j * turn) * here - shift)
    rms, worst = math.sqrt(float(np.mean(left**2))), float(np.max(left))
    return RigidFit(
        shift.real, shift.imag, turn, rms, worst, (center.real, center.imag)
    )


def _pair(measured, nominal) -> tuple[np.ndarray, np.ndarray, complex]:
    """Both patterns about the centroid of the nominal one."""
    here, there = _complex(measured), _complex(nominal)
    if len(here) != len(there):
        raise FitError(
            f"{len(here)} measured points cannot be laid on {len(there)} nominal points"
        )
    center = complex(np.mean(there))
    return here - center, there - center, center


def _complex(points) -> np.ndarray:
    table = np.asarray(points, dtype=float)
    if table.ndim != 2 or table.shape[1] != 2 or len(table) == 0:
        raise FitError(
            f"points must be rows of x and y, at least one, not of shape {table.shape}"
        )
    bad = np.argwhere(~np.isfinite(table))
    if len(bad):
        row, column = bad[0]
        raise FitError(
            f"{'xy'[column]} of point {row + 1} is {table[row, column]}, not a number"
        )
    return table[:, 0] + 1j * table[:, 1]


def _allowances(allowances, count: int) -> np.ndarray:
    values = (
        np.zeros(count) if allowances is None else np.asarray(allowances, dtype=float)
    )
    if values.shape != (count,) or not np.all(np.isfinite(values)):
        raise FitError(
            f"there must be one finite allowance for each of the {count} points"
        )
    return values
