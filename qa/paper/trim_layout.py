"""Where the strips of a trim template go: what is to be cut, strips, pages, bars.

The edge is drawn in its true shape (geometry/edge_curve.py) where something is cut, in
pieces: it breaks at corners, and where a piece would not fit the page. Each piece lies
with its ends level. A line is drawn where it stands clear of the others.
Lengths in mm from the lower left corner of a landscape page.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from qa.numeric.geometry.edge_curve import Course
from qa.queries.plans.edge_templates import TrimTemplate
from shop.numeric.paper_sizes import MM, paper_named

MARGIN = 12.0  # mm
OVERLAP = 15.0  # mm, on both sides of a joint between strips
FOOT = 27.0  # mm: bars, title line, code
OUTSIDE = 19.0  # mm of strip for words on the side of the edge that stays paper
BODY = 9.0  # mm of strip beyond the deepest cut
BETWEEN = 6.0  # mm between strips
BAR = 100.0  # mm
CUT = 0.005  # mm; less is no cut
RUN_OUT = 20.0  # mm of edge on either side of a stretch that is cut
STEP = 1.0  # mm between points of a curve: 0.002 mm off at a radius of 60
SHORTEST = 40.0  # mm of a piece of a bent edge; what is bent more fits no page


@dataclass(frozen=True)
class Strip:
    """A piece of the edge: `start` to `end` mm with its overlaps, drawn on `page` (from
    1) with the edge at `start` in (`x`, `y`) mm from the page's lower left, the course
    turned by `angle`."""

    number: int
    start: float
    end: float
    page: int
    x: float
    y: float
    angle: float = 0.0

    def at(self, course: Course, s: float, left: float = 0.0):
        """(x, y, heading) on the page, `left` mm to the left of the edge at s mm."""
        x0, y0, _ = course.at(self.start)
        x, y, heading = course.at(s, after=s < self.end - 1e-6)
        x, y = x - left * math.sin(heading) - x0, y + left * math.cos(heading) - y0
        sine, cosine = math.sin(self.angle), math.cos(self.angle)
        return (
            self.x + cosine * x - sine * y,
            self.y + sine * x + cosine * y,
            heading + self.angle,
        )


@dataclass(frozen=True)
class Arrangement:
    """Where everything is: landscape page in mm, strips, joints between strips (mm
    along the edge, those at corners apart), and the lower left ends of the two bars."""

    width: float
    height: float
    pages: int
    strips: tuple[Strip, ...]
    joints: tuple[float, ...]
    corners: tuple[float, ...]
    bar: tuple[float, float]
    bar_up: tuple[float, float]


def arrange(template: TrimTemplate, paper: str = "a4") -> Arrangement:
    """Cut the edge into strips and place them. ValueError says what cannot be."""
    _check(template)
    sheet = paper_named(paper)
    width, height = sheet.height / MM, sheet.width / MM
    usable = width - 2 * MARGIN - 10.0  # the upright bar stands at the right
    tall = height - 2 * MARGIN - FOOT
    ends = [0.0, *template.course.corners, template.length]
    spans, joints = [], []
    for start, end in zip(ends, ends[1:], strict=False):
        for first, last in _stretches(template, start, end):
            cuts = _cut(template, first, last, usable, tall)
            joints += cuts[1:-1]
            spans += [
                (max(first, low - OVERLAP), min(last, high + OVERLAP))
                for low, high in zip(cuts, cuts[1:], strict=False)
            ]
    if not spans:
        raise ValueError("nothing is to be cut: there is no template to draw")
    strips = _placed(template, spans, height)
    return Arrangement(
        width,
        height,
        strips[-1].page,
        strips,
        tuple(joints),
        template.course.corners,
        (MARGIN, MARGIN + 18.0),
        (width - MARGIN - 2.0, (height - BAR) / 2 + 8.0),
    )


def _stretches(template, start: float, end: float) -> list[tuple[float, float]]:
    """Where one side of the edge is cut, with a bit of it on either side; those that
    come close are one. All of it where a template is not `only` of what is cut."""
    if not template.only:
        return [(start, end)]
    stretches: list[tuple[float, float]] = []
    pairs = _whole(template, template.only)
    for (a, depth), (b, next_depth) in zip(pairs, pairs[1:], strict=False):
        if (
            max(depth, next_depth) <= CUT
            or b <= start + 1e-6
            or a >= end - 1e-6
            or a == b
        ):
            continue
        low, high = max(start, a - RUN_OUT), min(end, b + RUN_OUT)
        if stretches and low <= stretches[-1][1] + RUN_OUT:
            low = stretches.pop()[0]
        stretches.append((low, high))
    return stretches


def _cut(template, start, end, usable: float, tall: float) -> list[float]:
    """Where one side of the edge, between corners, is cut into equal pieces that fit
    the page with their overlaps."""
    length = end - start
    count = _strips_needed(length, usable)
    while True:
        cuts = [start + length * k / count for k in range(count + 1)]
        spans = [
            (max(start, low - OVERLAP), min(end, high + OVERLAP))
            for low, high in zip(cuts, cuts[1:], strict=False)
        ]
        boxes = [_box(template, *span) for span in spans]
        if all(wide <= usable and high <= tall for *_, wide, high in boxes):
            return cuts
        count += 1
        if length / count < min(SHORTEST, length):
            raise ValueError("the edge bends so much that no piece of it fits a page")


def _box(template, start: float, end: float):
    """(angle that levels a piece, left, top, width, height) of it with its borders, the
    edge at `start` in the origin."""
    course = template.course
    x0, y0, _ = course.at(start)
    x1, y1, _ = course.at(end, after=False)
    angle = -math.atan2(y1 - y0, x1 - x0)
    strip = Strip(0, start, end, 0, 0.0, 0.0, angle)
    inner, outer = template.deepest + BODY, -OUTSIDE
    if not template.body_on_left:
        inner, outer = -inner, -outer
    spots = [
        strip.at(course, s, left)[:2]
        for s in course.marks(start, end, 4 * STEP)
        for left in (inner, 0.0, outer)
    ]
    xs, ys = zip(*spots, strict=True)
    return angle, min(xs), max(ys), max(xs) - min(xs), max(ys) - min(ys)


def _placed(template, spans, height: float) -> tuple[Strip, ...]:
    """Strips under one another, on the next page where they no longer fit."""
    strips, page, top = [], 1, height - MARGIN
    for number, (start, end) in enumerate(spans, 1):
        angle, left, high, _, tall = _box(template, start, end)
        if top - tall < MARGIN + FOOT - 1e-6 and top < height - MARGIN:
            page, top = page + 1, height - MARGIN
        place = (MARGIN - left, top - high)
        strips.append(Strip(number, start, end, page, *place, angle))
        top -= tall + BETWEEN
    return tuple(strips)


def _strips_needed(length: float, usable: float) -> int:
    """Equal strips that overlap their neighbors: the outer two have one neighbor each,
    those between have two."""
    if length <= usable:
        return 1
    if length / 2 + OVERLAP <= usable:
        return 2
    return max(3, math.ceil(length / (usable - 2 * OVERLAP)))


def _check(template: TrimTemplate) -> None:
    if len(template.points) < 2:
        raise ValueError("a trim template needs at least 2 stations")
    if not template.length > 0:
        raise ValueError("a trim template needs an edge with a length")
    if abs(template.course.length - template.length) > 1e-3:
        raise ValueError("the shape of the edge and its length do not agree")
    s = [point.s for point in template.points]
    if s != sorted(s) or s[0] < 0 or s[-1] > template.length + 1e-6:
        raise ValueError("stations must come in order along the edge")
    for point in template.points:
        if point.complaint:
            raise ValueError(f"station {point.label}: {point.complaint}")


def depths(
    template: TrimTemplate, which: str, start: float, end: float
) -> list[tuple[float, float]]:
    """(s, depth) of the cut line between two distances, straight between stations.

    `which` is "trim" or "bite". Beyond the ends of an open edge the line stays level;
    on a closed one it runs on to the first station.
    """
    pairs = _whole(template, which)
    inside = [pair for pair in pairs if start <= pair[0] <= end]
    return [(start, _at(pairs, start)), *inside, (end, _at(pairs, end))]


def _whole(template: TrimTemplate, which: str) -> list[tuple[float, float]]:
    """(s, depth) at the stations and to both ends of the edge."""
    pairs = [(point.s, getattr(point, which)) for point in template.points]
    if not template.closed:
        return [(0.0, pairs[0][1]), *pairs, (template.length, pairs[-1][1])]
    first, last = pairs[0], pairs[-1]
    return [
        (last[0] - template.length, last[1]),
        *pairs,
        (first[0] + template.length, first[1]),
    ]


def lines(template: TrimTemplate, strip: Strip):
    """("trim" or "bite", [(s, depth)]) of each line to draw along a strip.

    None stands less than `line_from` mm beside another: the bite is drawn where it is
    as deep, the full trim where it is as much deeper again. Alone it is not drawn:
    nobody shall cut to it.
    """
    bite, trim = (cut_line(template, strip, which) for which in ("bite", "trim"))
    least = template.line_from
    clear = [
        min(deep, full - deep) if full - deep > CUT or not least else -1.0
        for (_, deep), (_, full) in zip(bite, trim, strict=True)
    ]
    drawn = [("bite", piece) for piece in _where(bite, [d for _, d in bite], least)]
    return drawn + [("trim", piece) for piece in _where(trim, clear, least)]


def _where(line, values, least: float) -> list[list[tuple[float, float]]]:
    """The pieces of a line where the values beside it are `least` or more."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for k, (here, value) in enumerate(zip(line, values, strict=True)):
        if k and (values[k - 1] >= least) != (value >= least):
            share = (least - values[k - 1]) / (value - values[k - 1])
            crossing = tuple(
                a + (b - a) * share for a, b in zip(line[k - 1], here, strict=True)
            )
            pieces[-1].append(crossing)
            if value < least:
                pieces.append([])
        if value >= least:
            pieces[-1].append(here)
    return [piece for piece in pieces if len(piece) > 1]


def cut_line(template: TrimTemplate, strip: Strip, which: str):
    """(s, depth) along a strip, close enough together to show how the edge runs."""
    line = depths(template, which, strip.start, strip.end)
    marks = template.course.marks(strip.start, strip.end, STEP)
    known = {s for s, _ in line}
    more = [(s, _at(line, s)) for s in marks if s not in known]
    whole = sorted([*line, *more], key=lambda pair: pair[0])
    # On a corner two stations may stand: each piece has the depth of its own side.
    first = max(k for k, (s, _) in enumerate(whole) if s <= strip.start)
    last = min(k for k, (s, _) in enumerate(whole) if s >= strip.end)
    return whole[first : last + 1]


def _at(pairs: Sequence[tuple[float, float]], s: float) -> float:
    for (a, low), (b, high) in zip(pairs, pairs[1:], strict=False):
        if a <= s <= b and b > a:
            return low + (high - low) * (s - a) / (b - a)
    return pairs[-1][1] if s > pairs[-1][0] else pairs[0][1]
