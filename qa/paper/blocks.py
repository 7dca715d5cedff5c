"""Blocks that several sheets share: masthead, identity, figure, signatures and more."""

from collections.abc import Sequence
from dataclasses import replace

from qa.drawing.scene import Scene
from qa.paper import scene as scene_pdf
from qa.queries.issue import GENERAL_CAUTIONS, Signature
from shop.numeric.paper_sizes import CONTENT, MM
from shop.paper import text
from shop.paper.flow import (
    CAPTION,
    HAIR,
    RULE,
    Block,
    caption_value,
    gap,
    heading,
    paragraph,
)
from shop.paper.fonts import BOLD, SEMIBOLD
from shop.wording import states


def masthead(title: str, subtitle: str, state: str | None = None, word="") -> Block:
    """The first lines of a sheet; with `state` its outcome stands at the right."""

    room = CONTENT * (0.66 if state is not None else 1.0)
    size = 17.0
    while size > 13 and text.width(text.clean(title), BOLD, size) > room:
        size -= 1
    lines = text.wrap(title, room, BOLD, size, most=2)
    used = text.width(text.clean(word), BOLD, 12)
    # Beside a long title the outcome would run into it: it then stands below.
    under = used + 36 + text.width(lines[0], BOLD, size) > CONTENT

    def draw(canvas, x, top, width):
        for k, line in enumerate(lines):
            text.write(canvas, x, top - 17 - k * 16, line, font=BOLD, size=size)
        below = top - 15 - len(lines) * 16
        text.write(canvas, x, below, subtitle, size=8.5, room=room, color=CAPTION)
        if state is not None:
            base = below - 17 if under else top - 17
            left = x + 20 if under else x + width - used
            text.write(canvas, left, base, word, font=BOLD, size=12)
            scene_pdf.mark(canvas, state, left - 12, base + 4, 8)

    below_it = 20 if state is not None and under else 0
    return Block(25 + 16 * len(lines) + below_it, draw, tag="H2")


def identity(
    pairs: Sequence[tuple[str, object]], columns: int = 4, most: int = 4
) -> list[Block]:
    """Captions over values in a ruled grid; a long value takes up to `most` lines."""
    rows = [pairs[i : i + columns] for i in range(0, len(pairs), columns)]
    return [_identity_row(row, columns, most, last=row is rows[-1]) for row in rows]


def _identity_row(row, columns: int, most: int, last: bool) -> Block:
    wide = CONTENT / columns
    cells = [
        (caption, text.wrap(value or "–", wide - 10, SEMIBOLD, 8, most=most))
        for caption, value in row
    ]
    most = max(len(lines) for _, lines in cells)
    height = 13.5 + most * 10.4

    def draw(canvas, x, top, width):
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.35)
        canvas.line(x, top, x + width, top)
        if last:
            canvas.line(x, top - height, x + width, top - height)
        for k, (caption, lines) in enumerate(cells):
            left = x + k * wide
            if k:
                canvas.setStrokeColor(HAIR)
                canvas.setLineWidth(0.25)
                canvas.line(left, top - 2, left, top - height + 2)
            inner = left + (5 if k else 0)
            caption_value(canvas, inner, top - 2, wide - 10, caption, lines[0])
            for j, line in enumerate(lines[1:], 1):
                y = top - 19 - j * 10.4
                text.write(canvas, inner, y, line, font=SEMIBOLD, size=8)

    return Block(height, draw)


def figure(scene: Scene, most_height: float, units: float = 1000.0) -> Block:
    """A drawing, `units` of the scene across the whole width, no higher than told."""
    width = CONTENT * scene.width / units
    height = width * scene.height / scene.width
    if height > most_height:
        width *= most_height / height
        height = most_height

    def draw(canvas, x, top, full):
        scene_pdf.draw(canvas, scene, x + (full - width) / 2, top, width)

    return Block(height, draw, tag="Figure", alt=scene.title)


