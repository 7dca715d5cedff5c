"""The trim template: the edge unrolled to a straight line at true size, in strips that
are cut out, joined at their marks and taped along the part.

Distances along the edge run to the right, stations in order, as seen from outside; the
material that is cut lies above or below the edge line accordingly, so that the paper
goes on the outside of the skin without being turned over.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from qa.paper.trim_layout import (
    BAR,
    BODY,
    MARGIN,
    OUTSIDE,
    Plan,
    Strip,
    TrimPoint,
    TrimTemplate,
    arrange,
    depths,
)
from shop.paper import qr, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import BOLD, SEMIBOLD
from shop.paper.page import MM, Paper, paper_named, pdf

DOCUMENT_TYPE = "Trim template, true size"


def render(
    templates: TrimTemplate | Sequence[TrimTemplate], paper: str = "a4"
) -> bytes:
    """PDF bytes, landscape, to be printed at 100 %; one edge after the other.

    Raises ValueError as `arrange` does, and where there is no template at all.
    """
    several = (templates,) if isinstance(templates, TrimTemplate) else tuple(templates)
    if not several:
        raise ValueError("nothing is to be cut: there is no template to draw")
    sheet = paper_named(paper)
    pages: list = []
    for template in several:
        plan = arrange(template, paper)
        pages += [
            partial(_page, template=template, plan=plan, number=number)
            for number in range(1, plan.pages + 1)
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


def _page(canvas, template: TrimTemplate, plan: Plan, number: int) -> None:
    # Readers that obey this do not shrink the page by themselves.
    canvas.setViewerPreference("PrintScaling", "None")
    for strip in plan.strips:
        if strip.page == number:
            _strip(canvas, template, plan, strip)
    _bars(canvas, plan)
    _foot(canvas, template, plan, number)


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
        at, align = _beside(point.s, strip, x)
        text.write(
            canvas, at * MM, base * MM, point.label, font=BOLD, size=size, align=align
        )
        worded = x
        if room >= 15.0 and point.trim > 0:
            step = -2.3 if up > 0 else 2.3
            for k, words in enumerate(
                (f"full {point.trim:.2f}", f"bite {point.bite:.2f}")
            ):
                y = base + step * (k + 1) + (0 if up > 0 else 0.7)
                text.write(canvas, at * MM, y * MM, words, size=5.6, align=align)


def _beside(s: float, strip: Strip, x: float) -> tuple[float, str]:
    """Where the depths of a tick stand: under it, or inside at an end of the strip."""
    if s - strip.start < 6.0:
        return x + 1.0, "left"
    if strip.end - s < 6.0:
        return x - 1.0, "right"
    return x, "center"


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
    left = strip.x
    y = strip.y + up * (deepest + BODY - 4.6)
    words = f"{template.side} is on this side: material comes off between the lines"
    text.write(canvas, (left + 36) * MM, y * MM, words, size=6.5, font=SEMIBOLD)
    y = strip.y - up * (OUTSIDE - (1.4 if up > 0 else 3.4))
    parts = (
        f"strip {strip.number} of {len(plan.strips)}",
        template.joint_number,
        template.part,
        f"{strip.start:.0f} to {strip.end:.0f} mm",
        "heavy line: present edge",
    )
    about = "  ·  ".join(part for part in parts if part)
    # Clear of the join mark, which crosses the foot of the strip.
    text.write(canvas, (left + 19) * MM, y * MM, about, size=5.6, color=CAPTION)


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
    if 0 < len(template.url) <= qr.LONGEST:
        qr.draw(canvas, template.url, (right - 21) * MM, (y - 1) * MM, 21 * MM)


NOTES = (
    "Print at 100 %, not fitted to the page. Both bars must measure 100 mm.",
    "Join strips at marks of one number. Heavy line on the present edge, ticks on",
    "their station marks, outside of the skin, not turned over. Dashed: next bite.",
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
