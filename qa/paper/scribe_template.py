"""The new cut line of a mold at true size, in strips that are taped along the present
one: where the part is to be larger the new line lies outside of it, else inside.

For a female mold it is drawn as one looks into it, mirrored against the part: the
paper lies on the mold's surface with its print up.
"""

from qa.paper.edge_strips import (
    Side,
    bars,
    beside,
    cut_out,
    foot,
    lettering,
    polyline,
    registers,
    run_on,
    sheets,
    strips_on,
)
from qa.paper.trim_layout import Arrangement, Strip, arrange, cut_line
from qa.queries.molds.sheets import ScribeTemplate
from shop.numeric.paper_sizes import Paper, paper_named
from shop.paper.fonts import BOLD
from shop.paper.page import pdf

DOCUMENT_TYPE = "Scribe template, true size"
NOTES = (
    "Print at 100 %, not fitted to the page. Both bars must measure 100 mm.",
    "Join strips at marks of one number; at a corner each begins anew. Heavy line on",
    "the present cut line, ticks on station marks. Thin line: the new one, to scribe.",
)
INTO = "As seen into the female mold: print up on its surface."
ONTO = "As seen on the outside of the part, on a plug or a male mold."
SEEN = 0.005  # mm; less is not told


def render(template: ScribeTemplate, paper: str = "a4") -> bytes:
    """PDF bytes, landscape, to be printed at 100 %. ValueError as `arrange`."""
    sheet = paper_named(paper)
    arranged = arrange(template, paper)
    return pdf(
        sheets(_page, template, arranged),
        paper=Paper(sheet.name, sheet.height, sheet.width),
        issued_at=template.issued_at,
        title=f"{DOCUMENT_TYPE} {template.number} {template.joint_name}",
        author=template.shop,
        subject=template.part,
    )


def _page(canvas, template: ScribeTemplate, arranged: Arrangement, number: int) -> None:
    for strip in strips_on(canvas, arranged, number):
        _strip(canvas, template, arranged, strip)
    bars(canvas, arranged)
    notes = (*NOTES, INTO if template.seen_into else ONTO)
    about = f"new cut line  ·  {template.part}"
    foot(canvas, template, arranged, number, about=about, notes=notes)


def _strip(canvas, template, arranged: Arrangement, strip: Strip) -> None:
    side = Side(template, strip)
    cut_out(canvas, side)
    places = [
        side.at(s, inward)[:2] for s, inward in cut_line(template, strip, "inward")
    ]
    polyline(canvas, places, 0.5, ())
    polyline(canvas, side.level(0.0), 0.9, ())
    _ticks(canvas, template, side)
    registers(canvas, arranged, side)
    body = "the part is on this side of the line"
    lettering(canvas, side, arranged, body, "present cut line")


def _ticks(canvas, template, side: Side) -> None:
    """Station ticks across both lines, their names, and how far the line goes."""
    worded, strip = -99.0, side.strip
    for point in run_on(template):
        if not strip.start - 1e-6 <= point.s <= strip.end + 1e-6:
            continue
        canvas.setLineWidth(0.35)
        low, high = min(point.inward - 2.0, -5.0), max(point.inward + 2.0, 2.0)
        side.across(canvas, point.s, low, high)
        if point.s - worded < 4.0:
            continue
        base = low - 1.0 - (2.2 if side.up > 0 else 0.0)
        at, align = beside(point.s, strip)
        side.write(canvas, at, base, point.label, font=BOLD, size=8, align=align)
        if point.s - worded >= 12.0 and abs(point.inward) >= SEEN:
            word = "in" if point.inward > 0 else "out"
            below = base - 2.6 + (0 if side.up > 0 else -0.4)
            words = f"{word} {abs(point.inward):.2f}"
            side.write(canvas, at, below, words, size=5.8, align=align)
        worded = point.s
