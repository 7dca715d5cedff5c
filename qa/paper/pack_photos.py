"""The photos of a pack, two beside each other, each with what it shows."""

from qa.paper.pack_front import section_heading
from qa.queries.packs.photos import PackPhoto, Photos
from shop.numeric.paper_sizes import CONTENT, MM
from shop.paper import Block, text
from shop.paper.flow import CAPTION, RULE, Place
from shop.paper.fonts import SEMIBOLD

PICTURE = 70 * MM
BETWEEN = 8 * MM


def story(section: Photos) -> list[Block]:
    if not section.photos:
        return []
    out = section_heading("Photos", f"{len(section.photos)}")
    for at in range(0, len(section.photos), 2):
        out.append(_pair(section.photos[at : at + 2]))
    return out


def _pair(photos: tuple[PackPhoto, ...]) -> Block:
    wide = (CONTENT - BETWEEN) / 2

    def draw(canvas, x, top, width):
        for number, one in enumerate(photos):
            _photo(canvas, one, x + number * (wide + BETWEEN), top, wide)

    words = tuple(one.shows for one in photos)
    told = "; ".join(f"Photo of {one.shows}: {one.note}" for one in photos)
    place = Place("", 2, words)
    return Block(PICTURE + 12 * MM, draw, place=place, tag="Figure", alt=told)


def _photo(canvas, one: PackPhoto, x: float, top: float, wide: float) -> None:
    scale = min(wide / one.width, PICTURE / one.height)
    size = one.width * scale, one.height * scale
    if one.path:
        canvas.drawImage(one.path, x, top - size[1], *size)
    else:
        canvas.setStrokeColor(RULE)
        canvas.rect(x, top - size[1], *size)
        text.write(canvas, x + 8, top - 20, one.missing, room=size[0] - 16)
    below = top - size[1] - 9
    words = f"{one.shows}: {one.note}" if one.note else one.shows
    text.write(canvas, x, below, words, font=SEMIBOLD, size=7.5, room=wide)
    told = f"{one.taken}; sha256 {one.sha256[:16]}"
    text.write(canvas, x, below - 9, told, size=6, room=wide, color=CAPTION)
