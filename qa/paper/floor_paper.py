"""A paper of the shop floor: facts, tables with rows to fill in by hand, signatures."""

from qa.paper import blocks
from qa.queries.floor_papers import FloorPaper, FloorTable
from shop.numeric.paper_sizes import CONTENT, MM
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.flow import paragraph

# A row that is written in by hand is this much taller.
HAND = 3.2 * MM


def render(page: FloorPaper, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"; the same record gives the same bytes."""
    return sheets(
        story(page),
        TitleBlock(
            owner=page.shop,
            document_type=page.kind,
            number=page.number,
            title=page.title,
            subtitle=page.subtitle,
            revision=page.revision,
            date=page.issued_text,
            creator=page.creator,
            url=page.url,
        ),
        paper=paper,
        issued_at=page.issued_at,
    )


def story(page: FloorPaper) -> list[Block]:
    out = [blocks.masthead(page.title, page.subtitle)]
    out += [*blocks.identity(page.pairs), gap(3)]
    for listed in page.tables:
        out += _table(listed)
    out += [*blocks.bullets(page.notes), gap(2)]
    if page.boxes:
        return out + blocks.closing(page.cautions, page.boxes)
    return out + blocks.cautions(page.cautions)


def _table(floor_table: FloorTable) -> list[Block]:
    head = heading(floor_table.title, floor_table.note)
    if not floor_table.rows:
        return [head, *paragraph("Nothing on record.", CONTENT), gap(3)]
    columns = tuple(
        Column(name, share, lines=n) for name, share, n in floor_table.columns
    )
    more = {"padding": 3 + HAND} if floor_table.by_hand else {}
    return [head, *table(columns, floor_table.rows, CONTENT, size=7.5, **more), gap(3)]
