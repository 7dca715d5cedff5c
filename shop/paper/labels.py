"""Labels with a QR code: on sheets of common sizes, or one alone on a roll.

Geometry only, in mm: page, columns and rows, size of a label, corner of the first one
and pitch. Common practice of label sheets, from memory; measure a sheet before a run.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from shop.paper import qr, text
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD
from shop.paper.page import MM, PAPERS, Paper, pdf

INCH = 25.4
# Nothing but the code's own quiet zone nearer to the edge than this: printers leave
# the edge of the page white, and sheets sit a little askew.
EDGE = 2.0
RIGHT_EDGE = 4.5
# A code of this side is read at arm's length; on a larger label it may take two fifths
# of the width, and the words grow with it.
USUAL_CODE = 30.0


@dataclass(frozen=True)
class LabelSheet:
    """One geometry of a sheet; lengths in mm, `top` counted from the upper edge."""

    name: str
    paper: Paper
    columns: int
    rows: int
    width: float
    height: float
    left: float = 0.0
    top: float = 0.0
    pitch_x: float = 0.0
    pitch_y: float = 0.0

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def code(self) -> float:
        """Side of the square of the code with its quiet zone, in mm."""
        most = max(USUAL_CODE, self.width * 0.4)
        return min(self.height - 1, self.width * 0.5, most)

    @property
    def grown(self) -> float:
        """How much larger than usual the words may be."""
        return max(1.0, self.code / USUAL_CODE)

    def place(self, number: int) -> tuple[float, float]:
        """Lower left corner of a label in mm from that of the page; 0 is the first,
        at the upper left, counted row by row."""
        row, column = divmod(number, self.columns)
        height = self.paper.height / MM
        return (
            self.left + column * self.pitch_x,
            height - self.top - row * self.pitch_y - self.height,
        )


def _roll(width: float, height: float) -> LabelSheet:
    paper = Paper(f"label {width:g} x {height:g}", width * MM, height * MM, 0, 0)
    name = f"single label, {width:g} x {height:g} mm"
    return LabelSheet(name, paper, 1, 1, width, height)


A4, LETTER = PAPERS["a4"], PAPERS["letter"]
SHEETS = {
    "a4-24": LabelSheet("A4, 3 x 8 of 70 x 37 mm", A4, 3, 8, 70, 37, 0, 0.5, 70, 37),
    "a4-21": LabelSheet(
        "A4, 3 x 7 of 63.5 x 38.1 mm", A4, 3, 7, 63.5, 38.1, 7.25, 15.15, 66, 38.1
    ),
    "a4-8": LabelSheet(
        "A4, 2 x 4 of 99.1 x 67.7 mm", A4, 2, 4, 99.1, 67.7, 4.65, 13.1, 101.6, 67.7
    ),
    "letter-30": LabelSheet(
        *("US Letter, 3 x 10 of 2 5/8 x 1 in", LETTER, 3, 10),
        *(2.625 * INCH, INCH, 0.1875 * INCH, 0.5 * INCH, 2.75 * INCH, INCH),
    ),
    "letter-10": LabelSheet(
        *("US Letter, 2 x 5 of 4 x 2 in", LETTER, 2, 5),
        *(4 * INCH, 2 * INCH, 0.15625 * INCH, 0.5 * INCH, 4.1875 * INCH, 2 * INCH),
    ),
    "single-50": _roll(50, 25),
    "single-62": _roll(62, 29),
    "single-100": _roll(100, 50),
}


@dataclass(frozen=True)
class Label:
    """What a label says. `address` is in the square, `code` and `kind` stand below."""

    address: str
    code: str
    title: str
    lines: tuple[str, ...] = ()
    kind: str = ""


def labels(
    items: Sequence[Label],
    sheet: LabelSheet,
    *,
    first: int = 1,
    owner: str = "",
    issued_at: datetime,
) -> bytes:
    """PDF bytes; the first `first` - 1 places of the first sheet are left empty.

    ValueError when the first sheet has no place of that number.
    """
    if not 1 <= first <= sheet.count:
        raise ValueError(f"the sheet has labels 1 to {sheet.count}, not {first}")
    places = [None] * (first - 1) + list(items)
    pages = [places[i : i + sheet.count] for i in range(0, len(places), sheet.count)]

    def page(content):
        def draw(canvas):
            for number, label in enumerate(content):
                if label:
                    _label(canvas, sheet, number, label, owner)

        return draw

    return pdf(
        [page(content) for content in pages],
        paper=sheet.paper,
        issued_at=issued_at,
        title="Labels",
        author=owner,
    )


def _label(canvas, sheet: LabelSheet, number: int, label: Label, owner: str) -> None:
    x, y = (value * MM for value in sheet.place(number))
    width, height, side = sheet.width * MM, sheet.height * MM, sheet.code * MM
    at = x + (EDGE * MM if width - side > 30 * MM else 0)
    if qr.leads_nowhere(label.address):
        _no_code(canvas, at, y + height / 2, side)
    else:
        qr.draw(canvas, label.address, at, y + (height - side) / 2, side)
    left = at + side
    room = x + width - left - (RIGHT_EDGE if sheet.columns > 1 else EDGE) * MM
    grown = sheet.grown
    # As tall as the code itself, so that both stand on one line.
    top = y + (height + side) / 2 - 3 * MM
    foot = y + (height - side) / 2 + 3 * MM
    top = _title(canvas, left, top, room, label.title, min(14.0 * grown, height / 6))
    _code(canvas, left, foot, room, label, grown)
    size = max(5.6, min(8.0 * grown, height / 12))
    lines = [
        part
        for line in label.lines
        for part in text.wrap(line, room, REGULAR, size, most=2)
    ]
    for line in lines:
        top -= size * 1.25
        if top < foot + 16 * grown:
            break
        text.write(canvas, left, top, line, size=size, room=room)
    if owner and height > 34 * MM:
        base = y + (height - side) / 2 - 1 * MM
        text.write(canvas, left, base, owner, size=5.5, room=room)


def _no_code(canvas, left: float, middle: float, side: float) -> None:
    """Words for a code that would lead nowhere: an address of this machine only."""
    size = min(6.5, side / 11)
    top = middle + (len(qr.NO_CODE) / 2 - 1) * size * 1.25
    for k, line in enumerate(qr.NO_CODE):
        text.write(
            canvas, left + side / 2, top - k * size * 1.25, line, size=size,
            align="center",
        )  # fmt: skip


def _title(canvas, left, top, room, title: str, size: float) -> float:
    """The name, as large as fits on one line, else on two; the height it ends at."""
    shown = text.clean(title)
    while size > 7.5 and text.width(shown, BOLD, size) > room:
        size -= 0.5
    for line in text.wrap(title, room, BOLD, size, most=2):
        top -= size
        text.write(canvas, left, top, line, font=BOLD, size=size, room=room)
    return top - size * 0.2


def _code(canvas, left, foot, room, label: Label, grown: float) -> None:
    """The code to type where no camera reads, and the address it belongs to."""
    base = foot + 5.5 * grown
    used = text.write(
        canvas, left, base, label.code, font=SEMIBOLD, size=9 * grown, room=room
    )
    room_left = room - used - 4
    if label.kind and room_left > 12:
        at = left + used + 4
        text.write(canvas, at, base, label.kind, size=6.5 * grown, room=room_left)
    address = label.address.partition("//")[2]
    text.write(canvas, left, foot - 0.5, address, size=4.6 * grown, room=room)
