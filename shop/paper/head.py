"""A head of the ledger on paper: kept elsewhere, it tells if history was rewritten."""

from shop.numeric.paper_sizes import CONTENT
from shop.paper.flow import BOLD, gap, heading, paragraph
from shop.paper.fonts import SEMIBOLD
from shop.paper.sheet import TitleBlock, sheets
from shop.queries.heads import Head

HOW = (
    "Keep this sheet away from the computer that holds the records. Whoever holds that "
    "computer can write the whole history anew so that it verifies; it then no longer "
    "has this digest at this entry.",
    "To hold the records against it: python3 manage.py ledger verify --expect",
    "The beginning of the digest is enough, at least its first 8 signs.",
)


def head_sheet(head: Head, *, owner: str, when: str, paper: str) -> bytes:
    """PDF bytes of one sheet. when: the time of the entry, in the shop's zone."""
    block = TitleBlock(
        owner=owner,
        document_type="Ledger head",
        number=f"entry {head.position}",
        title="Head of the ledger",
        date=when,
        digest=head.digest,
    )
    blocks = [
        *paragraph("Head of the ledger", CONTENT, size=17, font=BOLD),
        *paragraph(
            f"Entries chained up to this one: {head.position}", CONTENT, size=10
        ),
        *paragraph(f"The last of them came in: {when}", CONTENT, size=10),
        gap(4),
        heading("Digest over all of them", "SHA-256, in groups of 8"),
        gap(2),
    ]
    half = len(head.groups) // 2
    for groups in (head.groups[:half], head.groups[half:]):
        digest_text = "   ".join(groups)
        blocks += paragraph(digest_text, CONTENT, size=15, font=SEMIBOLD)
    first = f"{HOW[1]} {head.position} {' '.join(head.groups[:2])}"
    blocks += [gap(6), heading("What it is for")]
    for line in (HOW[0], first, HOW[2]):
        blocks += [*paragraph(line, CONTENT, size=9), gap(1.5)]
    return sheets(blocks, block, paper=paper, issued_at=head.at)
