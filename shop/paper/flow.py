"""Blocks that flow down numbered pages. A block knows its height before it is drawn,
so the page count is known too."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from shop.numeric.paper_sizes import CONTENT, MM
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


def gap(height_mm: float, keep: bool = False) -> Block:
    """Empty space of so many millimeters; `keep` holds it with what follows."""
    return Block(height_mm * MM, lambda *_: None, keep=keep, space=True)


def heading(title: str, note: str = "") -> Block:
    """A section heading over a thin rule, with an optional note at the right. A long
    one takes several lines."""
    beside = text.width(text.clean(note), REGULAR, 7)
    wide = max(CONTENT - beside - 12, CONTENT / 2) if note else CONTENT
    lines = text.wrap(title, wide, SEMIBOLD, 10)
    more = 12 * (len(lines) - 1)

    def draw(canvas, x, top, width):
        for number, line in enumerate(lines):
            y = top - 11 - 12 * number
            used = text.write(canvas, x, y, line, font=SEMIBOLD, size=10)
        if note:
            room = width - used - 12
            text.write(
                canvas,
                x + width,
                top - 11 - more,
                note,
                size=7,
                align="right",
                color=CAPTION,
                room=room,
            )
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        canvas.line(x, top - 15 - more, x + width, top - 15 - more)

    return Block(19 + more, draw, keep=True, tag="H3")


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
    "Place",
    "caption_value",
    "gap",
    "heading",
    "paginate",
    "paragraph",
]
