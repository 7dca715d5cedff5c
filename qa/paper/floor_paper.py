"""A paper of the shop floor: facts, tables with rows to fill in by hand, signatures."""

from qa.paper import blocks
from qa.queries.floor_papers import FloorPaper, FloorTable
from shop.numeric.paper_sizes import CONTENT, MM
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.flow import paragraph

# A row that is written in by hand is this much taller.
HAND = 3.2 * MM


def render(told: FloorPaper, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"; the same record gives the same bytes."""
    return sheets(
        story(told),
        TitleBlock(
            owner=told.shop,
            document_type=told.kind,
            number=told.number,
            title=told.title,
            subtitle=told.subtitle,
            revision=told.revision,
            date=told.issued_text,
            creator=told.creator,
            url=told.url,
        ),
        paper=paper,
        issued_at=told.issued_at,
    )


def story(told: FloorPaper) -> list[Block]:
    out = [blocks.masthead(told.title, told.subtitle)]
    out += [*blocks.identity(told.pairs), gap(3)]
    for listed in told.tables:
        out += _table(listed)
    out += [*blocks.bullets(told.notes), gap(2)]
    if told.boxes:
        return out + blocks.closing(told.cautions, told.boxes)
    return out + blocks.cautions(told.cautions)


def _table(floor_table: FloorTable) -> list[Block]:
    head = heading(floor_table.title, floor_table.note)
    if not floor_table.rows:
        return [head, *paragraph("Nothing on record.", CONTENT), gap(3)]
    columns = tuple(
        Column(name, share, lines=n) for name, share, n in floor_table.columns
    )
    more = {"padding": 3 + HAND} if floor_table.by_hand else {}
    return [head, *table(columns, floor_table.rows, CONTENT, size=7.5, **more), gap(3)]
