"""A close-out: what still stands, or what was closed, on what it relied, signatures."""

from qa.paper import blocks
from qa.queries.close_out_papers import CloseOutPaper
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.flow import paragraph
from shop.paper.fonts import SEMIBOLD

DOCUMENT_TYPE = "Close-out"
CAUTIONS = (
    "Closed means that somebody of this shop, who did none of the work, found nothing "
    "on record in the way. It does not say airworthy.",
    "This sheet tells what was on record when it was printed: its code leads to what "
    "is now.",
)


def render(close_out: CloseOutPaper, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"."""
    block = TitleBlock(
        owner=close_out.shop,
        document_type=DOCUMENT_TYPE,
        number=close_out.number,
        title=close_out.title,
        subtitle=close_out.state,
        date=close_out.issued_text,
        creator=close_out.creator,
        url=close_out.url,
        digest=close_out.digest,
        ledger_head=close_out.ledger_head,
    )
    return sheets(story(close_out), block, paper=paper, issued_at=close_out.issued_at)


def story(close_out: CloseOutPaper) -> list[Block]:
    """What it is, what changed, what stands, where, what was relied on, signatures."""
    out = [
        blocks.masthead(close_out.title, close_out.state),
        *blocks.identity(close_out.identity),
    ]
    out.append(gap(3))
    if close_out.changed:
        out.append(heading("It does not hold any more", "changed since it was closed"))
        out += [gap(1, keep=True), *blocks.bullets(close_out.changed), gap(3)]
    for title, lines in close_out.stands:
        out.append(heading(title, f"{len(lines)} of {close_out.count} in the way"))
        out += [*table(STANDS, lines, CONTENT), gap(3)]
    if not close_out.stands:
        out += [
            *paragraph("Nothing stands in its way.", CONTENT, font=SEMIBOLD),
            gap(3),
        ]
    if close_out.beside:
        out.append(heading("Open on its surround", "not in the way"))
        out += [*table(STANDS, close_out.beside, CONTENT), gap(3)]
    if close_out.empty:
        out.append(heading("Meant to stay empty"))
        out += [*table(STANDS, close_out.empty, CONTENT), gap(3)]
    if close_out.places:
        out.append(heading("Bays and joints"))
        out += [*table(PLACES, close_out.places, CONTENT), gap(3)]
    if close_out.relied_on:
        out.append(heading("What was relied on"))
        out += [*table(RELIED, close_out.relied_on, CONTENT), gap(4)]
    if close_out.signatures:
        return out + blocks.closing(CAUTIONS, close_out.signatures)
    return out + blocks.cautions(CAUTIONS)


STANDS = (Column("What", 80, font=SEMIBOLD, lines=3), Column("Why", 106, lines=6))
PLACES = (
    Column("Bay, or joint", 110, lines=2),
    Column("Stand in the way", 32, "right"),
    Column("State", 44),
)
RELIED = (
    Column("What", 44),
    Column("Name", 76, font=SEMIBOLD, lines=2),
    Column("How it was", 66, lines=2),
)
