"""Holes: position against a zone, edge distance and pitch, and two patterns together.

Lengths are mm. Whether a hole conforms is decided in whole nanometers, so that a hole
exactly on its zone conforms. Position is 2 sqrt(dx^2 + dy^2) against a diametral zone,
with a maximum-material bonus that never exceeds the size tolerance (ASME Y14.5). The
size should be that of the actual mating envelope: a leaning hole earns less bonus than
a two-point size suggests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from qa.numeric.holes import rigid_fit
from qa.numeric.holes.rigid_fit import RigidFit
from qa.numeric.verdict.acceptance import nearest_nm
from shop.numeric.finite import finite
from shop.numeric.units import to_mm, to_nm


class HoleError(ValueError):
    """A hole that cannot be judged; `row` counts from 0 and `field` names the value."""

    def __init__(self, text: str, row: int | None = None, field: str | None = None):
        super().__init__(text)
        self.row = row
        self.field = field


@dataclass(frozen=True)
class Hole:
    """One hole: nominal and measured center, zone diameter and, where known, sizes.

    `hole_mm` is the measured diameter, `mmc_mm` the smallest and `hole_max_mm` the
    largest allowed; `edge_mm` is from the measured center to the edge of the part,
    `fastener_mm` the fastener's diameter.
    """

    label: str
    nominal: tuple[float, float]
    measured: tuple[float, float]
    zone_mm: float
    hole_mm: float | None = None
    mmc_mm: float | None = None
    hole_max_mm: float | None = None
    edge_mm: float | None = None
    fastener_mm: float | None = None


@dataclass(frozen=True)
class HoleVerdict:
    """One hole judged; `size_conforms` is None without size limits or a reading.

    size_unread: its size has limits and was not measured.
    """

    label: str
    position_mm: float
    allowed_mm: float
    position_conforms: bool
    size_conforms: bool | None
    edge_ratio: float | None
    size_unread: bool = False

    @property
    def conforms(self) -> bool | None:
        """Position within what is allowed, and size within its limits; None where what
        was measured is right and the size was not measured."""
        if not self.position_conforms or self.size_conforms is False:
            return False
        return None if self.size_unread else True


@dataclass(frozen=True)
class LeastPitch:
    """Least distance over the larger fastener of a pair, and that pair's labels."""

    ratio: float
    pair: tuple[str, str]


@dataclass(frozen=True)
class HolePlan:
    """A pattern judged: holes in order, both best fits, least pitch (None: no pair)."""

    holes: tuple[HoleVerdict, ...]
    least_squares: RigidFit
    minimax: RigidFit
    pitch: LeastPitch | None

    @property
    def conforms(self) -> bool | None:
        """As of its holes: False where one is, else None where one is."""
        verdicts = {hole.conforms for hole in self.holes}
        return False if False in verdicts else None if None in verdicts else True


def plan_holes(holes) -> HolePlan:
    """Judge a pattern of Hole and fit it: measured is moved onto nominal.

    Raises HoleError with the row of the first hole that cannot be.
    """
    holes = tuple(holes)
    if not holes:
        raise HoleError("there are no holes")
    seen: set[str] = set()
    for row, hole in enumerate(holes):
        _check(hole, row)
        if hole.label in seen:
            raise HoleError(f"hole {hole.label} is there twice", row, "label")
        seen.add(hole.label)
    measured = np.array([hole.measured for hole in holes])
    nominal = np.array([hole.nominal for hole in holes])
    return HolePlan(
        tuple(judge_hole(hole) for hole in holes),
        rigid_fit.least_squares(measured, nominal),
        rigid_fit.minimax(measured, nominal),
        least_pitch(holes),
    )


def position_mm(dx: float, dy: float) -> float:
    """Diametral position error 2 sqrt(dx^2 + dy^2) in mm."""
    finite(dx=dx, dy=dy)
    return 2 * math.hypot(dx, dy)


def material_bonus(actual: float, mmc: float, lmc: float | None) -> float:
    """Departure from maximum material: never negative, never beyond the size tolerance.

    `mmc` is the size at maximum material (smallest hole, largest pin), `lmc` that at
    least material (largest hole, smallest pin), all in one unit. Without `lmc` the size
    is taken as a hole's with no upper limit, and nothing caps the bonus.
    """
    finite(actual=actual, mmc=mmc, lmc=lmc)
    if lmc is None:
        return max(0, actual - mmc)
    away = lmc - mmc
    departure = actual - mmc if away >= 0 else mmc - actual
    return min(max(0, departure), abs(away))


def judge_hole(hole: Hole) -> HoleVerdict:
    """Position with bonus, and size, both in whole nanometers."""
    _check(hole, 0)
    dx = _nm(hole.measured[0]) - _nm(hole.nominal[0])
    dy = _nm(hole.measured[1]) - _nm(hole.nominal[1])
    bonus, size_conforms = 0, None
    if hole.hole_mm is not None:
        actual = _nm(hole.hole_mm)
        low = None if hole.mmc_mm is None else _nm(hole.mmc_mm)
        high = None if hole.hole_max_mm is None else _nm(hole.hole_max_mm)
        if low is not None or high is not None:
            size_conforms = not (
                (low is not None and actual < low)
                or (high is not None and actual > high)
            )
        if low is not None:
            bonus = material_bonus(actual, low, high)
    allowed = _nm(hole.zone_mm) + bonus
    return HoleVerdict(
        label=hole.label,
        position_mm=to_mm(2 * math.hypot(dx, dy)),
        allowed_mm=to_mm(allowed),
        # Squares of whole numbers: on the zone is inside it, without rounding.
        position_conforms=4 * (dx * dx + dy * dy) <= allowed * allowed,
        size_conforms=size_conforms,
        edge_ratio=_ratio(hole.edge_mm, hole.fastener_mm),
        size_unread=hole.hole_mm is None
        and not (hole.mmc_mm is None and hole.hole_max_mm is None),
    )


