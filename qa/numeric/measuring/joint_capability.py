"""Capability of a whole joint: of all its gaps and flushnesses over the same parts.

A joint is as good as its worst place, so each index is that of the worst, and its
bounds are those of all places together: every place bounded at a level such that all
hold with the one asked (Bonferroni's inequality), the least of the lower ends and the
least of the upper ones. The share of parts with something outside is at least that of
the worst place and at most the sum of all (Boole's inequality), whatever hangs together
with what; in between only an assumption says, and independence is one. Where more
values lie outside than a curve has there, a place counts with as many as were seen.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .capability import Capability
from .exact import LEVEL, level_of

INDICES = ("cp", "cpk", "pp", "ppk")
TINY = 1e-300  # a share that is more than nothing, and less than can be reckoned
OF_WIDTH = ("cp", "pp")  # which a place with one limit has not
Interval = tuple[float, float]


@dataclass(frozen=True)
class Worst:
    """The least index of a joint, at which place, and its bounds with all places; None
    where a place has none, or was not told."""

    value: float
    place: int
    interval: Interval | None


@dataclass(frozen=True)
class Outside:
    """The share of a place outside its limits: what can be told of it, of which
    `seen` sides count as many as were seen there; `unseen` sides are not in it, of
    which less than `most` may lie there, with 95 % each."""

    share: float
    seen: int = 0
    unseen: int = 0
    most: float | None = None

    @property
    def whole(self) -> bool:
        return not (self.seen or self.unseen)


@dataclass(frozen=True)
class JointCapability:
    """`told` places of `places`, of which `normal` were taken as normal. `worst` of
    these by the name of the index. Shares of parts with something outside: at `least`,
    if places are `independent`, at `most`; the last two only where every share of every
    place is told. Sides of places that are told: `unseen` ones that may be less than
    can be told, `seen` ones that count as many as were seen."""

    places: int
    estimated: int
    normal: int
    worst: dict[str, Worst]
    least: float | None = None
    independent: float | None = None
    most: float | None = None
    seen: int = 0
    unseen: int = 0


def place_level(places: int, level: float = LEVEL) -> float:
    """The level of each place for all of so many to hold together."""
    return 1 - (1 - level_of(level)) / max(1, places)


def joint_capability(places: Sequence[Capability]) -> JointCapability:
    """Of the places of a joint, each bounded at `place_level` of their number."""
    judged = [(at, place) for at, place in enumerate(places) if place.method]
    worst = {}
    for name in INDICES:
        having = [(getattr(place, name), at) for at, place in judged]
        having = [(value, at) for value, at in having if value is not None]
        if having:
            value, at = min(having)
            worst[name] = Worst(value, at, _bounds(places, name))
    out = [outside(place) for _, place in judged]
    shares = [beyond.share for beyond in out]
    whole = out and len(judged) == len(places) and all(beyond.whole for beyond in out)
    return JointCapability(
        places=len(places),
        estimated=len(judged),
        normal=sum(place.method == "normal" for _, place in judged),
        worst=worst,
        least=max(shares, default=None),
        independent=_either(shares) if whole else None,
        most=min(1.0, math.fsum(shares)) if whole else None,
        seen=sum(beyond.seen for beyond in out),
        unseen=sum(beyond.unseen for beyond in out),
    )


def outside(place: Capability) -> Outside:
    """The share of a place that is told, by its shares and the notes on them."""
    shares = [share for share in (place.below, place.above) if share is not None]
    seen, unseen, most = 0, 0, None
    for note in place.notes:
        if note.code.endswith("_floats"):
            shares.append(TINY)
        elif note.code.endswith("_ends"):
            shares.append(note.values["seen"] / note.values["n"])
            seen += 1
        elif note.code.endswith("_unseen"):
            unseen, most = unseen + 1, note.values["most"]
    return Outside(min(1.0, math.fsum(shares)), seen, unseen, most)


def _bounds(places: Sequence[Capability], name: str) -> Interval | None:
    """Of the least index of all places; None where one of them has no bounds. A place
    with one limit has no index of a width, and is left out of it."""
    ends = []
    for place in places:
        if name in OF_WIDTH and place.method and place.pp is None:
            continue
        ends.append(getattr(place, f"{name}_interval"))
    if None in ends:
        return None
    return tuple(min(each) for each in zip(*ends, strict=True))


def _either(shares: Sequence[float]) -> float:
    """The share of what is outside at one place at least, if each goes by itself."""
    if 1.0 in shares:
        return 1.0
    return -math.expm1(math.fsum(math.log1p(-share) for share in shares))
