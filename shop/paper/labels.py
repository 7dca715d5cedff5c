"""Labels with a QR code: on sheets of common sizes, or one alone on a roll."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from shop.numeric.label_sheets import LabelSheet
from shop.numeric.paper_sizes import MM
from shop.paper import qr, text
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD
from shop.paper.page import pdf

# Nothing but the code's own quiet zone nearer to the edge than this: printers leave
# the edge of the page white, and sheets sit a little askew.
EDGE = 2.0
RIGHT_EDGE = 4.5


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
