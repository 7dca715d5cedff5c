"""Capability of a whole joint: of all its gaps and flushnesses over the same parts.

A joint is as good as its worst place, so each index is that of the worst, and its
bounds are those of all places together: every place bounded at a level such that all
hold with the one asked (Bonferroni's inequality), the least of the lower ends and the
least of the upper ones. The share of parts with something outside is at least that of
the worst place and at most the sum of all (Boole's inequality), whatever hangs together
with what; in between only an assumption says, and independence is one.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .capability import LEVEL, Capability
from .exact import level_of

HIDDEN = ("_unseen", "_ends", "_floats")  # codes of notes on a share that is None
INDICES = ("cp", "cpk", "pp", "ppk")
Interval = tuple[float, float]


@dataclass(frozen=True)
class Worst:
    """The least index of a joint, at which place, and its bounds with all places; None
    where a place that was told has none."""

    value: float
    place: int
    interval: Interval | None


@dataclass(frozen=True)
class JointCapability:
    """`told` places of `places`, of which `normal` were taken as normal. `worst` of
    these by the name of the index. Shares of parts with something outside: at `least`,
    if places are `independent`, at `most`; the last two only where every share of every
    place is told (`untold` are not, of places that are)."""

    places: int
    told: int
    normal: int
    worst: dict[str, Worst]
    least: float | None = None
    independent: float | None = None
    most: float | None = None
    untold: int = 0


def place_level(places: int, level: float = LEVEL) -> float:
    """The level of each place for all of so many to hold together."""
    return 1 - (1 - level_of(level)) / max(1, places)


def joint_capability(places: Sequence[Capability]) -> JointCapability:
    """Of the places of a joint, each bounded at `place_level` of their number."""
    told = [(at, one) for at, one in enumerate(places) if one.method]
    worst = {}
    for name in INDICES:
        having = [(getattr(one, name), at) for at, one in told]
        having = [(value, at) for value, at in having if value is not None]
        if having:
            value, at = min(having)
            bounds = [getattr(places[k], f"{name}_interval") for _, k in having]
            interval = None
            if None not in bounds:
                interval = tuple(min(ends) for ends in zip(*bounds, strict=True))
            worst[name] = Worst(value, at, interval)
    shares, untold = [], 0
    for _, one in told:
        sides = [share for share in (one.below, one.above) if share is not None]
        shares.append(math.fsum(sides))
        untold += sum(note.code.endswith(HIDDEN) for note in one.notes)
    whole = shares and len(told) == len(places) and not untold
    return JointCapability(
        places=len(places),
        told=len(told),
        normal=sum(one.method == "normal" for _, one in told),
        worst=worst,
        least=max(shares, default=None),
        independent=1 - math.prod(1 - share for share in shares) if whole else None,
        most=min(1.0, math.fsum(shares)) if whole else None,
        untold=untold,
    )
