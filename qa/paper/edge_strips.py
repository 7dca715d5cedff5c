"""Strips of an edge as papers draw them: places along it, frames, marks, bars, foot.

Shared by what is cut off a part and by where a mold's cut line goes.
"""

import math
from dataclasses import replace
from functools import partial

from qa.paper.trim_layout import BAR, BODY, MARGIN, OUTSIDE, STEP, Arrangement, Strip
from shop.numeric.paper_sizes import MM
from shop.numeric.units import MM_PER_IN
from shop.paper import qr, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD

NOTES = 7  # lines in the foot
PAPER = "#ffffff"


class Side:
    """A strip as it is drawn: places by how far along the edge and how far from it, to
    the body positive."""

    def __init__(self, template, strip: Strip):
        self.template, self.strip = template, strip
        self.course = template.course
        self.up = 1.0 if template.body_on_left else -1.0

    def at(self, s: float, inward: float = 0.0):
        """(x, y, heading) on the page, mm and radians."""
        return self.strip.at(self.course, s, self.up * inward)

    def level(self, inward: float, start=None, end=None) -> list[tuple[float, float]]:
        """The line that keeps its distance from the edge, all along or between two."""
        start = self.strip.start if start is None else start
        end = self.strip.end if end is None else end
        marks = self.course.marks(start, end, STEP)
        return [self.at(s, inward)[:2] for s in marks]

    def across(self, canvas, s: float, low: float, high: float) -> None:
        """A line square to the edge."""
        stroke(canvas, *self.at(s, low)[:2], *self.at(s, high)[:2])

    def write(
        self,
        canvas,
        s: float,
        inward: float,
        words: str,
        *,
        align="left",
        clear=False,
        **style,
    ) -> None:
        """Words along the edge, in one go where it is straight, else one by one;
        `clear` of what is drawn behind them."""
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
            if clear:
                canvas.setFillColor(text.paint(PAPER))
                canvas.rect(-own / 2 * MM, -1, own * MM, size, stroke=0, fill=1)
            text.write(canvas, -own / 2 * MM, 0, word, **style)
            canvas.restoreState()
            s += own + text.width(" ", font, size) / MM


def sheets(page, template, arranged: Arrangement, **options) -> list:
    """What draws each sheet of a template, for `shop.paper.page.pdf`."""
    return [
        partial(page, template=template, arranged=arranged, number=number, **options)
        for number in range(1, arranged.pages + 1)
    ]


def strips_on(canvas, arranged: Arrangement, number: int) -> list[Strip]:
    """The strips of a sheet, which readers that obey do not shrink by themselves."""
    canvas.setViewerPreference("PrintScaling", "None")
    return [strip for strip in arranged.strips if strip.page == number]


def lettering(canvas, side: Side, arranged: Arrangement, body: str, line: str) -> None:
    """What lies on the side of the body, and at the foot of the strip which it is and
    what its heavy line stands for."""
    strip, template = side.strip, side.template
    inward = template.deepest + BODY - 4.6
    side.write(canvas, strip.start + 36, inward, body, size=6.5, font=SEMIBOLD)
    parts = (
        f"strip {strip.number} of {len(arranged.strips)}",
        template.joint_number,
        template.part,
        _along(strip, template.unit),
        f"heavy line: {line}",
    )
    about = "  ·  ".join(part for part in parts if part)
    below = -(OUTSIDE - (1.4 if side.up > 0 else 3.4))
    # Clear of the join mark, which crosses the foot of the strip.
    side.write(canvas, strip.start + 19, below, about, size=5.6, color=CAPTION)


def _along(strip: Strip, unit: str) -> str:
    """From where to where along the edge a strip goes."""
    if unit == "in":
        return f"{strip.start / MM_PER_IN:.1f} to {strip.end / MM_PER_IN:.1f} in"
    return f"{strip.start:.0f} to {strip.end:.0f} mm"


def cut_out(canvas, side: Side) -> None:
    """A thin dashed frame to cut along."""
    around = [*side.level(-OUTSIDE), *side.level(side.template.deepest + BODY)[::-1]]
    canvas.setStrokeColor(text.paint(HAIR))
    polyline(canvas, [*around, around[0]], 0.3, (2, 2))
    canvas.setStrokeColor(text.paint(RULE))


def beside(s: float, strip: Strip) -> tuple[float, str]:
    """Where the depths of a tick stand: under it, or inside at an end of the strip."""
    if s - strip.start < 6.0:
        return s + 1.0, "left"
    if strip.end - s < 6.0:
        return s - 1.0, "right"
    return s, "center"


