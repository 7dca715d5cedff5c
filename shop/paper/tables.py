"""Tables: a head that is repeated on each page, and a block for each row."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from shop.paper import text
from shop.paper.flow import CAPTION, HAIR, RULE, Block, Place
from shop.paper.fonts import REGULAR, SEMIBOLD


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


def table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[object]],
    width: float,
    *,
    size: float = 7.5,
    rules: Sequence[bool] | None = None,
    marks: Callable | None = None,
    padding: float = 3,
    whole: bool = False,
    places: Sequence[Place] = (),
) -> list[Block]:
    """A head and one block per row. Cells longer than their column are wrapped up to
    its `lines`, then shortened; of a `whole` table none is: it takes as many lines as
    it needs, on several pages where one has no room for them.

    `places[i]` begins at row i. `rules[i]` draws a hair line above row i, and a row
    without one stays on the page of the row above it; without `rules` every row has its
    line. `marks(canvas, row, column, x, middle)` may draw in a cell and returns the
    width that it took there.
    """
    edges = _edges(columns, rows, width, size)
    head = _table_head(columns, edges, size)
    blocks = [replace(head, keep=True)]
    for number, row in enumerate(rows):
        ruled = number > 0 and (rules is None or rules[number])
        joined = rules is not None and number + 1 < len(rows) and not rules[number + 1]
        most = WHOLE if whole else 0
        cells = [
            _lines_of(value, column, _room(edges, i, column), size, whole)
            for i, (column, value) in enumerate(zip(columns, row, strict=True))
        ]
        place, sign = places[number] if places else None, marks
        for part in _parts(cells, most):
            block = _table_row(
                columns, edges, part, number, size, ruled, sign, padding, head
            )
            blocks.append(replace(block, keep=joined, place=place))
            ruled, place, sign = False, None, None
    return blocks


# More lines of one row go on below, perhaps on the next page.
WHOLE = 40


def _lines_of(value, column: Column, room: float, size: float, whole: bool) -> list:
    """The lines of a cell."""
    single = column.lines == 1
    if single and not (
        whole and text.width(text.clean(value), column.font, size) > room - column.mark
    ):
        return [value]
    most = 0 if whole else column.lines
    return text.wrap(value, room - column.mark, column.font, size, most=most)


def _parts(cells: list[list], most: int) -> list[list[list]]:
    """A row, or what of it stands below each other where it has more than `most` lines;
    0 is any number."""
    longest = max(map(len, cells))
    if not most or longest <= most:
        return [cells]
    return [
        [cell[begin : begin + most] for cell in cells]
        for begin in range(0, longest, most)
    ]


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


def _table_row(
    columns, edges, cells, number, size, ruled, marks, padding, head
) -> Block:
    leading = size * 1.3
    height = max(len(cell) for cell in cells) * leading + padding

    def draw(canvas, x, top, width):
        if ruled:
            _rule(canvas, x, top, width, HAIR, 0.3)
        base = top - padding / 2 - size * 0.93
        for i, column in enumerate(columns):
            closes = _open_cell(canvas, "TD", cells[i][0] if cells[i] else "")
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
