"""What is to be corrected in a mold, on paper: the map, what to do, the numbers."""

from qa.paper import blocks
from qa.queries.molds.sheets import CorrectionSheet
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import REGULAR, SEMIBOLD

DOCUMENT_TYPE = "Mold correction"
TITLES = (
    "Station", "Gap", "Bounds", "Advice", "Flush", "Bounds", "Advice",
)  # fmt: skip
EDGES = (0.0, 0.07, 0.15, 0.30, 0.53, 0.61, 0.76)
RIGHT = (1, 4)  # columns of numbers


def render(sheet: CorrectionSheet, paper: str = "a4") -> bytes:
    """PDF bytes."""
    row = sheet.page.row
    block = TitleBlock(
        owner=sheet.shop,
        document_type=DOCUMENT_TYPE,
        number=row.label,
        title=f"{row.tool.code} {row.tool.name}",
        subtitle=f"{row.revision.joint.number} {row.revision.joint.name}",
        revision=str(row.revision.number),
        date=sheet.issued_text,
        creator=sheet.creator,
        approver="",
        url=sheet.url,
        digest=row.digest,
    )
    return sheets(story(sheet), block, paper=paper, issued_at=sheet.issued_at)


def story(sheet: CorrectionSheet) -> list[Block]:
    page = sheet.page
    return [
        blocks.masthead(page.title, f"{page.row.label}, {sheet.state}"),
        *blocks.identity(sheet.identity),
        gap(3),
        heading("What to do"),
        *blocks.bullets(_what_to_do(page), size=9.5),
        gap(2),
        blocks.figure(page.scene, 300),
        gap(2),
        *_table(sheet),
        gap(3),
        blocks.figure(page.bars, 230),
        *_openings(page.apart),
        heading("What to know"),
        *blocks.bullets([FEMALE, *sheet.notes], size=7.5),
        gap(2),
        *blocks.closing(sheet.cautions, sheet.signatures),
    ]


def _what_to_do(page) -> list[str]:
    return [line for line in (*page.doubts, *page.lines, page.rest) if line]


FEMALE = (
    "Out and in move the cut line of the part. Fill and relieve are for a female mold, "
    "whose surface makes the outside of the part; on a plug or a male mold, do the "
    "contrary."
)


def _table(sheet: CorrectionSheet) -> list[Block]:
    page = sheet.page

    def head(canvas, x, top, width):
        _line(canvas, x, top, width, TITLES, REGULAR, 6, CAPTION)
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        canvas.line(x, top - 12, x + width, top - 12)

    first = Block(13, head, keep=True)
    rows = [
        _row(
            (
                *(row.label, row.gap.tool, row.gap.bounds, row.gap.text),
                *(row.flush.tool, row.flush.bounds, row.flush.text),
            ),
            first,
            row.gap.does or row.flush.does,
        )
        for row in page.rows
    ]
    name = f"From target, {page.unit}"
    hint = "plus is a gap too wide, or a part too proud"
    return [heading(name, hint), first, *rows]


def _openings(openings) -> list[Block]:
    """Where an opening is off beyond its bounds, if anywhere."""
    if openings is None or not openings.rows:
        return []
    columns = [
        Column("Opening", 0.16),
        Column("Station", 0.10),
        *(
            column
            for kind in ("Gap", "Flush")
            for column in (
                Column(kind, 0.09, align="right"),
                Column("Bounds", 0.17, align="right"),
                Column("Comes", 0.11),
            )
        ),
    ]
    rows = [
        (
            *(row.opening, row.label, row.gap.value, row.gap.bounds, row.gap.does),
            *(row.flush.value, row.flush.bounds, row.flush.does),
        )
        for row in openings.rows
    ]
    hint = f"{openings.unit} from the mean of the openings, where beyond the bounds"
    story = [heading("What the openings do", hint), *table(columns, rows, CONTENT)]
    return [*story, gap(3)]


def _row(cells, head: Block, does: bool) -> Block:
    def draw(canvas, x, top, width):
        _line(canvas, x, top, width, cells, SEMIBOLD if does else REGULAR, 7, text.INK)
        canvas.setStrokeColor(HAIR)
        canvas.setLineWidth(0.25)
        canvas.line(x, top - 11, x + width, top - 11)

    return Block(11, draw, again=head)


def _line(canvas, x, top, width, cells, font, size, color) -> None:
    for k, cell in enumerate(cells):
        left = x + EDGES[k] * width
        style = {"font": font, "size": size, "color": color}
        if k in RIGHT:
            right = x + EDGES[k + 1] * width - 10
            text.write(canvas, right, top - 8.5, cell, align="right", **style)
        else:
            text.write(canvas, left, top - 8.5, cell, **style)
