"""The trim template: the edge unrolled to a straight line at true size, in strips that
are cut out, joined at their marks and taped along the part.

Distances along the edge run to the right, stations in order, as seen from outside; the
material that is cut lies above or below the edge line accordingly, so that the paper
goes on the outside of the skin without being turned over.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil

from shop.paper import qr, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import BOLD, SEMIBOLD
from shop.paper.page import MM, Paper, paper_named, pdf

DOCUMENT_TYPE = "Trim template, true size"
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
    on to the first. `body_on_left`: the material to be cut lies to the left when walking
    the stations in order, seen from outside. `side` is "part" or "surround".
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
    net = usable - 2 * OVERLAP
    count = max(1, ceil((template.length - 2 * OVERLAP) / net))
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


def render(template: TrimTemplate, paper: str = "a4") -> bytes:
    """PDF bytes, landscape, to be printed at 100 %."""
    plan = arrange(template, paper)
    sheet = paper_named(paper)
    turned = Paper(sheet.name, sheet.height, sheet.width)

    def page(number: int):
        def draw(canvas):
            canvas.setViewerPreference("PrintScaling", "None")
            for strip in plan.strips:
                if strip.page == number:
                    _strip(canvas, template, plan, strip)
            _bars(canvas, plan)
            _foot(canvas, template, plan, number)

        return draw

    return pdf(
        [page(i + 1) for i in range(plan.pages)],
        paper=turned,
        issued_at=template.issued_at,
        title=f"{DOCUMENT_TYPE} {template.number} {template.joint_name}",
        author=template.shop,
        subject=f"{template.part}, side: {template.side}",
    )


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


def _strip(canvas, template: TrimTemplate, plan: Plan, strip: Strip) -> None:
    up = 1.0 if template.body_on_left else -1.0
    left, right = strip.x, strip.x + strip.end - strip.start
    deepest = max(point.trim for point in template.points)
    _cut_out(canvas, strip, up, deepest, left, right)
    for which in ("trim", "bite"):
        line = depths(template, which, strip.start, strip.end)
        pairs = [(left + s - strip.start, strip.y + up * d) for s, d in line]
        if which == "trim":
            _hatch(canvas, pairs, strip.y)
        _polyline(canvas, pairs, 0.5, () if which == "trim" else (2.2, 1.4))
    canvas.setLineWidth(0.9)
    _line(canvas, left, strip.y, right, strip.y)
    _ticks(canvas, template, strip, up)
    _registers(canvas, plan, strip, up, deepest)
    _words(canvas, template, plan, strip, up, deepest)


def _cut_out(canvas, strip, up, deepest, left, right) -> None:
    """A thin dashed frame to cut along."""
    a, b = strip.y - up * OUTSIDE, strip.y + up * (deepest + BODY)
    canvas.setStrokeColor(text.paint(HAIR))
    canvas.setLineWidth(0.3)
    canvas.setDash([2, 2])
    canvas.rect(left * MM, min(a, b) * MM, (right - left) * MM, abs(b - a) * MM)
    canvas.setDash([])
    canvas.setStrokeColor(text.paint(RULE))


def _hatch(canvas, pairs, y: float) -> None:
    """Strokes across what comes off."""
    canvas.saveState()
    path = canvas.beginPath()
    path.moveTo(pairs[0][0] * MM, y * MM)
    for px, py in pairs:
        path.lineTo(px * MM, py * MM)
    path.lineTo(pairs[-1][0] * MM, y * MM)
    path.close()
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setLineWidth(0.25)
    reach = max(abs(py - y) for _, py in pairs)
    x = pairs[0][0] - reach
    while x < pairs[-1][0] + reach:
        _line(canvas, x, y - reach, x + 2 * reach, y + reach)
        x += 2.0
    canvas.restoreState()


def _ticks(canvas, template: TrimTemplate, strip: Strip, up: float) -> None:
    """Station ticks across the edge, their names, and depths where there is room."""
    worded = -99.0
    for point in _run_on(template):
        if not strip.start - 1e-6 <= point.s <= strip.end + 1e-6:
            continue
        x = strip.x + point.s - strip.start
        canvas.setLineWidth(0.35)
        _line(canvas, x, strip.y - up * 5.0, x, strip.y + up * max(point.trim, 2.0))
        size = 8
        room = x - worded
        if room < 4.0:
            continue
        base = strip.y - up * 6.0 - (2.2 if up > 0 else 0.0)
        text.write(
            canvas, x * MM, base * MM, point.label, font=BOLD, size=size, align="center"
        )
        worded = x
        if room >= 15.0 and point.trim > 0:
            step = -2.3 if up > 0 else 2.3
            for k, words in enumerate(
                (f"full {point.trim:.2f}", f"bite {point.bite:.2f}")
            ):
                y = base + step * (k + 1) + (0 if up > 0 else 0.7)
                text.write(canvas, x * MM, y * MM, words, size=5.6, align="center")


def _run_on(template: TrimTemplate) -> tuple[TrimPoint, ...]:
    """The stations, and on a closed edge the first one again where it comes round."""
    if not template.closed:
        return template.points
    first = template.points[0]
    return (*template.points, replace(first, s=first.s + template.length))


def _registers(canvas, plan: Plan, strip: Strip, up: float, deepest: float) -> None:
    """A ringed cross with its number at each joint, the same on both strips."""
    for number, s in enumerate(plan.joints, 1):
        if not strip.start < s < strip.end:
            continue
        x = strip.x + s - strip.start
        y = strip.y + up * (deepest + BODY - 4.0)
        canvas.setLineWidth(0.3)
        _line(canvas, x - 3.5, y, x + 3.5, y)
        _line(canvas, x, y - 3.5, x, y + 3.5)
        canvas.circle(x * MM, y * MM, 2.0 * MM)
        _line(canvas, x, strip.y - up * OUTSIDE, x, strip.y - up * (OUTSIDE - 2.0))
        text.write(
            canvas,
            (x + 4.2) * MM,
            (y - 0.8) * MM,
            f"join {number}",
            size=6,
            font=SEMIBOLD,
        )


def _words(canvas, template, plan: Plan, strip: Strip, up, deepest) -> None:
    left, right = strip.x, strip.x + strip.end - strip.start
    y = strip.y + up * (deepest + BODY - 4.6)
    words = f"{template.side} is on this side: material comes off between the lines"
    text.write(canvas, (left + 36) * MM, y * MM, words, size=6.5, font=SEMIBOLD)
    y = strip.y - up * (OUTSIDE - (1.4 if up > 0 else 3.4))
    about = f"strip {strip.number} of {len(plan.strips)}  ·  {template.joint_number}"
    about += f"  ·  {template.part}  ·  {strip.start:.0f} to {strip.end:.0f} mm"
    text.write(canvas, (left + 2) * MM, y * MM, about, size=5.6, color=CAPTION)
    text.write(
        canvas, (right - 2) * MM, y * MM, "heavy line: present edge", size=5.6,
        align="right", color=CAPTION,
    )  # fmt: skip


def _bars(canvas, plan: Plan) -> None:
    """One bar along each direction of the paper, since printers scale them apart."""
    x, y = plan.bar
    canvas.setStrokeColor(text.paint(RULE))
    canvas.setLineWidth(0.5)
    _line(canvas, x, y, x + BAR, y)
    for k in range(0, 101, 10):
        _line(canvas, x + k, y, x + k, y + (3.0 if k in (0, 50, 100) else 1.5))
    words = "100 mm: measure this bar before cutting"
    text.write(canvas, (x + 12) * MM, (y - 3.0) * MM, words, size=7, font=SEMIBOLD)
    x, y = plan.bar_up
    _line(canvas, x, y, x, y + BAR)
    for k in range(0, 101, 10):
        _line(canvas, x, y + k, x - (3.0 if k in (0, 50, 100) else 1.5), y + k)
    canvas.saveState()
    canvas.translate((x + 2.6) * MM, (y + 30) * MM)
    canvas.rotate(90)
    text.write(canvas, 0, 0, "100 mm: measure this one too", size=6, font=SEMIBOLD)
    canvas.restoreState()


def _foot(canvas, template: TrimTemplate, plan: Plan, number: int) -> None:
    x, y = MARGIN, MARGIN
    right = plan.width - MARGIN
    canvas.setLineWidth(0.6)
    _line(canvas, x, y + 12.5, right - 22, y + 12.5)
    title = f"{template.joint_number}  {template.joint_name}"
    text.write(canvas, x * MM, (y + 8.6) * MM, title, font=BOLD, size=10, room=120 * MM)
    side = f"cut: {template.side}  ·  {template.part}"
    text.write(
        canvas, x * MM, (y + 4.6) * MM, side, font=SEMIBOLD, size=8, room=120 * MM
    )
    about = "  ·  ".join(
        p
        for p in (
            template.shop, template.number, template.issued_text, template.release,
            f"sheet {number} of {plan.pages}",
        )
        if p
    )  # fmt: skip
    text.write(canvas, x * MM, (y + 1.2) * MM, about, size=6.5, room=120 * MM)
    for k, line in enumerate((*NOTES, *template.notes)[:5]):
        text.write(
            canvas, (x + 126) * MM, (y + 9.6 - k * 2.5) * MM, line, size=5.6,
            room=(right - 24 - x - 126) * MM,
        )  # fmt: skip
    if template.banner:
        text.write(
            canvas, (right - 24) * MM, (y + 14) * MM, template.banner, font=BOLD,
            size=8, align="right",
        )  # fmt: skip
    if template.digest:
        words = f"plan sha256 {template.digest}"
        text.write(canvas, x * MM, (y - 2.0) * MM, words, size=4.6)
    if template.url:
        qr.draw(canvas, template.url, (right - 21) * MM, (y - 1) * MM, 21 * MM)


NOTES = (
    "Print at 100 %, not fitted to the page. Both bars must measure 100 mm.",
    "Join strips at marks of one number. Heavy line on the present edge, ticks on their",
    "station marks, outside of the skin, not turned over. Dashed: next bite. Solid: full",
    "trim. Cut to the dashed line, then measure again. Dust: extract it, wear a respirator.",
)


def _line(canvas, x1: float, y1: float, x2: float, y2: float) -> None:
    canvas.line(x1 * MM, y1 * MM, x2 * MM, y2 * MM)


def _polyline(canvas, pairs, width: float, dash) -> None:
    canvas.setLineWidth(width)
    canvas.setDash(list(dash))
    path = canvas.beginPath()
    path.moveTo(pairs[0][0] * MM, pairs[0][1] * MM)
    for px, py in pairs[1:]:
        path.lineTo(px * MM, py * MM)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash([])


def without_shallow(template: TrimTemplate, least: float) -> TrimTemplate:
    """The same with depths below `least` mm drawn as none, which no tool can cut."""
    points = tuple(
        point if point.trim >= least else replace(point, trim=0.0, bite=0.0)
        for point in template.points
    )
    return replace(template, points=points)
