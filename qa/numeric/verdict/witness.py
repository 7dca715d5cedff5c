"""Witness stations: few stations, well spread, that speak for those not measured again.

Positions are mm along a seam. Well spread means that no stretch of the seam longer than
half of it is without a witness; on an open seam the stretches to its ends count too.
Three witnesses pin a rigid part (common practice, no source).
"""

from collections.abc import Sequence

from shop.numeric.finite import finite

FEWEST = 3
HALF = 0.5 + 1e-9


def longest_stretch(places: Sequence[float], length: float, closed: bool) -> float:
    """The longest stretch of seam, mm, between witnesses at `places` in any order."""
    finite(places=list(places), length=length)
    at = sorted(places)
    if not at:
        return length
    between = [b - a for a, b in zip(at, at[1:], strict=False)]
    ends = [length - at[-1] + at[0]] if closed else [at[0], length - at[-1]]
    return max(between + ends)


def well_spread(places: Sequence[float], length: float, closed: bool) -> bool:
    """Whether at least three witnesses stand so that they can speak for the seam."""
    finite(places=list(places), length=length)
    enough = len(set(places)) >= FEWEST
    return enough and longest_stretch(places, length, closed) <= HALF * length


def choose(places: Sequence[float], length: float, closed: bool) -> tuple[int, ...]:
    """Numbers of the three best spread of the places, in order along the seam.

    Each place is tried as the first, with those nearest to thirds of the seam from it;
    of equal choices the earliest. () when fewer than three are there.
    """
    finite(places=list(places), length=length)
    if len(set(places)) < FEWEST:
        return ()
    best, witnesses = float("inf"), ()
    for first, start in enumerate(places):
        if closed:
            wanted = [(start + k * length / 3) % length for k in (1, 2)]
        else:
            wanted = [length / 2, length - start]
        chosen = {first}
        for target in wanted:
            left = [k for k in range(len(places)) if k not in chosen]
            chosen.add(
                min(left, key=lambda k: (_apart(places[k], target, length, closed), k))
            )
        stretch = longest_stretch([places[k] for k in chosen], length, closed)
        if stretch < best - 1e-9:
            best, witnesses = stretch, tuple(sorted(chosen, key=lambda k: places[k]))
    return witnesses


def _apart(place: float, other: float, length: float, closed: bool) -> float:
    away = abs(place - other)
    return min(away, length - away) if closed else away
