"""A sheet: flowing blocks above a title block (fields after ISO 7200) with page x of
y, QR code and digest line."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from shop.numeric.paper_sizes import CONTENT, MM, Paper, paper_named
from shop.paper import qr, text
from shop.paper.archival import Tags, archived
from shop.paper.flow import CAPTION, RULE, Block, Place, caption_value, paginate
from shop.paper.fonts import BOLD, SEMIBOLD
from shop.paper.page import pdf

# tell(pages done, pages in all)
Tell = Callable[[int, int], None]
FOOT = 26 * MM
CODE = 26 * MM


@dataclass(frozen=True)
class TitleBlock:
    """Data fields of a title block. ISO 7200:2004 requires owner, number, date, sheet,
    title, approver, creator and
    type of document (list from memory, the standard was not at hand)."""

    owner: str
    document_type: str
    number: str
    title: str
    subtitle: str = ""
    revision: str = ""
    date: str = ""
    creator: str = ""
    approver: str = ""
    url: str = ""
    digest: str = ""
    ledger_head: str = ""
    banner: str = ""
    # A warning written across every sheet: this paper must not be worked by.
    across: str = ""


def room(paper: Paper) -> float:
    """Height in points left for blocks on one page."""
    return paper.height - paper.top - paper.foot - FOOT - 2 * 8 * MM


def sheets(
    blocks: Sequence[Block],
    block: TitleBlock,
    *,
    paper: str = "a4",
    issued_at: datetime,
    attachments: Sequence[tuple[str, str, bytes]] = (),
    places: "Places | None" = None,
    keywords: str = "",
    tell: "Tell | None" = None,
    archive: bool = False,
) -> bytes:
    """PDF bytes of the blocks on as many numbered pages as they need; `places` is told
    where each began before anything is drawn, `tell` each page when it is.
    archive: as PDF/A-3b, tagged (shop.paper.archival)."""
    tags = Tags() if archive else None
    size = paper_named(paper)
    pages = paginate(blocks, room(size))
    total = len(pages)
    places = places if places is not None else Places()
    places.fill(pages)

    def page(number: int, content: list[Block]):
        def draw(canvas):
            _begin(canvas, tags)
            furniture(canvas, size, block, number, total)
            if tags:
                tags.close(canvas)
            top = size.height - size.top - 8 * MM
            for item in content:
                _draw(canvas, item, number, size.left, top, tags)
                top -= item.height
            if block.across:
                write_across(canvas, size.width, size.height, block.across)
            if tell:
                tell(number, total)

        return draw

    data = pdf(
        [page(i, content) for i, content in enumerate(pages, 1)],
        paper=size,
        issued_at=issued_at,
        title=f"{block.document_type} {block.number} {block.title}",
        author=block.owner,
        subject=block.subtitle,
        keywords=keywords,
        attachments=attachments,
    )
    return archived(data, issued_at, tags) if tags else data


def _begin(canvas, tags: Tags | None) -> None:
    """A page, with what is on every one."""
    canvas._aloud = tags is not None
    if tags:
        tags.new_page()
        tags.open_artifact(canvas)


def _draw(canvas, item: Block, number: int, left: float, top: float, tags) -> None:
    if item.place and item.place.name:
        _bookmark(canvas, item.place, number, top)
    if item.space:
        return
    canvas._tags = tags if item.tag == "TR" else None
    if tags is None:
        item.draw(canvas, left, top, CONTENT)
    elif item.tag == "TR":
        tags.row()
        item.draw(canvas, left, top, CONTENT)
    else:
        if item.tag == "Artifact":
            tags.open_artifact(canvas)
        else:
            tags.open(canvas, item.tag, item.alt, goes_on=item.goes_on)
        item.draw(canvas, left, top, CONTENT)
        tags.close(canvas)


class Places:
    """On which page each place begins: known when the first page is drawn, for tables
    of contents and indexes that are drawn by it."""

    def __init__(self):
        self.page: dict[str, int] = {}
        self.pages: dict[str, list[int]] = {}
        self.total = 0

    def fill(self, pages: Sequence[Sequence[Block]]) -> None:
        self.total = len(pages)
        for number, content in enumerate(pages, 1):
            for place in (block.place for block in content if block.place):
                self.page.setdefault(place.name, number)
                for word in place.words:
                    numbers = self.pages.setdefault(word, [])
                    if number not in numbers:
                        numbers.append(number)


def _bookmark(canvas, place: Place, number: int, top: float) -> None:
    key = f"{number}/{place.name}"
    canvas.bookmarkHorizontal(key, 0, top + 6)
    canvas.addOutlineEntry(text.clean(place.name), key, place.level, closed=True)
    canvas.showOutline()


def write_across(canvas, width: float, height: float, words: str) -> None:
    """A warning from corner to corner of a page of that size, in points: outlined, so
    that what is beneath can still be read."""
    long = math.hypot(width, height) * 0.8
    size = min(64.0, 40 * long / max(text.width(text.clean(words), BOLD, 40), 1.0))
    canvas.saveState()
    canvas.translate(width / 2, height / 2)
    canvas.rotate(math.degrees(math.atan2(height, width)))
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(1.1)
    line = canvas.beginText()
    line.setFont(BOLD, size)
    line.setTextRenderMode(1)
    line.setTextOrigin(-text.width(text.clean(words), BOLD, size) / 2, -size / 3)
    line.textOut(text.clean(words))
    canvas.drawText(line)
    canvas.restoreState()


def furniture(canvas, paper: Paper, block: TitleBlock, number: int, total: int) -> None:
    """Head line, title block, code and digest line of one page."""
    _head(canvas, paper, block, number, total)
    _foot(canvas, paper, block, number, total)


def _head(canvas, paper: Paper, block: TitleBlock, number: int, total: int) -> None:
    x, y = paper.left, paper.height - paper.top
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.6)
    canvas.line(x, y - 5 * MM, x + CONTENT, y - 5 * MM)
    text.write(
        canvas,
        x,
        y - 3.4 * MM,
        block.owner,
        font=SEMIBOLD,
        size=7.5,
        room=CONTENT * 0.4,
    )
    right = f"{block.document_type}  ·  {block.number}"
    text.write(
        canvas,
        x + CONTENT,
        y - 3.4 * MM,
        right,
        size=7.5,
        align="right",
        room=CONTENT * 0.4,
    )
    if block.banner:
        text.write(
            canvas,
            x + CONTENT / 2,
            y + 1.2 * MM,
            block.banner,
            font=BOLD,
            size=9,
            align="center",
            room=CONTENT,
        )


def _title(canvas, x: float, top: float, room: float, title: str) -> None:
    """The title on one line, or smaller on two."""
    caption_value(canvas, x, top, room, "Title", "")
    if text.width(text.clean(title), SEMIBOLD, 8) <= room:
        text.write(canvas, x, top - 17, title, font=SEMIBOLD, size=8)
        return
    for k, line in enumerate(text.wrap(title, room, SEMIBOLD, 6.4, most=2)):
        text.write(canvas, x, top - 13.4 - k * 7.4, line, font=SEMIBOLD, size=6.4)


NO_CODE = ("No code:", "printed where the", "shop's address is", "not known. Print it",
           "from a page opened", "by that address.")  # fmt: skip


def _no_code(canvas, middle: float, top: float) -> None:
    """A code that leads to "this machine" would lead a tablet nowhere."""
    for k, line in enumerate(NO_CODE):
        font, size = (BOLD, 7.5) if k == 0 else (SEMIBOLD, 6)
        down = top - 16 - k * 9
        text.write(canvas, middle, down, line, font=font, size=size, align="center")


def _foot(canvas, paper: Paper, block: TitleBlock, number: int, total: int) -> None:
    x, y = paper.left, paper.foot + 3 * MM
    right = CONTENT - CODE
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.8)
    canvas.rect(x, y, CONTENT, FOOT)
    canvas.setLineWidth(0.35)
    row = FOOT / 3
    canvas.line(x + right, y, x + right, y + FOOT)
    for level in (row, 2 * row):
        canvas.line(x, y + level, x + right, y + level)
    cells = (
        (2, 0.00, 0.40, "Owner", block.owner),
        (2, 0.40, 0.66, "Document type", block.document_type),
        (2, 0.66, 1.00, "Number", block.number),
        (1, 0.00, 0.66, "Title", block.title),
        (1, 0.66, 0.82, "Revision", block.revision),
        (1, 0.82, 1.00, "Sheet", f"{number} of {total}"),
        (0, 0.00, 0.33, "Created by", block.creator),
        (0, 0.33, 0.66, "Approved by", block.approver),
        (0, 0.66, 1.00, "Date of issue", block.date),
    )
    for level, start, end, caption, value in cells:
        left = x + start * right
        if start:
            canvas.line(left, y + level * row, left, y + (level + 1) * row)
        wide = (end - start) * right - 8
        top = y + (level + 1) * row - 1.5
        if caption == "Title":
            _title(canvas, left + 4, top, wide, value)
        else:
            caption_value(canvas, left + 4, top, wide, caption, value)
    _code(canvas, block.url, x + right, y)
    _identity(canvas, x, y, block)


def _code(canvas, url: str, x: float, y: float) -> None:
    """The code that leads to the record, or why there is none."""
    if qr.leads_nowhere(url):
        _no_code(canvas, x + CODE / 2, y + FOOT)
    elif 0 < len(url) <= qr.LONGEST:
        qr.draw(canvas, url, x, y, FOOT)
    else:
        words = "address below" if url else "no record"
        middle = x + CODE / 2, y + FOOT / 2
        text.write(canvas, *middle, words, size=6, align="center", color=CAPTION)


def _identity(canvas, x: float, y: float, block: TitleBlock) -> None:
    """Below the title block: digest, place in the ledger, address."""
    line = "  ·  ".join(
        part
        for part in (
            block.digest and f"content sha256 {block.digest}",
            block.ledger_head and f"ledger head {block.ledger_head}",
        )
        if part
    )
    if line:
        text.write(canvas, x, y - 2.6 * MM, line, size=4.6, room=CONTENT)
    if block.url:
        text.write(
            canvas, x, y - 5 * MM, block.url, size=4.6, color=CAPTION, room=CONTENT
        )
