"""The chain of a thing on paper: what it came from and what it reached."""

from datetime import datetime

from shop.numeric.paper_sizes import CONTENT
from shop.paper.flow import BOLD, gap, heading, paragraph
from shop.paper.sheet import TitleBlock, sheets
from shop.paper.tables import Column, table
from shop.queries.genealogy import ChainPage, Group

COLUMNS = (
    Column("Kind", 0.17),
    Column("Name", 0.25, lines=2),
    Column("What is known", 0.43, lines=2),
    Column("State", 0.15, lines=2),
)


def chain_sheet(
    page: ChainPage,
    *,
    owner: str,
    url: str,
    creator: str,
    paper: str,
    issued_at: datetime,
) -> bytes:
    """PDF bytes of both directions of the chain."""
    block = TitleBlock(
        owner=owner,
        document_type="Chain",
        number=page.code,
        title=page.label,
        subtitle=str(page.word),
        date=issued_at.strftime("%Y-%m-%d"),
        creator=creator,
        url=url,
    )
    blocks = [
        *paragraph(page.label, CONTENT, size=17, font=BOLD),
        *paragraph(f"Chain of the {page.word} {page.code}", CONTENT, size=8.5),
        gap(4),
    ]
    if page.holds:
        blocks.append(heading("On hold"))
        for hold in page.holds:
            blocks += paragraph(f"{hold.label}: {hold.reason}", CONTENT)
        blocks.append(gap(4))
    for title, groups in (("Came from", page.up), ("Reached", page.down)):
        blocks.append(heading(title))
        blocks += _rows(groups)
        blocks.append(gap(4))
    return sheets(blocks, block, paper=paper, issued_at=issued_at)


def _rows(groups: list[Group]) -> list:
    if not groups:
        return paragraph("Nothing on record.", CONTENT)
    rows = [
        (str(group.word) if number == 0 else "", row.label, row.note, row.word)
        for group in groups
        for number, row in enumerate(group.rows)
    ]
    return table(COLUMNS, rows, CONTENT)