def least_pitch(holes) -> LeastPitch | None:
    """Least center distance over the larger fastener, where fasteners are known.

    Measured centers; of equal pairs the one that comes first in the list.
    """
    known = [hole for hole in holes if hole.fastener_mm is not None]
    best: LeastPitch | None = None
    for row, hole in enumerate(known):
        _check(hole, row)
    centers = np.array([hole.measured for hole in known])
    sizes = np.array([hole.fastener_mm for hole in known])
    for row in range(len(known) - 1):
        apart = np.hypot(*(centers[row + 1 :] - centers[row]).T)
        ratios = apart / np.maximum(sizes[row + 1 :], sizes[row])
        nearest = int(np.argmin(ratios))
        if best is None or ratios[nearest] < best.ratio:
            pair = (known[row].label, known[row + 1 + nearest].label)
            best = LeastPitch(float(ratios[nearest]), pair)
    return best


@dataclass(frozen=True)
class Mating:
    """Whether two drilled patterns take their fasteners together.

    `mismatch_mm` (n,) and `clearance_mm` (n,) are radial, after `fit` has moved the
    second pattern onto the first; `margin_mm` is the least clearance left, negative
    when a fastener does not go in, and `tightest` the row where.
    """

    accepts: bool
    margin_mm: float
    tightest: int
    mismatch_mm: tuple[float, ...]
    clearance_mm: tuple[float, ...]
    fit: RigidFit


def radial_clearance(
    first_hole_mm: float, second_hole_mm: float, fastener_mm: float
) -> float:
    """How far two hole centers may lie apart for the fastener to pass both: mm.

    Half the play in each hole: (H1 - F) / 2 + (H2 - F) / 2. A hole that holds the
    fastener has H = F. Negative when the fastener does not even go into a hole.
    """
    finite(first_hole_mm=first_hole_mm, second_hole_mm=second_hole_mm)
    finite(fastener_mm=fastener_mm)
    first, second = first_hole_mm - fastener_mm, second_hole_mm - fastener_mm
    if min(first, second) < 0:
        return min(first, second) / 2
    return (first + second) / 2


def patterns_together(first, second, clearances_mm) -> Mating:
    """Lay the second pattern (n, 2) on the first (n, 2); compare with clearances (n,).

    The fit is the one with the least worst mismatch beyond clearance, so that "does not
    accept" means that no position of the part would.
    """
    clearances = np.asarray(clearances_mm, dtype=float)
    fit = rigid_fit.minimax(second, first, clearances)
    mismatch = np.hypot(*(np.asarray(first, dtype=float) - fit.moved(second)).T)
    left = clearances - mismatch
    tightest = int(np.argmin(left))
    accepts = bool(nearest_nm(left[tightest]) >= 0 and np.all(clearances >= 0))
    return Mating(
        accepts,
        float(left[tightest]),
        tightest,
        tuple(map(float, mismatch)),
        tuple(map(float, clearances)),
        fit,
    )


def _check(hole: Hole, row: int) -> None:
    values = {
        "x_mm": hole.nominal[0],
        "y_mm": hole.nominal[1],
        "measured_x_mm": hole.measured[0],
        "measured_y_mm": hole.measured[1],
    }
    for field, value in values.items():
        if not math.isfinite(value):
            raise HoleError(f"{field} must be a number, not {value}", row, field)
    if not (math.isfinite(hole.zone_mm) and hole.zone_mm >= 0):
        text = f"the zone must be 0 or more, not {hole.zone_mm:g}"
        raise HoleError(text, row, "zone_mm")
    for field in ("hole_mm", "mmc_mm", "hole_max_mm", "fastener_mm"):
        value = getattr(hole, field)
        if value is not None and not (math.isfinite(value) and value > 0):
            raise HoleError(f"{field} must be more than 0, not {value:g}", row, field)
    if hole.edge_mm is not None and not (
        math.isfinite(hole.edge_mm) and hole.edge_mm >= 0
    ):
        text = f"edge_mm must be 0 or more, not {hole.edge_mm:g}"
        raise HoleError(text, row, "edge_mm")
    if None not in (hole.mmc_mm, hole.hole_max_mm) and hole.mmc_mm > hole.hole_max_mm:
        text = (
            f"the smallest hole {hole.mmc_mm:g} is above the largest "
            f"{hole.hole_max_mm:g}"
        )
        raise HoleError(text, row, "mmc_mm")


def _nm(mm: float) -> int:
    return to_nm(mm)


def _ratio(length: float | None, diameter: float | None) -> float | None:
    return None if length is None or diameter is None else length / diameter
