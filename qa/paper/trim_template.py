"""The trim template: the edge in its true shape and size, in strips that are cut out,
joined at their marks and taped along the part.

Distances along the edge run to the right, stations in order, as seen from outside; the
material that is cut lies above or below the edge line accordingly, so that the paper
goes on the outside of the skin without being turned over. Strips end at corners.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from qa.paper.trim_layout import (
    BAR,
    BODY,
    MARGIN,
    OUTSIDE,
    STEP,
    Arrangement,
    Strip,
    arrange,
    cut_line,
)
from qa.queries.plans.edge_templates import TrimPoint, TrimTemplate
from shop.numeric.paper_sizes import MM, Paper, paper_named
from shop.paper import qr, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD
from shop.paper.page import pdf
from shop.paper.sheet import write_across

DOCUMENT_TYPE = "Trim template, true size"


def render(
    templates: TrimTemplate | Sequence[TrimTemplate],
    paper: str = "a4",
    across: str = "",
) -> bytes:
    """PDF bytes, landscape, to be printed at 100 %; one edge after the other. `across`
    is a warning over every sheet.

    Raises ValueError as `arrange` does, and where there is no template at all.
    """
    several = (templates,) if isinstance(templates, TrimTemplate) else tuple(templates)
    if not several:
        raise ValueError("nothing is to be cut: there is no template to draw")
    sheet = paper_named(paper)
    pages: list = []
    for template in several:
        arranged = arrange(template, paper)
        pages += [
            partial(
                _page,
                template=template,
                arranged=arranged,
                number=number,
                across=across,
            )
            for number in range(1, arranged.pages + 1)
        ]
    first = several[0]
    sides = ", ".join(template.side for template in several)
    return pdf(
        pages,
        paper=Paper(sheet.name, sheet.height, sheet.width),
        issued_at=first.issued_at,
        title=f"{DOCUMENT_TYPE} {first.number} {first.joint_name}",
        author=first.shop,
        subject=f"{first.part}, side: {sides}",
    )


def _page(
    canvas, template: TrimTemplate, arranged: Arrangement, number: int, across: str = ""
) -> None:
    # Readers that obey this do not shrink the page by themselves.
    canvas.setViewerPreference("PrintScaling", "None")
    for strip in arranged.strips:
        if strip.page == number:
            _strip(canvas, template, arranged, strip)
    _bars(canvas, arranged)
    _foot(canvas, template, arranged, number)
    if across:
        write_across(canvas, *canvas._pagesize, across)


class _Side:
    """A strip as it is drawn: places by how far along the edge and how far from it, to
    the body positive."""

    def __init__(self, template: TrimTemplate, strip: Strip):
        self.template, self.strip = template, strip
        self.course = template.course
        self.up = 1.0 if template.body_on_left else -1.0

    def at(self, s: float, inward: float = 0.0):
        """(x, y, heading) on the page, mm and radians."""
        return self.strip.at(self.course, s, self.up * inward)

    def level(self, inward: float) -> list[tuple[float, float]]:
        """The line that keeps its distance from the edge."""
        marks = self.course.marks(self.strip.start, self.strip.end, STEP)
        return [self.at(s, inward)[:2] for s in marks]

    def across(self, canvas, s: float, low: float, high: float) -> None:
        """A line square to the edge."""
        _line(canvas, *self.at(s, low)[:2], *self.at(s, high)[:2])

    def write(
        self, canvas, s: float, inward: float, words: str, *, align="left", **style
    ) -> None:
        """Words along the edge, in one go where it is straight, else one by one."""
        size = style.get("size", 8)
        font = style.get("font", REGULAR)
        wide = text.width(words, font, size) / MM
        shift = {"left": 0.0, "center": wide / 2, "right": wide}[align]
        s -= shift
        low = max(self.strip.start, min(s, self.strip.end))
        high = max(self.strip.start, min(s + wide, self.strip.end))
        bent = abs(self.at(high)[2] - self.at(low)[2]) > 1e-3
        for word in words.split(" ") if bent and " " in words else [words]:
            own = text.width(word, font, size) / MM
            middle = max(self.strip.start, min(s + own / 2, self.strip.end))
            x, y, heading = self.at(middle, inward)
            along = s + own / 2 - middle  # past the end of the strip
            x, y = x + along * math.cos(heading), y + along * math.sin(heading)
            canvas.saveState()
            canvas.translate(x * MM, y * MM)
            canvas.rotate(math.degrees(heading))
            text.write(canvas, -own / 2 * MM, 0, word, **style)
            canvas.restoreState()
            s += own + text.width(" ", font, size) / MM


def _strip(canvas, template: TrimTemplate, arranged: Arrangement, strip: Strip) -> None:
    side = _Side(template, strip)
    _cut_out(canvas, side)
    for which in ("trim", "bite"):
        line = cut_line(template, strip, which)
        places = [side.at(s, depth)[:2] for s, depth in line]
        if which == "trim":
            _hatch(canvas, side, places)
        _polyline(canvas, places, 0.5, () if which == "trim" else (2.2, 1.4))
    _polyline(canvas, side.level(0.0), 0.9, ())
    _ticks(canvas, template, side)
    _registers(canvas, arranged, side)
    _words(canvas, template, arranged, side)


def _cut_out(canvas, side: _Side) -> None:
    """A thin dashed frame to cut along."""
    around = [*side.level(-OUTSIDE), *side.level(side.template.deepest + BODY)[::-1]]
    canvas.setStrokeColor(text.paint(HAIR))
    _polyline(canvas, [*around, around[0]], 0.3, (2, 2))
    canvas.setStrokeColor(text.paint(RULE))


def _hatch(canvas, side: _Side, line) -> None:
    """Strokes across what comes off."""
    around = [*line, *side.level(0.0)[::-1]]
    xs, ys = zip(*around, strict=True)
    canvas.saveState()
    path = canvas.beginPath()
    path.moveTo(around[0][0] * MM, around[0][1] * MM)
    for x, y in around[1:]:
        path.lineTo(x * MM, y * MM)
    path.close()
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.setLineWidth(0.25)
    tall = max(ys) - min(ys)
    x = min(xs) - tall
    while x < max(xs):
        _line(canvas, x, min(ys), x + tall, max(ys))
        x += 2.0
    canvas.restoreState()


def _ticks(canvas, template: TrimTemplate, side: _Side) -> None:
    """Station ticks across the edge, their names, and depths where there is room."""
    worded, strip = -99.0, side.strip
    for point in _run_on(template):
        if not strip.start - 1e-6 <= point.s <= strip.end + 1e-6:
            continue
        canvas.setLineWidth(0.35)
        side.across(canvas, point.s, -5.0, max(point.trim, 2.0))
        room = point.s - worded
        if room < 4.0:
            continue
        size = 8
        base = -6.0 - (2.2 if side.up > 0 else 0.0)
        at, align = _beside(point.s, strip)
        side.write(canvas, at, base, point.label, font=BOLD, size=size, align=align)
        worded = point.s
        if room >= 15.0 and point.trim > 0:
            for k, words in enumerate(
                (f"full {point.trim:.2f}", f"bite {point.bite:.2f}")
            ):
                below = base - 2.3 * (k + 1) + (0 if side.up > 0 else -0.7)
                side.write(canvas, at, below, words, size=5.6, align=align)


def _beside(s: float, strip: Strip) -> tuple[float, str]:
    """Where the depths of a tick stand: under it, or inside at an end of the strip."""
    if s - strip.start < 6.0:
        return s + 1.0, "left"
    if strip.end - s < 6.0:
        return s - 1.0, "right"
    return s, "center"


def _run_on(template: TrimTemplate) -> tuple[TrimPoint, ...]:
    """The stations, and on a closed edge the first one again where it comes round."""
    if not template.closed:
        return template.points
    first = template.points[0]
    return (*template.points, replace(first, s=first.s + template.length))


def _registers(canvas, arranged: Arrangement, side: _Side) -> None:
    """A ringed cross with its number at each joint, the same on both strips, square to
    the edge; where a strip ends at a corner, the number of the corner."""
    strip, deepest = side.strip, side.template.deepest
    inward = deepest + BODY - 4.0
    for number, s in enumerate(arranged.joints, 1):
        if not strip.start < s < strip.end:
            continue
        x, y, heading = side.at(s, inward)
        canvas.setLineWidth(0.3)
        along = 3.5 * math.cos(heading), 3.5 * math.sin(heading)
        _line(canvas, x - along[0], y - along[1], x + along[0], y + along[1])
        _line(canvas, x + along[1], y - along[0], x - along[1], y + along[0])
        canvas.circle(x * MM, y * MM, 2.0 * MM)
        side.across(canvas, s, -OUTSIDE, -OUTSIDE + 2.0)
        low = inward - 0.8 * side.up
        side.write(canvas, s + 4.2, low, f"join {number}", size=6, font=SEMIBOLD)
    for number, s in enumerate(arranged.corners, 1):
        low = deepest + BODY - (2.8 if side.up > 0 else 0.8)
        if abs(s - strip.end) < 1e-6:
            style = {"size": 6, "font": SEMIBOLD, "align": "right"}
            side.write(canvas, s - 1.0, low, f"corner {number}", **style)
        elif abs(s - strip.start) < 1e-6:
            side.write(canvas, s + 1.0, low, f"corner {number}", size=6, font=SEMIBOLD)


def _words(canvas, template, arranged: Arrangement, side: _Side) -> None:
    strip, up = side.strip, side.up
    inward = template.deepest + BODY - 4.6
    words = f"{template.side} is on this side: material comes off between the lines"
    side.write(canvas, strip.start + 36, inward, words, size=6.5, font=SEMIBOLD)
    below = -(OUTSIDE - (1.4 if up > 0 else 3.4))
    parts = (
        f"strip {strip.number} of {len(arranged.strips)}",
        template.joint_number,
        template.part,
        f"{strip.start:.0f} to {strip.end:.0f} mm",
        "heavy line: present edge",
    )
    about = "  ·  ".join(part for part in parts if part)
    # Clear of the join mark, which crosses the foot of the strip.
    side.write(canvas, strip.start + 19, below, about, size=5.6, color=CAPTION)


def _bars(canvas, arranged: Arrangement) -> None:
    """One bar along each direction of the paper, since printers scale them apart."""
    x, y = arranged.bar
    canvas.setStrokeColor(text.paint(RULE))
    canvas.setLineWidth(0.5)
    _line(canvas, x, y, x + BAR, y)
    for k in range(0, 101, 10):
        _line(canvas, x + k, y, x + k, y + (3.0 if k in (0, 50, 100) else 1.5))
    words = "100 mm: measure this bar before cutting"
    text.write(canvas, (x + 12) * MM, (y - 3.0) * MM, words, size=7, font=SEMIBOLD)
    x, y = arranged.bar_up
    _line(canvas, x, y, x, y + BAR)
    for k in range(0, 101, 10):
        _line(canvas, x, y + k, x - (3.0 if k in (0, 50, 100) else 1.5), y + k)
    canvas.saveState()
    canvas.translate((x + 2.6) * MM, (y + 30) * MM)
    canvas.rotate(90)
    text.write(canvas, 0, 0, "100 mm: measure this one too", size=6, font=SEMIBOLD)
    canvas.restoreState()


def _foot(canvas, template: TrimTemplate, arranged: Arrangement, number: int) -> None:
    x, y = MARGIN, MARGIN
    right = arranged.width - MARGIN
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
            f"sheet {number} of {arranged.pages}",
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
    if qr.leads_nowhere(template.url):
        for k, line in enumerate(qr.NO_CODE):
            text.write(
                canvas, (right - 10.5) * MM, (y + 12 - k * 2.5) * MM, line, size=5.6,
                align="center",
            )  # fmt: skip
    elif 0 < len(template.url) <= qr.LONGEST:
        qr.draw(canvas, template.url, (right - 21) * MM, (y - 1) * MM, 21 * MM)


NOTES = (
    "Print at 100 %, not fitted to the page. Both bars must measure 100 mm.",
    "Join strips at marks of one number; at a corner each begins anew. Heavy line on",
    "the present edge, ticks on station marks, outside of the skin. Dashed: next bite.",
    "Solid: full trim. Cut to the dashed line, then measure again. Mind the dust.",
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
