"""How a rigid part can rest on stacks that changed: on three, through none.

The part is taken to touch every stack that is there now. With stacks changed by c_j it
rests where it touches three that are not in a line and lies above no other stack's
top: a facet of the upper convex hull of the points (q_j, c_j). With three points there
is one such plane and it is exact. With more there may be several, and which of them the
part takes depends on where it is pressed: each is a way in which it can settle.
Which ways there are is decided in whole nanometers, without rounding.
"""

import itertools
import math
from collections.abc import Sequence

Triple = tuple[int, int, int]
SLIMMEST = 1e-4  # height of a triangle of contacts to its length; less is a line
LEAST_MM = 1e-3


def triples(places_mm: Sequence[tuple[float, float]]) -> tuple[Triple, ...]:
    """All threes of places (x, y) in mm that hold a plane: not in a line."""
    stable = []
    for three in itertools.combinations(range(len(places_mm)), 3):
        a, b, c = (places_mm[k] for k in three)
        longest = max(math.dist(a, b), math.dist(b, c), math.dist(c, a))
        area = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
        if longest and abs(area) / longest >= max(LEAST_MM, SLIMMEST * longest):
            stable.append(three)
    return tuple(stable)


def rests(
    places_nm: Sequence[tuple[int, int]],
    changes_nm: Sequence[int],
    threes: Sequence[Triple],
) -> tuple[Triple, ...]:
    """The threes on which the part can rest, all in whole nanometers: those whose plane
    passes below the top of no other stack."""
    return tuple(three for three in threes if _holds(places_nm, changes_nm, three))


def _holds(places, changes, three: Triple) -> bool:
    corners = [places[k] for k in three]
    whole = _area(*corners)
    sign = 1 if whole > 0 else -1
    for point, change in enumerate(changes):
        if point in three:
            continue
        over = -whole * change
        for k, corner in enumerate(three):
            others = list(corners)
            others[k] = places[point]
            over += _area(*others) * changes[corner]
        if over * sign < 0:
            return False
    return True


def _area(a, b, c) -> int:
    """Twice the area of a triangle, positive counterclockwise."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])


def extremes(places_nm: Sequence[tuple[int, int]]) -> set[int]:
    """The points at the corners of the footprint: a part rests on each of them in some
    way, however low its stack is."""
    order = sorted(range(len(places_nm)), key=lambda k: places_nm[k])
    hull: set[int] = set()
    for walk in (order, order[::-1]):
        chain: list[int] = []
        for k in walk:
            while (
                len(chain) > 1 and _area(*(places_nm[n] for n in (*chain[-2:], k))) <= 0
            ):
                chain.pop()
            chain.append(k)
        hull |= set(chain)
    return hull
