"""Where the strips of a trim template go: what is to be cut, strips, pages, bars.

Lengths in mm from the lower left corner of a landscape page.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil

from shop.paper.page import MM, paper_named

MARGIN = 12.0  # mm
OVERLAP = 15.0  # mm, on both sides of a joint between strips
FOOT = 27.0  # mm: bars, title line, code
OUTSIDE = 19.0  # mm of strip for words on the side of the edge that stays paper
BODY = 9.0  # mm of strip beyond the deepest cut
BETWEEN = 6.0  # mm between strips
DEEPEST = 60.0  # mm; a deeper cut is not a trim and does not fit a strip
BAR = 100.0  # mm


@dataclass(frozen=True)
class TrimPoint:
    """A station on the edge: `s` mm along the present edge, depths in mm from it."""

    s: float
    label: str
    trim: float
    bite: float


@dataclass(frozen=True)
class TrimTemplate:
    """One edge of one side. `length` mm of edge; on a closed seam the last point runs
    on to the first. `body_on_left`: the material to be cut lies to the left when
    walking the stations in order, seen from outside. `side`: "part" or "surround".
    """

    shop: str
    number: str
    joint_number: str
    joint_name: str
    part: str
    side: str
    points: tuple[TrimPoint, ...]
    length: float
    closed: bool
    body_on_left: bool
    issued_at: datetime
    issued_text: str = ""
    release: str = ""
    url: str = ""
    digest: str = ""
    banner: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Strip:
    """A piece of the edge: `start` to `end` mm with its overlaps, drawn on `page` (from
    1) with `start` at `x` and the edge line at `y`, mm from the page's lower left."""

    number: int
    start: float
    end: float
    page: int
    x: float
    y: float


@dataclass(frozen=True)
class Plan:
    """Where everything is: landscape page in mm, strips, joints between strips, and the
    lower left ends of the two bars."""

    width: float
    height: float
    pages: int
    strips: tuple[Strip, ...]
    joints: tuple[float, ...]
    bar: tuple[float, float]
    bar_up: tuple[float, float]


def arrange(template: TrimTemplate, paper: str = "a4") -> Plan:
    """Cut the edge into strips and place them. ValueError says what cannot be."""
    _check(template)
    sheet = paper_named(paper)
    width, height = sheet.height / MM, sheet.width / MM
    usable = width - 2 * MARGIN - 10.0  # the upright bar stands at the right
    count = _strips_needed(template.length, usable)
    pitch = template.length / count
    deepest = max(point.trim for point in template.points)
    tall = OUTSIDE + deepest + BODY
    rows = int((height - 2 * MARGIN - FOOT + BETWEEN) // (tall + BETWEEN))
    strips = []
    for i in range(count):
        start = max(0.0, i * pitch - OVERLAP)
        end = min(template.length, (i + 1) * pitch + OVERLAP)
        top = height - MARGIN - (i % rows) * (tall + BETWEEN)
        y = top - (deepest + BODY if template.body_on_left else OUTSIDE)
        strips.append(Strip(i + 1, start, end, i // rows + 1, MARGIN, y))
    return Plan(
        width,
        height,
        ceil(count / rows),
        tuple(strips),
        tuple(i * pitch for i in range(1, count)),
        (MARGIN, MARGIN + 18.0),
        (width - MARGIN - 2.0, (height - BAR) / 2 + 8.0),
    )


def _strips_needed(length: float, usable: float) -> int:
    """Equal strips that overlap their neighbors: the outer two have one neighbor each,
    those between have two."""
    if length <= usable:
        return 1
    if length / 2 + OVERLAP <= usable:
        return 2
    return max(3, ceil(length / (usable - 2 * OVERLAP)))


def _check(template: TrimTemplate) -> None:
    if len(template.points) < 2:
        raise ValueError("a trim template needs at least 2 stations")
    if not template.length > 0:
        raise ValueError("a trim template needs an edge with a length")
    s = [point.s for point in template.points]
    if s != sorted(s) or s[0] < 0 or s[-1] > template.length + 1e-6:
        raise ValueError("stations must come in order along the edge")
    for point in template.points:
        if not 0 <= point.bite <= point.trim + 1e-9:
            raise ValueError(f"station {point.label}: the bite is more than the trim")
        if point.trim > DEEPEST:
            raise ValueError(f"station {point.label}: {point.trim:g} mm is no trim")


def depths(
    template: TrimTemplate, which: str, start: float, end: float
) -> list[tuple[float, float]]:
    """(s, depth) of the cut line between two distances, straight between stations.

    `which` is "trim" or "bite". Beyond the ends of an open edge the line stays level;
    on a closed one it runs on to the first station.
    """
    pairs = [(point.s, getattr(point, which)) for point in template.points]
    if template.closed:
        first, last = pairs[0], pairs[-1]
        pairs = [
            (last[0] - template.length, last[1]),
            *pairs,
            (first[0] + template.length, first[1]),
        ]
    else:
        pairs = [(0.0, pairs[0][1]), *pairs, (template.length, pairs[-1][1])]
    inside = [pair for pair in pairs if start <= pair[0] <= end]
    return [(start, _at(pairs, start)), *inside, (end, _at(pairs, end))]


def _at(pairs: Sequence[tuple[float, float]], s: float) -> float:
    for (a, low), (b, high) in zip(pairs, pairs[1:], strict=False):
        if a <= s <= b and b > a:
            return low + (high - low) * (s - a) / (b - a)
    return pairs[-1][1] if s > pairs[-1][0] else pairs[0][1]
