"""The charts of a place over parts on paper: the scenes of the page, and its tables."""

from qa.paper import blocks
from qa.queries.joints.chart_sheets import ChartPaper
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.fonts import SEMIBOLD

DOCUMENT_TYPE = "Charts over parts"
BARE = "As on bare edges: limits and values leave room for the finish still to come."


def render(sheet: ChartPaper, paper: str = "a4") -> bytes:
    """PDF bytes."""
    page = sheet.page
    block = TitleBlock(
        owner=sheet.shop,
        document_type=DOCUMENT_TYPE,
        number=page.joint.number,
        title=page.title,
        subtitle=page.joint.name,
        revision=str(page.joint.current.number),
        date=sheet.issued_text,
        creator=sheet.creator,
        url=sheet.url,
    )
    return sheets(story(sheet), block, paper=paper, issued_at=sheet.issued_at)


def story(sheet: ChartPaper) -> list[Block]:
    page = sheet.page
    under = [sheet.read_at, f"{page.count} parts", page.limits]
    return [
        blocks.masthead(page.title, ", ".join(filter(None, under))),
        *blocks.bullets([BARE, *page.remarks, *page.doubts], size=7.5),
        gap(2),
        heading("Chart"),
        gap(2, keep=True),
        *_drawn(page.chart, page.chart_why),
        *_table(page.chart_table),
        gap(4),
        *_capability(page),
        *_drift(page),
    ]


def _drawn(scene, why: str) -> list[Block]:
    if scene is None:
        return blocks.bullets([f"Cannot be told: {why}."])
    return [blocks.figure(scene, 420), gap(3)]


def _table(listing) -> list[Block]:
    """Points down, numbers at the right, words last in the room that is left."""
    if listing is None:
        return []
    last = len(listing.head) - 1
    words = 0.40 if listing.head[last].startswith("signals") else 0.16
    columns = [
        Column(name, words, lines=6)
        if k == last
        else Column(name, (1 - words) / last, align="right" if k else "left")
        for k, name in enumerate(listing.head)
    ]
    return table(columns, listing.rows, CONTENT, size=7)


def _capability(page) -> list[Block]:
    story = [heading("Capability")]
    if page.capability_why:
        story += blocks.bullets([f"Cannot be told: {page.capability_why}."])
    if page.indices:
        columns = [
            Column("Index", 0.2, font=SEMIBOLD),
            Column("Value", 0.2, align="right"),
            Column("95 % bounds", 0.3, align="right"),
        ]
        rows = [(index.name, index.value, index.bounds) for index in page.indices]
        story += table(columns, rows, CONTENT * 0.5, size=7.5)
    if page.facts:
        story += [gap(1.5), *blocks.identity(page.facts, columns=3)]
    return [*story, gap(1.5), *blocks.bullets(page.notes, size=7.5), gap(4)]


def _drift(page) -> list[Block]:
    story = []
    for trend in page.trends:
        story += [heading(f"Drift of {trend.mold}"), gap(2, keep=True)]
        if trend.scene:
            story += blocks.bullets([f"{trend.words[:1].upper()}{trend.words[1:]}."])
        story += [*_drawn(trend.scene, trend.words), *_table(trend.table), gap(4)]
    return story
