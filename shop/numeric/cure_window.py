"""A recorded cure against the window of its recipe.

Every sensor is judged for as long as it speaks. The worst sensor governs what must not
be exceeded, the lagging one a dwell. A requirement is met only where everything that it
asks about was seen; it is not met as soon as what was seen breaks it, whatever else was
not; else nothing can be said. More silence never makes a requirement met.

The dwell is found twice: *surely*, where every sensor was heard at the temperature, and
*possibly*, where none was heard below it. Where the two differ, nobody knows when the
dwell began and ended, and what hangs on that is open unless it is broken either way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from shop.numeric.trace import Span


class WindowError(ValueError):
    """A window that cannot be; the message says which value and why."""


@dataclass(frozen=True)
class Window:
    """What a recipe asks of a cure. Anything left None is not asked.

    The dwell is the longest unbroken time with every sensor at `dwell_least_c` or above
    (the lagging sensor governs). Rates are K per minute over `rate_minutes`; vacuum is
    kPa below ambient, asked from the start until, after the dwell, every sensor is at
    `vacuum_until_c` or below (to the end when None). A sensor may be silent for
    `silence_minutes` between two readings; what a longer silence, or one in which the
    sensor said that it could not read, leaves unseen is open. WindowError for a value
    that is no number.
    """

    dwell_least_c: float
    dwell_least_minutes: float
    dwell_most_c: float | None = None
    dwell_most_minutes: float | None = None
    heating_most: float | None = None
    heating_least: float | None = None
    peak_most_c: float | None = None
    cooling_most: float | None = None
    end_most_c: float | None = None
    vacuum_least_kpa: float | None = None
    vacuum_until_c: float | None = None
    rate_minutes: float = 5.0
    silence_minutes: float = 15.0
    source: str = ""

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if isinstance(value, int | float) and not math.isfinite(value):
                raise WindowError(f"{name} must be a number, not {value}")
        if not (self.rate_minutes > 0 and self.silence_minutes > 0):
            raise WindowError("rate_minutes and silence_minutes must be more than 0")


class Outcome(StrEnum):
    """What can be said of one requirement."""

    MET = "met"
    NOT_MET = "not_met"
    OPEN = "open"


class Why(NamedTuple):
    """Why a requirement is open or was not met: a code and its values (the name of a
    sensor, minutes). The words are in shop/wording/cures.py."""

    code: str
    values: dict = {}


@dataclass(frozen=True)
class Requirement:
    """One requirement judged: `value` in `unit` (None: no value), where and why.

    name: dwell, dwell_ceiling, heating, heating_least, peak, cooling, end or vacuum;
    asked: its numbers ("least", "most" in `unit`; "at" and "until" degC).
    """

    name: str
    asked: dict
    outcome: Outcome
    value: float | None
    unit: str
    sensor: str | None = None
    minute: float | None = None
    why: Why | None = None


@dataclass(frozen=True)
class CureCheck:
    """Every requirement of a window, the dwell found, and the verdict over all."""

    requirements: tuple[Requirement, ...]
    dwell: Span | None
    lagging: str | None

    @property
    def outcome(self) -> Outcome:
        """Not met if any is not met, else open if any is, else met."""
        outcomes = {requirement.outcome for requirement in self.requirements}
        for outcome in (Outcome.NOT_MET, Outcome.OPEN):
            if outcome in outcomes:
                return outcome
        return Outcome.MET
