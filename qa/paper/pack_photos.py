"""The photos of a pack, two beside each other, each with what it shows."""

from qa.paper.pack_front_matter import section_heading
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
    shown = [_words(photo, wide) for photo in photos]
    more = 9 * (max(map(len, shown)) - 1)

    def draw(canvas, x, top, width):
        for number, photo in enumerate(photos):
            left = x + number * (wide + BETWEEN)
            _photo(canvas, photo, shown[number], left, top, wide)

    words = tuple(photo.shows for photo in photos)
    caption = "; ".join(f"Photo of {photo.shows}: {photo.note}" for photo in photos)
    place = Place("", 2, words)
    high = PICTURE + 12 * MM + more
    return Block(high, draw, place=place, tag="Figure", alt=caption)


def _words(photo: PackPhoto, wide: float) -> list[str]:
    """What it shows, whole."""
    words = f"{photo.shows}: {photo.note}" if photo.note else photo.shows
    return text.wrap(words, wide, SEMIBOLD, 7.5)


def _photo(canvas, pack_photo: PackPhoto, words, x: float, top: float, wide: float):
    scale = min(wide / pack_photo.width, PICTURE / pack_photo.height)
    size = pack_photo.width * scale, pack_photo.height * scale
    if pack_photo.path:
        canvas.drawImage(pack_photo.path, x, top - size[1], *size)
    else:
        canvas.setStrokeColor(RULE)
        canvas.rect(x, top - size[1], *size)
        text.write(canvas, x + 8, top - 20, pack_photo.missing, room=size[0] - 16)
    below = top - size[1] - 9
    for line in words:
        text.write(canvas, x, below, line, font=SEMIBOLD, size=7.5)
        below -= 9
    caption = f"{pack_photo.taken}; sha256 {pack_photo.sha256[:16]}"
    text.write(canvas, x, below, caption, size=6, room=wide, color=CAPTION)
