"""A gauge study on paper: what it says, the plots of the page, and its tables."""

from qa.paper import blocks
from qa.queries.study_sheets import StudySheet
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.fonts import SEMIBOLD

DOCUMENT_TYPE = "Gauge study"


def render(sheet: StudySheet, paper: str = "a4") -> bytes:
    """PDF bytes."""
    study = sheet.page.study
    block = TitleBlock(
        owner=sheet.shop,
        document_type=DOCUMENT_TYPE,
        number=study.label,
        title=f"{study.instrument.code} {study.instrument.name}",
        subtitle=study.what,
        date=sheet.issued_text,
        creator=sheet.creator,
        url=sheet.url,
    )
    return sheets(story(sheet), block, paper=paper, issued_at=sheet.issued_at)


def story(sheet: StudySheet) -> list[Block]:
    page, study, finding = sheet.page, sheet.page.study, sheet.page.finding
    facts = [
        ("Places", str(len(study.places))),
        ("People", ", ".join(member.person.name for member in page.members)),
        ("Times each", str(study.repeats)),
        ("Width of the limits", page.tolerance or "–"),
        *finding.shares,
    ]
    advice = (
        [f"It says nothing: {finding.problem}."] if finding.problem else finding.advice
    )
    return [
        blocks.masthead(page.title, study.what),
        *blocks.identity(facts, columns=3),
        gap(2),
        heading("What it says"),
        *blocks.bullets(
            [*advice, *filter(None, (finding.not_used, page.doubt))], size=8.5
        ),
        gap(3),
        *_drawn(finding),
        *_tables(page),
        heading("What was read", page.unit),
        *_read(finding),
    ]


def _drawn(study) -> list[Block]:
    scenes = (scene for scene in (study.values, study.spread) if scene)
    return [block for scene in scenes for block in (blocks.figure(scene, 260), gap(3))]


def _tables(page) -> list[Block]:
    finding = page.finding
    if not finding.parts:
        return []
    spreads = [
        Column("Of", 0.34, font=SEMIBOLD),
        Column("By analysis of variance", 0.22, align="right"),
        Column("95 % bounds", 0.24, align="right"),
        Column("By ranges", 0.20, align="right"),
    ]
    variance = [
        Column("Source", 0.25, font=SEMIBOLD),
        Column("Degrees of freedom", 0.17, align="right"),
        Column("Sum of squares", 0.16, align="right"),
        Column("Mean square", 0.16, align="right"),
        Column("F", 0.13, align="right"),
        Column("p", 0.13, align="right"),
    ]
    parts = [(row.name, row.sd, row.bounds, row.by_ranges) for row in finding.parts]
    rows = [(r.name, str(r.df), r.ss, r.ms, r.f, r.p) for r in finding.anova]
    return [
        heading("Standard deviations", page.unit),
        *table(spreads, parts, CONTENT),
        gap(3),
        heading("Analysis of variance", "mm"),
        *table(variance, rows, CONTENT),
        gap(3),
    ]


def _read(study) -> list[Block]:
    width = 0.84 / len(study.head)
    columns = [Column("Place", 0.16, font=SEMIBOLD)]
    columns += [Column(name, width, align="right", lines=4) for name in study.head]
    rows = [(place, *cells) for place, cells in study.table]
    return table(columns, rows, CONTENT, size=7)
