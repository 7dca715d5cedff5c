"""Weight and center of gravity: weighed, estimated and missing kept apart.

Any one unit of mass and any one of length. Arms are positive aft of the datum. Formulas
of the FAA-H-8083-1 series (stored pages that reproduce its examples were read).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Basis = Literal["weighed", "estimated", "missing"]
BASES: tuple[Basis, ...] = ("weighed", "estimated", "missing")


class BalanceError(ValueError):
    """A value that cannot be; the message says which and why."""


@dataclass(frozen=True)
class Item:
    """Something with a mass at an arm; `mass` None only when missing.

    `tare` (chocks, jack, jig) is subtracted from a scale reading. A removed item has a
    negative mass.
    """

    label: str
    mass: float | None
    arm: float
    basis: Basis = "weighed"
    tare: float = 0.0

    def __post_init__(self) -> None:
        if self.basis not in BASES:
            raise BalanceError(f"{self.label}: {self.basis!r} is not one of {BASES}")
        if (self.mass is None) != (self.basis == "missing"):
            raise BalanceError(f"{self.label}: a mass is missing, or it is there")
        for name, value in (("mass", self.mass or 0.0), ("arm", self.arm)):
            if not math.isfinite(value):
                raise BalanceError(f"{self.label}: {name} must be a number")
        if not (math.isfinite(self.tare) and self.tare >= 0):
            raise BalanceError(f"{self.label}: tare must be 0 or more")

    @property
    def net(self) -> float:
        return 0.0 if self.mass is None else self.mass - self.tare


@dataclass(frozen=True)
class RollUp:
    """Sums over items. `arm` is the center of gravity of what has a mass, None if none.

    `missing` names the items that no mass is known of: while there are any, total and
    center of gravity are of the rest only.
    """

    mass: float
    moment: float
    weighed: float
    estimated: float
    missing: tuple[str, ...]

    @property
    def arm(self) -> float | None:
        return self.moment / self.mass if self.mass else None

    @property
    def complete(self) -> bool:
        return not self.missing


@dataclass(frozen=True)
class Residual:
    """What a weighed assembly has more than its items: resin, fasteners, paint.

    `arm` is None where the residual mass is 0.
    """

    mass: float
    moment: float

    @property
    def arm(self) -> float | None:
        return self.moment / self.mass if self.mass else None


def roll_up(items: Iterable[Item]) -> RollUp:
    """Mass, moment and center of gravity, CG = sum(W arm) / sum(W)."""
    items = tuple(items)
    by_basis = {
        basis: math.fsum(item.net for item in items if item.basis == basis)
        for basis in BASES
    }
    return RollUp(
        mass=math.fsum(item.net for item in items),
        moment=math.fsum(item.net * item.arm for item in items),
        weighed=by_basis["weighed"],
        estimated=by_basis["estimated"],
        missing=tuple(item.label for item in items if item.basis == "missing"),
    )


def residual(total: RollUp, mass: float, arm: float) -> Residual:
    """The line that makes the items add up to the weighed assembly.

    With missing items it holds them too.
    """
    if not (math.isfinite(mass) and mass > 0 and math.isfinite(arm)):
        raise BalanceError("the weighed mass must be more than 0, its arm a number")
    return Residual(mass - total.mass, mass * arm - total.moment)


def shift(mass: float, moved_by: float, total_mass: float) -> float:
    """How far the center of gravity moves when `mass` is moved: w d / W."""
    if not (math.isfinite(total_mass) and total_mass > 0):
        raise BalanceError(f"the total mass must be more than 0, not {total_mass}")
    if not (math.isfinite(mass) and math.isfinite(moved_by)):
        raise BalanceError(f"mass and distance must be numbers: {mass}, {moved_by}")
    return mass * moved_by / total_mass
