"""The list of nonconformances as a sheet, in the order and filter of the page."""

from collections.abc import Sequence

from qa.paper import blocks
from qa.queries.nonconformances.item_lists import ListedItem, NonconformanceList
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.flow import paragraph
from shop.paper.fonts import SEMIBOLD

DOCUMENT_TYPE = "Nonconformance list"


def render(listed: NonconformanceList, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"."""
    block = TitleBlock(
        owner=listed.shop,
        document_type=DOCUMENT_TYPE,
        number=listed.number,
        title=listed.title,
        subtitle=listed.filters,
        date=listed.issued_text,
        creator=listed.creator,
        url=listed.url,
        digest=listed.digest,
        ledger_head=listed.ledger_head,
        banner=listed.banner,
    )
    return sheets(story(listed), block, paper=paper, issued_at=listed.issued_at)


def story(listed: NonconformanceList) -> list[Block]:
    """Masthead, counts, the table, what to measure again."""
    counts = ", ".join(f"{count} {word}" for word, count in listed.counts)
    subtitle = "  ·  ".join(p for p in (listed.filters, counts) if p)
    out: list[Block] = [blocks.masthead(listed.title, subtitle)]
    if listed.items:
        out += [*table(COLUMNS, [_cells(i) for i in listed.items], CONTENT), gap(5)]
    else:
        out += [*paragraph("Nothing listed under this filter.", CONTENT), gap(5)]
    if listed.again:
        out.append(heading("Measure again", "not proven; not nonconforming"))
        out += [*blocks.bullets(listed.again), gap(4)]
    return out + blocks.cautions(listed.cautions)


COLUMNS: Sequence[Column] = (
    Column("Number", 15, font=SEMIBOLD),
    Column("Airframe", 16, lines=2),
    Column("Joint", 12, lines=2),
    Column("What and where", 57, lines=5),
    Column("Part", 21, lines=2),
    Column("Check", 14),
    Column("State", 20, lines=2),
    Column("Disposition", 18, lines=2),
    Column("Found", 18),
    Column("Due", 18),
    Column("Photos", 12, "right"),
    Column("Who", 17, lines=2),
)


def _cells(item: ListedItem) -> tuple[str, ...]:
    return (
        item.number, item.airframe, item.joint, item.text, item.part, item.check,
        item.state, item.disposition or "–", item.found, item.due or "–",
        item.photos or "–", item.who,
    )  # fmt: skip
