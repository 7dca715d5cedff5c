"""The cures of a pack: each trace against the window of its recipe."""

from dataclasses import replace

from qa.paper import blocks
from qa.paper.pack_front_matter import section_heading
from qa.queries.packs.cures import Cures, PackCure
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, gap, heading, text
from shop.paper.flow import CAPTION, HAIR, RULE, Place, paragraph
from shop.queries.cure_plot import Plot

DASHES = ([], [4, 2], [1, 1.6], [6, 2, 1, 2])
BAND = "#e4e4e4"


def story(section: Cures) -> list[Block]:
    if not section.cures:
        return []
    out = section_heading("Cure traces", f"{len(section.cures)} pulls")
    for cure in section.cures:
        out += _cure(cure)
    return out


def _cure(pack_cure: PackCure) -> list[Block]:
    head = heading(f"Pull {pack_cure.pull}", pack_cure.state)
    out = [replace(head, place=Place("", 2, (pack_cure.pull,)))]
    out += [replace(x, keep=True) for x in paragraph(pack_cure.recipe, CONTENT, size=8)]
    if pack_cure.plot:
        out += [gap(1, keep=True), _plot(pack_cure.plot), gap(1)]
        source = (
            f"{pack_cure.file_name}, {pack_cure.by}; sha256 {pack_cure.sha256[:16]}"
        )
        out += paragraph(source, CONTENT, size=6.5)
    return [*out, *blocks.bullets(pack_cure.complaints, size=7.5), gap(4)]


def _plot(plot: Plot) -> Block:
    scale = CONTENT / plot.width

    def draw(canvas, x, top, width):
        def at(u: float, v: float) -> tuple[float, float]:
            return x + u * scale, top - v * scale

        y, height = plot.band
        canvas.setFillColor(text.paint(BAND))
        left = at(plot.left, y + height)
        canvas.rect(*left, plot.room * scale, height * scale, stroke=0, fill=1)
        _axes(canvas, plot, at)
        canvas.setStrokeColor(RULE)
        for number, curve in enumerate(plot.curves):
            canvas.setLineWidth(0.8)
            canvas.setDash(DASHES[number % len(DASHES)])
            for line in curve.lines:
                _polyline(canvas, line, at)
            canvas.setDash([])
            place = at(plot.end + 4, curve.label_y)
            text.write(canvas, *place, curve.name, size=6.5, room=56 * scale)

    words = f"Temperatures of the cure: {', '.join(x.name for x in plot.curves)}"
    return Block(plot.height * scale, draw, tag="Figure", alt=words)


def _polyline(canvas, line: str, at) -> None:
    points = [tuple(map(float, pair.split(","))) for pair in line.split(" ")]
    path = canvas.beginPath()
    path.moveTo(*at(*points[0]))
    for point in points[1:]:
        path.lineTo(*at(*point))
    canvas.drawPath(path, stroke=1, fill=0)


def _axes(canvas, plot: Plot, at) -> None:
    canvas.setStrokeColor(HAIR)
    canvas.setLineWidth(0.3)
    for tick in plot.degrees:
        canvas.line(*at(plot.left, tick.at), *at(plot.end, tick.at))
        place = at(plot.before, tick.at + 4)
        text.write(canvas, *place, f"{tick.text} °C", size=6, align="right")
    for tick in plot.minutes:
        canvas.line(*at(tick.at, 0), *at(tick.at, plot.foot))
        place = at(tick.at, plot.foot + 14)
        words = f"{tick.text} min"
        text.write(canvas, *place, words, size=6, align="center", color=CAPTION)
