"""Cure: pot life and age at room temperature, bag leaks. Traces: cure_window.py.

Temperatures degC, times minutes unless said. The rule of ten (twice as fast for every
10 K) is a room-temperature rule: it is refused outside 5 to 45 degC, and says nothing
of an oven cycle. No cure kinetics: none published holds for a room-temperature lay-up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ROOM_C = (5.0, 45.0)
BAG_MINUTES = 5


class CureError(ValueError):
    """A value that cannot be; the message says which and why."""


def pot_life(minutes: float, at_c: float, wanted_c: float) -> float:
    """Pot life at another room temperature, halved for every 10 K warmer.

    "For every 18 F below 77 F the pot life will double" (a supplier's text, read).
    """
    _positive(minutes=minutes)
    _room(at_c)
    _room(wanted_c)
    return minutes * 2 ** ((at_c - wanted_c) / 10)


def equivalent_age(periods, reference_c: float = 23.0) -> float:
    """Hours: sum of dt 2^((T - Tref) / 10) over (hours, degC) periods at room
    temperature.

    Raises CureError for a period outside 5 to 45 degC, with which one.
    """
    _room(reference_c)
    equivalent = []
    for number, (hours, celsius) in enumerate(periods, start=1):
        if not (math.isfinite(hours) and hours >= 0):
            raise CureError(f"period {number}: hours must be 0 or more, not {hours}")
        _room(celsius, f"period {number}: ")
        equivalent.append(hours * 2 ** ((celsius - reference_c) / 10))
    return math.fsum(equivalent)


@dataclass(frozen=True)
class BagDrop:
    """A vacuum drop test: what was lost and what may be, in kPa."""

    lost_kpa: float
    allowed_kpa: float

    @property
    def holds(self) -> bool:
        return self.lost_kpa <= self.allowed_kpa + 1e-9


def bag_drop(start_kpa: float, end_kpa: float, share: float = 0.10) -> BagDrop:
    """Vacuum lost with the pump off against the share of it that may be lost.

    Vacuum is below ambient, positive. At most 10 % in 5 minutes (BAG_MINUTES): a
    supplier's processing guide (text read). Exact for whole pascals.
    """
    _positive(start_kpa=start_kpa)
    if not (math.isfinite(end_kpa) and 0 <= share < 1):
        raise CureError("the vacuum at the end and the share must be numbers")
    return BagDrop(start_kpa - end_kpa, start_kpa * share)


def _room(celsius: float, where: str = "") -> None:
    if not (math.isfinite(celsius) and ROOM_C[0] <= celsius <= ROOM_C[1]):
        raise CureError(
            f"{where}{celsius:g} degC is not room temperature: the rule of ten holds "
            f"from {ROOM_C[0]:g} to {ROOM_C[1]:g} degC only"
        )


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise CureError(f"{name} must be more than 0, not {value}")
