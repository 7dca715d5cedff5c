"""Text on paper: cleaned, measured, shortened or wrapped to fit, and drawn. Sizes and
widths in points."""

import unicodedata
from functools import cache, lru_cache

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.pdfmetrics import stringWidth

from shop.paper import signs
from shop.paper.fonts import REGULAR, covered, register

INK = "#111111"
MISSING = "?"


@cache
def paint(color: str) -> Color:
    """The color object of "#rrggbb"; reportlab reads a string anew each time."""
    return HexColor(color)


def clean(value: object) -> str:
    """`value` as one line that the fonts can show: composed, without control or
    direction characters.

    A character that neither the font nor our signs have becomes "?": the record keeps
    what was typed.
    """
    return _clean(str(value))


def is_lossy(value: str) -> bool:
    """Whether a "?" on paper stands for something else that was typed."""
    return clean(value).count(MISSING) > value.count(MISSING)


# The same words stand in every row and on every page.
@lru_cache(maxsize=8192)
def _clean(value: str) -> str:
    out = []
    known = covered()
    for char in unicodedata.normalize("NFC", value):
        category = unicodedata.category(char)
        if char.isspace():
            out.append("\u00a0" if char == "\u00a0" else " ")
        elif category in ("Cc", "Cf", "Cs", "Co", "Cn"):
            continue
        elif char in signs.SIGNS or ord(char) in known:
            out.append(char)
        else:
            out.append(MISSING)
    return "".join(out).strip(" ")


@lru_cache(maxsize=8192)
def _runs(text: str) -> tuple[tuple[str, bool], ...]:
    """Split into (piece, is_sign); pieces that are signs are one character long."""
    out: list[tuple[str, bool]] = []
    for char in text:
        if char in signs.SIGNS:
            out.append((char, True))
        elif out and not out[-1][1]:
            out[-1] = (out[-1][0] + char, False)
        else:
            out.append((char, False))
    return tuple(out)


@lru_cache(maxsize=16384)
def width(text: str, font: str = REGULAR, size: float = 8) -> float:
    """Advance of cleaned text in points."""
    register()
    return sum(
        signs.SIGNS[piece].advance * size if is_sign else stringWidth(piece, font, size)
        for piece, is_sign in _runs(text)
    )


def fit(value: object, room: float, font: str = REGULAR, size: float = 8) -> str:
    """The cleaned text, visibly shortened with an ellipsis when it is wider than
    `room`."""
    text = clean(value)
    if width(text, font, size) <= room:
        return text
    low, high = 0, len(text)
    while low < high:  # longest head that fits with its ellipsis
        middle = (low + high + 1) // 2
        if width(text[:middle].rstrip() + "…", font, size) <= room:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…"


def wrap(
    value: object, room: float, font: str = REGULAR, size: float = 8, most: int = 0
) -> list[str]:
    """Lines no wider than `room`; words that are wider are broken. With `most` the
    last line is shortened visibly."""
    lines: list[str] = []
    line = ""
    for word in clean(value).split(" "):
        candidate = f"{line} {word}" if line else word
        if width(candidate, font, size) <= room:
            line = candidate
            continue
        if line:
            lines.append(line)
        while width(word, font, size) > room and len(word) > 1:
            cut = _longest_head(word, room, font, size)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    lines.append(line)
    if most and len(lines) > most:
        rest = " ".join(lines[most - 1 :])
        lines = lines[: most - 1] + [fit(rest, room, font, size)]
    return lines


def _longest_head(word: str, room: float, font: str, size: float) -> int:
    cut = 1
    while cut < len(word) and width(word[: cut + 1], font, size) <= room:
        cut += 1
    return cut


def write(
    canvas,
    x: float,
    y: float,
    value: object,
    *,
    font: str = REGULAR,
    size: float = 8,
    align: str = "left",
    room: float | None = None,
    color: str = INK,
) -> float:
    """Draw one line with its base line at (x, y); `align` is left, center or right;
    returns its width.

    With `room` it is shortened to fit. Nothing is interpreted as markup, so there is
    nothing to escape.
    """
    text = clean(value) if room is None else fit(value, room, font, size)
    advance = width(text, font, size)
    x -= {"left": 0.0, "center": advance / 2, "right": advance}[align]
    if canvas._fillColorObj is not paint(color):  # each setting costs bytes and time
        canvas.setFillColor(paint(color))
    # Who has it read aloud hears where one line ends and the next begins.
    after = " " if canvas.__dict__.get("_aloud") else ""
    for piece, is_sign in _runs(text):
        if is_sign:
            signs.draw(canvas, signs.SIGNS[piece], x, y, size)
            x += signs.SIGNS[piece].advance * size
        else:
            show = _shown(canvas, piece + after, font, size)
            canvas._code.append(f"BT 1 0 0 1 {x:.3f} {y:.3f} Tm {show} ET")
            x += width(piece, font, size)
    return advance


def _shown(canvas, piece: str, font: str, size: float) -> str:
    """The operators that show some text, as reportlab's text object would write them.

    The same words stand in every row and on every page: each is encoded once a file.
    """
    known = canvas.__dict__.setdefault("_shown", {})
    key = piece, font, size
    if key not in known:
        document, face = canvas._doc, pdfmetrics.getFont(font)
        parts = []
        for subset, codes in face.splitString(piece, document):
            name = face.getSubsetInternalName(subset, document)
            parts.append(f"{name} {size:g} Tf ({canvas._escape(codes)}) Tj")
        known[key] = " ".join(parts)
    return known[key]