def legend(keys: Sequence[str]) -> Block:
    """The shapes and their words in one line."""

    def draw(canvas, x, top, width):
        for state in keys:
            scene_pdf.mark(canvas, state, x + 5, top - 7, 4.2)
            word = states.word(state)
            used = text.write(canvas, x + 13, top - 9.5, word, size=7)
            x += used + 28

    return Block(14, draw)


def counts(pairs: Sequence[tuple[str, str, int]]) -> Block:
    """(state for the sign, word, number) side by side, the number large."""

    def draw(canvas, x, top, width):
        wide = width / len(pairs)
        for k, (state, word, number) in enumerate(pairs):
            left = x + k * wide
            used = text.write(canvas, left, top - 19, number, font=BOLD, size=17)
            scene_pdf.mark(canvas, state, left + used + 10, top - 13, 5)
            text.write(canvas, left, top - 28, word, size=7, room=wide - 6)

    return Block(34, draw)


def bullets(lines: Sequence[str], *, size: float = 8) -> list[Block]:
    """One short dash per item."""
    out: list[Block] = []
    for line in lines:
        first, *rest = paragraph(line, CONTENT, size=size, indent=9)

        def draw(canvas, x, top, width, first=first):
            text.write(canvas, x, top - size, "–", size=size)
            first.draw(canvas, x, top, width)

        out.append(Block(first.height, draw))
        out += rest
    return out


def cautions(lines: Sequence[str] = GENERAL_CAUTIONS) -> list[Block]:
    """The heading and the cautions, small."""
    return [heading("Cautions"), gap(1, keep=True), *bullets(lines, size=7.2)]


def closing(lines: Sequence[str], boxes: Sequence[Signature]) -> list[Block]:
    """Cautions and signatures on one page: nobody signs an empty sheet."""
    *held, last = [*cautions(lines), gap(4), *signatures(boxes)]
    return [*(replace(block, keep=True) for block in held), last]


def signatures(boxes: Sequence[Signature]) -> list[Block]:
    """Boxes side by side, three in a row, each kept whole."""
    rows = [boxes[i : i + 3] for i in range(0, len(boxes), 3)]
    out = [heading("Signatures")]
    for row in rows:
        out += [gap(1.5, keep=True), _signature_row(row)]
    proofs = [
        f"{box.meaning} ({box.name}). Changed since: {'; '.join(box.changed)}."
        for box in boxes
        if box.changed
    ]
    return [*out, gap(1.5), *bullets(proofs, size=7)] if proofs else out


def _signature_row(row: Sequence[Signature]) -> Block:
    height = 25 * MM
    between = 8
    wide = (CONTENT + between) / max(2, len(row))

    def draw(canvas, x, top, width):
        for k, box in enumerate(row):
            left = x + k * wide
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(0.5)
            canvas.rect(left, top - height, wide - between, height)
            text.write(
                canvas, left + 5, top - 11, box.meaning, font=SEMIBOLD, size=8,
                room=wide - 18,
            )  # fmt: skip
            for line, line_text in enumerate((box.note, box.proof)):
                text.write(
                    canvas, left + 5, top - 20 - 8 * line, line_text, size=6,
                    room=wide - 18, color=CAPTION,
                )  # fmt: skip
            half = (wide - 18) * 0.62
            for start, caption, value, room in (
                (0, "Name and signature", box.name, half - 6),
                (half, "Date", box.date, wide - 18 - half),
            ):
                base = top - height + 15
                text.write(canvas, left + 5 + start, base, value, size=8.5, room=room)
                canvas.setLineWidth(0.3)
                canvas.line(
                    left + 5 + start, base - 3, left + 5 + start + room, base - 3
                )
                text.write(
                    canvas, left + 5 + start, base - 10, caption, size=5.2,
                    color=CAPTION,
                )  # fmt: skip

    return Block(height, draw)
