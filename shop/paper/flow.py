"""Blocks that flow down numbered pages. A block knows its height before it is drawn,
so the page count is known too."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from shop.numeric.paper_sizes import MM
from shop.paper import text
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD

# draw(canvas, left, top, width): y grows upward, `top` is the upper edge of the block.
Draw = Callable[[object, float, float, float], None]
RULE = "#111111"
HAIR = "#9a9a9a"
CAPTION = "#444444"


@dataclass(frozen=True)
class Place:
    """What begins at a block: a bookmark of that name and level ("" is none), and the
    words by which an index leads there."""

    name: str = ""
    level: int = 0
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Block:
    """`height` points of a page. `keep` holds it on one page with the next block;
    `again` is drawn first on a
    page that begins in the middle of a run (the head of a table); a `space` is dropped
    at the top of a page; `fresh` begins a page, unless all until the next such block
    fits what is left of this one; `place` is what begins here. Read aloud it is a `tag`
    of PDF, a figure with the words `alt`; one that `goes_on` is a line of what came
    before. A row (TR) marks its own cells."""

    height: float
    draw: Draw
    keep: bool = False
    again: "Block | None" = None
    space: bool = False
    fresh: bool = False
    place: Place | None = None
    tag: str = "P"
    alt: str = ""
    goes_on: bool = False


@dataclass(frozen=True)
class Column:
    """A column of a table: heading, share of the width, alignment, font, how many
    lines a cell may take, and the points that a mark takes before its text."""

    title: str
    share: float
    align: str = "left"
    font: str = REGULAR
    lines: int = 1
    mark: float = 0.0


def gap(height_mm: float, keep: bool = False) -> Block:
    """Empty space of so many millimeters; `keep` holds it with what follows."""
    return Block(height_mm * MM, lambda *_: None, keep=keep, space=True)


def heading(title: str, note: str = "") -> Block:
    """A section heading over a thin rule, with an optional note at the right."""

    def draw(canvas, x, top, width):
        used = text.write(canvas, x, top - 11, title, font=SEMIBOLD, size=10)
        if note:
            room = width - used - 12
            text.write(
                canvas,
                x + width,
                top - 11,
                note,
                size=7,
                align="right",
                color=CAPTION,
                room=room,
            )
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        canvas.line(x, top - 15, x + width, top - 15)

    return Block(19, draw, keep=True, tag="H3")


def paragraph(
    value: object,
    width: float,
    *,
    size: float = 8,
    font: str = REGULAR,
    indent: float = 0,
) -> list[Block]:
    """One block per line, so that long text flows over pages."""
    leading = size * 1.4
    blocks = []
    for line in text.wrap(value, width - indent, font, size):

        def draw(canvas, x, top, _width, line=line):
            text.write(canvas, x + indent, top - size, line, font=font, size=size)

        blocks.append(Block(leading, draw, goes_on=bool(blocks)))
    return blocks


def table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[object]],
    width: float,
    *,
    size: float = 7.5,
    rules: Sequence[bool] | None = None,
    marks: Callable | None = None,
    padding: float = 3,
) -> list[Block]:
    """A head and one block per row. Cells longer than their column are wrapped up to
    its `lines`, then shortened.

    `rules[i]` draws a hair line above row i, and a row without one stays on the page of
    the row above it; without `rules` every row has its line. `marks(canvas, row,
    column, x, middle)` may draw in a cell and returns the width that it took there.
    """
    edges = _edges(columns, rows, width, size)
    head = _table_head(columns, edges, size)
    blocks = [replace(head, keep=True)]
    for number, row in enumerate(rows):
        ruled = number > 0 and (rules is None or rules[number])
        joined = rules is not None and number + 1 < len(rows) and not rules[number + 1]
        block = _table_row(
            columns, edges, row, number, size, ruled, marks, padding, head
        )
        blocks.append(replace(block, keep=joined))
    return blocks


def _edges(columns, rows, width, size) -> list[float]:
    """Edges of the columns: by their shares, but what lacks room takes from what has
    more than it needs."""
    total = sum(column.share for column in columns)
    widths = [column.share / total * width for column in columns]
    # No cell, however long, takes more than twice the share of its column.
    needs = [
        min(_need(column, {str(row[i]) for row in rows}, size), 2 * widths[i])
        for i, column in enumerate(columns)
    ]
    lacks = [max(need - has, 0) for need, has in zip(needs, widths, strict=True)]
    spares = [max(has - need, 0) for need, has in zip(needs, widths, strict=True)]
    moved = min(sum(lacks), sum(spares))
    if moved:
        give, take = moved / sum(spares), moved / sum(lacks)
        widths = [
            has + take * lack - give * spare
            for has, lack, spare in zip(widths, lacks, spares, strict=True)
        ]
    return [0.0, *itertools.accumulate(widths)]


# Lines break at words: several need a little more than their part of the whole.
RAGGED = 1.25


def _need(column: Column, cells: set[str], size: float) -> float:
    """Points that a column wants for its cells and its heading, in their lines."""
    needs = [_lines_need({column.title}, SEMIBOLD, size - 1, 2)]
    needs.append(column.mark + _lines_need(cells, column.font, size, column.lines))
    return max(needs) + BESIDE[column.align] + 0.1


def _lines_need(cells: set[str], font: str, size: float, lines: int) -> float:
    cells = {text.clean(cell) for cell in cells}
    if lines == 1:
        return max((text.width(cell, font, size) for cell in cells), default=0.0)
    words = {word for cell in cells for word in cell.split(" ")}
    longest = max((text.width(word, font, size) for word in words), default=0.0)
    whole = max((text.width(cell, font, size) for cell in cells), default=0.0)
    return max(longest, min(whole, whole / lines * RAGGED))


def _table_head(columns, edges, size) -> Block:
    titles = [
        text.wrap(column.title, _room(edges, i, column), SEMIBOLD, size - 1, most=2)
        for i, column in enumerate(columns)
    ]
    lines = max(len(title) for title in titles)
    height = lines * (size - 1) * 1.25 + 5

    def draw(canvas, x, top, width):
        for i, column in enumerate(columns):
            closes = _open_cell(canvas, "TH", column.title)
            for j, line in enumerate(titles[i]):
                y = top - height + 4 + (len(titles[i]) - 1 - j) * (size - 1) * 1.25
                _cell(
                    canvas,
                    x,
                    edges,
                    i,
                    y,
                    line,
                    column.align,
                    SEMIBOLD,
                    size - 1,
                    CAPTION,
                )
            _close_cell(canvas, closes)
        _rule(canvas, x, top - height, width, RULE, 0.6)

    return Block(height, draw, tag="TR")


def _open_cell(canvas, tag: str, value: object) -> bool:
    """Mark a cell for who has the page read aloud; whether it is to be closed."""
    tags = canvas.__dict__.get("_tags")
    if tags is None:
        return False
    if value in ("", None):
        tags.empty_cell(tag)
        return False
    tags.cell(canvas, tag)
    return True


def _close_cell(canvas, closes: bool) -> None:
    if closes:
        canvas._tags.close(canvas)


def _table_row(columns, edges, row, number, size, ruled, marks, padding, head) -> Block:
    leading = size * 1.3
    cells = [
        text.wrap(value, _room(edges, i, column), column.font, size, most=column.lines)
        if column.lines > 1
        else [value]
        for i, (column, value) in enumerate(zip(columns, row, strict=True))
    ]
    height = max(len(cell) for cell in cells) * leading + padding

    def draw(canvas, x, top, width):
        if ruled:
            _rule(canvas, x, top, width, HAIR, 0.3)
        base = top - padding / 2 - size * 0.93
        for i, column in enumerate(columns):
            closes = _open_cell(canvas, "TD", row[i])
            used = (
                marks(canvas, number, i, x + edges[i], base + size * 0.35)
                if marks
                else 0
            )
            for j, line in enumerate(cells[i]):
                _cell(
                    canvas,
                    x + used,
                    edges,
                    i,
                    base - j * leading,
                    line,
                    column.align,
                    column.font,
                    size,
                    used=used,
                )
            _close_cell(canvas, closes)

    return Block(height, draw, again=head, tag="TR")


def _rule(canvas, x: float, y: float, width: float, color: str, line: float) -> None:
    """A line of a table, which is not read: written as it is, since setting a color and
    a width anew costs more than the words of a row."""
    red, green, blue = text.paint(color).rgb()
    drawn = (
        f"q {red:.3f} {green:.3f} {blue:.3f} RG {line:g} w "
        f"{x:.3f} {y:.3f} m {x + width:.3f} {y:.3f} l S Q"
    )
    tagged = canvas.__dict__.get("_tags") is not None
    canvas._code.append(f"/Artifact BMC {drawn} EMC" if tagged else drawn)


# Points kept free at the right of a cell.
BESIDE = {"left": 4, "right": 7, "center": 4}


def _room(edges, i, column) -> float:
    """What a line of a cell may take: as wide as it is drawn later."""
    return edges[i + 1] - edges[i] - BESIDE[column.align]


def _cell(
    canvas, x, edges, i, y, value, align, font, size, color=text.INK, used=0.0
) -> None:
    left, right = edges[i], edges[i + 1] - BESIDE[align]
    room = right - left - used
    place = {"left": left, "right": right - used, "center": (left + right) / 2}[align]
    text.write(
        canvas,
        x + place,
        y,
        value,
        font=font,
        size=size,
        align=align,
        room=room,
        color=color,
    )


def caption_value(
    canvas,
    x: float,
    top: float,
    room: float,
    caption: str,
    value: object,
    size: float = 8,
) -> None:
    """A small caption over its value, the way a title block has it."""
    text.write(canvas, x, top - 6.5, caption, size=5.2, color=CAPTION, room=room)
    text.write(canvas, x, top - 9 - size, value, font=SEMIBOLD, size=size, room=room)


def paginate(blocks: Sequence[Block], room: float) -> list[list[Block]]:
    """Distribute blocks over pages of `room` points. A block taller than a page is
    refused with its height."""
    pages: list[list[Block]] = [[]]
    left = room
    i = 0
    while i < len(blocks):
        run = [blocks[i]]
        while run[-1].keep and i + len(run) < len(blocks):
            run.append(blocks[i + len(run)])
        need = sum(block.height for block in run)
        apart = run[0].fresh and pages[-1] and not _fits(blocks, i, left)
        if need > left or apart:
            pages.append([])
            left = room
            again = run[0].again
            if again is not None:
                # Read aloud once, where the table begins.
                pages[-1].append(replace(again, tag="Artifact"))
                left -= again.height
        i += len(run)
        while run and run[0].space and not pages[-1]:
            need -= run.pop(0).height  # no space at the top of a page
        if need > room:
            raise ValueError(
                f"a block of {need:.0f} points does not fit a page of {room:.0f}"
            )
        pages[-1] += run
        left -= need
    return [page for page in pages if page] or [[]]


def _fits(blocks: Sequence[Block], start: int, left: float) -> bool:
    """Whether all from one block until the next that begins a page needs no more than
    `left`."""
    for i in range(start, len(blocks)):
        if i > start and blocks[i].fresh:
            return True
        left -= blocks[i].height
        if left < 0:
            return False
    return True


__all__ = [
    "BOLD",
    "Block",
    "Column",
    "Place",
    "caption_value",
    "gap",
    "heading",
    "paginate",
    "paragraph",
    "table",
]
