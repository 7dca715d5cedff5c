"""What must come off an airframe: a list to tick at the airframe, bay by bay."""

from collections.abc import Sequence

from qa.paper import blocks
from qa.queries.temporary_papers import OffList, OffRow
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.flow import CAPTION, paragraph
from shop.paper.fonts import SEMIBOLD

DOCUMENT_TYPE = "Must come off"
BOX = 8.0


def render(listed: OffList, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"."""
    block = TitleBlock(
        owner=listed.shop,
        document_type=DOCUMENT_TYPE,
        number=listed.number,
        title=f"Must come off {listed.airframe}",
        date=listed.issued_text,
        creator=listed.creator,
        url=listed.url,
        digest=listed.digest,
        ledger_head=listed.ledger_head,
    )
    return sheets(story(listed), block, paper=paper, issued_at=listed.issued_at)


def story(listed: OffList) -> list[Block]:
    """Bay by bay what is in, with a box for each line, and where to sign."""
    counts = f"{listed.pieces} still in, or not found ({listed.missing})"
    out: list[Block] = [blocks.masthead(f"Must come off {listed.airframe}", counts)]
    for bay in listed.bays:
        out += [heading(bay.name, bay.count)]
        rows = [_cells(row) for row in bay.rows]
        out += [*table(COLUMNS, rows, CONTENT, marks=_box, padding=5), gap(4)]
    if not listed.bays:
        out += [*paragraph("Nothing is in: in and out are the same.", CONTENT), gap(5)]
    words = (
        "Count what comes out against the list, and record it at the airframe's page. "
        "What cannot be found keeps its bay open.",
    )
    return out + blocks.closing(words, listed.signatures)


COLUMNS: Sequence[Column] = (
    Column("Out", 9),
    Column("Number", 15, font=SEMIBOLD, lines=2),
    Column("What", 38, lines=3),
    Column("Where", 40, lines=3),
    Column("Why", 38, lines=3),
    Column("Put in by", 32, lines=2),
    Column("In", 10, "right", font=SEMIBOLD),
    Column("Not found", 14, "right"),
)


def _cells(row: OffRow) -> tuple[str, ...]:
    return ("", row.number, row.what, row.where, row.why, row.put_in, row.inside,
            row.missing)  # fmt: skip


def _box(canvas, _row, column, x, middle) -> float:
    """An empty box to tick."""
    if column:
        return 0.0
    canvas.setStrokeColor(CAPTION)
    canvas.setLineWidth(0.8)
    canvas.rect(x, middle - BOX / 2, BOX, BOX, stroke=1, fill=0)
    return BOX + 2
