"""The trim template: the edge in its true shape and size, in strips that are cut out,
joined at their marks and taped along the part.

Distances along the edge run to the right, stations in order, as seen from outside; the
material that is cut lies above or below the edge line accordingly, so that the paper
goes on the outside of the skin without being turned over. Strips end at corners.
"""

from collections.abc import Sequence
from functools import partial

from qa.paper.edge_strips import (
    Side,
    bars,
    beside,
    cut_out,
    foot,
    polyline,
    registers,
    run_on,
    stroke,
)
from qa.paper.trim_layout import BODY, OUTSIDE, Arrangement, Strip, arrange, cut_line
from qa.queries.plans.edge_templates import TrimTemplate
from shop.numeric.paper_sizes import MM, Paper, paper_named
from shop.paper.flow import CAPTION
from shop.paper.fonts import BOLD, SEMIBOLD
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
    bars(canvas, arranged)
    about = f"cut: {template.side}  ·  {template.part}"
    foot(canvas, template, arranged, number, about=about, notes=NOTES)
    if across:
        write_across(canvas, *canvas._pagesize, across)


def _strip(canvas, template: TrimTemplate, arranged: Arrangement, strip: Strip) -> None:
    side = Side(template, strip)
    cut_out(canvas, side)
    for which in ("trim", "bite"):
        line = cut_line(template, strip, which)
        places = [side.at(s, depth)[:2] for s, depth in line]
        if which == "trim":
            _hatch(canvas, side, places)
        polyline(canvas, places, 0.5, () if which == "trim" else (2.2, 1.4))
    polyline(canvas, side.level(0.0), 0.9, ())
    _ticks(canvas, template, side)
    registers(canvas, arranged, side)
    _words(canvas, template, arranged, side)


def _hatch(canvas, side: Side, line) -> None:
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
        stroke(canvas, x, min(ys), x + tall, max(ys))
        x += 2.0
    canvas.restoreState()


def _ticks(canvas, template: TrimTemplate, side: Side) -> None:
    """Station ticks across the edge, their names, and depths where there is room."""
    worded, strip = -99.0, side.strip
    for point in run_on(template):
        if not strip.start - 1e-6 <= point.s <= strip.end + 1e-6:
            continue
        canvas.setLineWidth(0.35)
        side.across(canvas, point.s, -5.0, max(point.trim, 2.0))
        room = point.s - worded
        if room < 4.0:
            continue
        size = 8
        base = -6.0 - (2.2 if side.up > 0 else 0.0)
        at, align = beside(point.s, strip)
        side.write(canvas, at, base, point.label, font=BOLD, size=size, align=align)
        worded = point.s
        if room >= 15.0 and point.trim > 0:
            for k, words in enumerate(
                (f"full {point.trim:.2f}", f"bite {point.bite:.2f}")
            ):
                below = base - 2.3 * (k + 1) + (0 if side.up > 0 else -0.7)
                side.write(canvas, at, below, words, size=5.6, align=align)


def _words(canvas, template, arranged: Arrangement, side: Side) -> None:
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


NOTES = (
    "Print at 100 %, not fitted to the page. Both bars must measure 100 mm.",
    "Join strips at marks of one number; at a corner each begins anew. Heavy line on",
    "the present edge, ticks on station marks, outside of the skin. Dashed: next bite.",
    "Solid: full trim. Cut to the dashed line, then measure again. Mind the dust.",
)