def run_on(template) -> tuple:
    """The stations, and on a closed edge the first one again where it comes round."""
    if not template.closed:
        return template.points
    first = template.points[0]
    return (*template.points, replace(first, s=first.s + template.length))


def registers(canvas, arranged: Arrangement, side: Side) -> None:
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
        stroke(canvas, x - along[0], y - along[1], x + along[0], y + along[1])
        stroke(canvas, x + along[1], y - along[0], x - along[1], y + along[0])
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


# By the unit of who measures it: how long a bar is, in words and in mm, and its parts.
BARS = {"mm": ("100 mm", BAR, 10), "in": ("4 in", 4 * MM_PER_IN, 8)}


def bars(canvas, arranged: Arrangement, unit: str = "mm") -> None:
    """One bar along each direction of the paper, since printers scale them apart."""
    length, long, parts = BARS[unit]
    marks = [
        (long * k / parts, 3.0 if k in (0, parts / 2, parts) else 1.5)
        for k in range(parts + 1)
    ]
    x, y = arranged.bar
    canvas.setStrokeColor(text.paint(RULE))
    canvas.setLineWidth(0.5)
    stroke(canvas, x, y, x + long, y)
    for mark, high in marks:
        stroke(canvas, x + mark, y, x + mark, y + high)
    words = f"{length}: measure this bar before cutting"
    text.write(canvas, (x + 12) * MM, (y - 3.0) * MM, words, size=7, font=SEMIBOLD)
    x, y = arranged.bar_up
    stroke(canvas, x, y, x, y + long)
    for mark, high in marks:
        stroke(canvas, x, y + mark, x - high, y + mark)
    canvas.saveState()
    canvas.translate((x + 2.6) * MM, (y + 30) * MM)
    canvas.rotate(90)
    words = f"{length}: measure this one too"
    text.write(canvas, 0, 0, words, size=6, font=SEMIBOLD)
    canvas.restoreState()


def foot(canvas, template, arranged: Arrangement, number: int, *, about, notes) -> None:
    """Title, what is cut, where it comes from; `about` is its second line."""
    x, y = MARGIN, MARGIN
    right = arranged.width - MARGIN
    canvas.setLineWidth(0.6)
    stroke(canvas, x, y + 12.5, right - 22, y + 12.5)
    title = f"{template.joint_number}  {template.joint_name}"
    text.write(canvas, x * MM, (y + 8.6) * MM, title, font=BOLD, size=10, room=120 * MM)
    text.write(
        canvas, x * MM, (y + 4.6) * MM, about, font=SEMIBOLD, size=8, room=120 * MM
    )
    origin = "  ·  ".join(
        p
        for p in (
            template.shop, template.number, template.issued_text, template.release,
            f"sheet {number} of {arranged.pages}",
        )
        if p
    )  # fmt: skip
    text.write(canvas, x * MM, (y + 1.2) * MM, origin, size=6.5, room=120 * MM)
    for k, line in enumerate((*notes, *template.notes)[:NOTES]):
        text.write(
            canvas, (x + 126) * MM, (y + 10.0 - k * 2.3) * MM, line, size=5.4,
            room=(right - 24 - x - 126) * MM,
        )  # fmt: skip
    if template.banner:
        text.write(
            canvas, (right - 24) * MM, (y + 14) * MM, template.banner, font=BOLD,
            size=8, align="right",
        )  # fmt: skip
    if template.digest:
        words = f"{template.origin} sha256 {template.digest}"
        text.write(canvas, x * MM, (y - 2.0) * MM, words, size=4.6)
    if qr.leads_nowhere(template.url):
        for k, line in enumerate(qr.NO_CODE):
            text.write(
                canvas, (right - 10.5) * MM, (y + 12 - k * 2.5) * MM, line, size=5.6,
                align="center",
            )  # fmt: skip
    elif 0 < len(template.url) <= qr.LONGEST:
        qr.draw(canvas, template.url, (right - 21) * MM, (y - 1) * MM, 21 * MM)


def stroke(canvas, x1: float, y1: float, x2: float, y2: float) -> None:
    canvas.line(x1 * MM, y1 * MM, x2 * MM, y2 * MM)


def polyline(canvas, pairs, width: float, dash) -> None:
    canvas.setLineWidth(width)
    canvas.setDash(list(dash))
    path = canvas.beginPath()
    path.moveTo(pairs[0][0] * MM, pairs[0][1] * MM)
    for px, py in pairs[1:]:
        path.lineTo(px * MM, py * MM)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash([])
