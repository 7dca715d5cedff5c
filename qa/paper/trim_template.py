"""The trim template: the edge in its true shape and size, in strips that are cut out,
joined at their marks and taped along the part.

Where a cut is too small for a line of its own, tags in true place say what to take: the
strip is laid against the seam and a strip of tape on the part marked from it. Distances
along the edge run to the right, stations in order, as seen from outside; the
material that is cut lies above or below the edge line accordingly, so that the paper
goes on the outside of the skin without being turned over. Strips end at corners.
"""

import math
from collections.abc import Sequence

from qa.paper.edge_strips import (
    BARS,
    Side,
    bars,
    cut_out,
    foot,
    lettering,
    polyline,
    registers,
    run_on,
    sheets,
    strips_on,
    stroke,
)
from qa.paper.trim_layout import (
    CUT,
    Arrangement,
    Strip,
    arrange,
    lines,
)
from qa.queries.plans.edge_templates import TrimPoint, TrimTemplate
from qa.wording.lengths import no_more
from shop.numeric.paper_sizes import MM, Paper, paper_named
from shop.paper import text
from shop.paper.fonts import BOLD
from shop.paper.page import pdf
from shop.paper.sheet import write_across

TAG = 7  # points
TAG_ROWS = 3
TAG_HIGH = 3.2  # mm from one row of tags to the next
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
        pages += sheets(_page, template, arranged, across=across)
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
    for strip in strips_on(canvas, arranged, number):
        _strip(canvas, template, arranged, strip)
    bars(canvas, arranged, template.unit)
    about = f"cut: {template.side}  ·  {template.part}"
    with_lines = any(lines(template, strip) for strip in arranged.strips)
    notes = _notes(template.unit, with_lines=with_lines)
    foot(canvas, template, arranged, number, about=about, notes=notes)
    if across:
        write_across(canvas, *canvas._pagesize, across)


def _strip(canvas, template: TrimTemplate, arranged: Arrangement, strip: Strip) -> None:
    side = Side(template, strip)
    cut_out(canvas, side)
    for which, line in lines(template, strip):
        places = [side.at(s, depth)[:2] for s, depth in line]
        if which == "bite":
            _hatch(canvas, side, places, line)
        polyline(canvas, places, 0.5, () if which == "trim" else (2.2, 1.4))
    polyline(canvas, side.level(0.0), 0.9, ())
    _ticks(canvas, template, side)
    registers(canvas, arranged, side)
    body = f"{template.side} is on this side of the heavy line: material comes off here"
    lettering(canvas, side, arranged, body, "present edge")


def _hatch(canvas, side: Side, places, line) -> None:
    """Strokes across what comes off now."""
    around = [*places, *side.level(0.0, line[0][0], line[-1][0])[::-1]]
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
    """Station ticks across the edge, each with its tag: what to take there now.

    Tags stand under their ticks, in the next row where they would run into another,
    with a line from tick to tag.
    """
    strip, ends, tags = side.strip, [-math.inf] * TAG_ROWS, []
    for point in run_on(template):
        if not strip.start - 1e-6 <= point.s <= strip.end + 1e-6:
            continue
        words = _tag(point, template.unit)
        wide = text.width(words, BOLD, TAG) / MM
        start = min(max(point.s - wide / 2, strip.start + 1), strip.end - 1 - wide)
        free = [row for row, end in enumerate(ends) if start > end + 2.0]
        row = free[0] if free else ends.index(min(ends))
        ends[row] = start + wide
        base = -6.0 - TAG_HIGH * row - (TAG / MM * 0.72 if side.up > 0 else 0.0)
        canvas.setLineWidth(0.35)
        side.across(canvas, point.s, -5.0 - TAG_HIGH * row, max(point.trim, 2.0))
        tags.append((start, base, words))
    for tag in tags:
        side.write(canvas, *tag, font=BOLD, size=TAG, clear=True)


def _tag(point: TrimPoint, unit: str) -> str:
    """What to take at a station now, and in all where that is more, in the digits that
    are known. How well is told elsewhere: here it would read as leave to cut deeper."""
    if point.trim <= CUT:
        return f"{point.label}: none"
    now = _depth(point.bite, unit, point.bite_half)
    whole = _depth(point.trim, unit, point.trim_half)
    known = _depth(point.bite, unit, point.trim_half)
    if point.trim - point.bite <= CUT or whole in (now, known):
        return f"{point.label}: take {now}"
    return f"{point.label}: take {now} of {whole}"


def _depth(mm: float, unit: str, half: float | None) -> str:
    """A depth in the digits that are known and never more of it, without zeros that
    say nothing."""
    words = no_more(mm, unit, half)
    if half is None and "." in words:
        return words.rstrip("0").rstrip(".")
    return words


def _notes(unit: str, *, with_lines: bool) -> tuple[str, ...]:
    """What stands in the foot: `with_lines` where some cut has a line of its own."""
    bar, tags = BARS[unit][0], {"mm": "mm", "in": "inches"}[unit]
    first = (
        f"Print at 100 %, not fitted to the page. Both bars must measure {bar}.",
        "Join strips at marks of one number; at a corner each begins anew. Heavy line",
        "on the present edge, ticks on station marks, outside of the skin.",
    )
    if with_lines:
        return (
            *first,
            f"Tags: {tags} to take now, straight from one to the next. Dashed: that",
            "cut, where there is room for a line; solid: the full trim. Without one,",
            "mark tape by the tags. Take no more, then measure again. Mind the dust.",
        )
    return (
        *first,
        f"Tags: {tags} to take now, straight from one to the next. They are too little",
        "to be drawn: put tape along the edge and mark on it what the tags say. Take",
        "no more, then measure again. Mind the dust.",
    )
