"""The index of a pack: every joint, serial, item and instrument, with its pages."""

from qa.paper.pack_front_matter import section_heading
from shop.paper import Block, text
from shop.paper.fonts import SEMIBOLD
from shop.paper.sheet import Places

COLUMNS = 3
SIZE = 7.5


def story(body: list[Block], places: Places) -> list[Block]:
    """Lines of three entries; the pages are read when they are drawn."""
    words = sorted({w for block in body if block.place for w in block.place.words if w})
    if not words:
        return []
    deep = -(-len(words) // COLUMNS)
    rows = [words[k::deep] for k in range(deep)]
    return [*section_heading("Index"), *(_row(row, places) for row in rows)]


def _row(words: list[str], places: Places) -> Block:
    def draw(canvas, x, top, width):
        wide = width / COLUMNS
        for number, word in enumerate(words):
            left = x + number * wide
            used = text.write(
                canvas, left, top - SIZE, word, font=SEMIBOLD, size=SIZE,
                room=wide * 0.6,
            )  # fmt: skip
            pages = ", ".join(map(str, places.pages.get(word, ())))
            room = wide - used - 14
            text.write(canvas, left + used + 6, top - SIZE, pages, size=SIZE, room=room)

    return Block(SIZE * 1.45, draw)
