"""The inspection sheet of one fit check: a plain record in, PDF bytes out.

The page on the screen takes the same record, so that the two cannot disagree.
"""

from collections.abc import Sequence

from qa.drawing import joint_map, profile
from qa.drawing.joint_map import JointMap
from qa.paper import blocks
from qa.paper import scene as scene_pdf
from qa.queries.checks.check_sheets import CheckSheet, SheetRow
from shop.numeric.paper_sizes import CONTENT, paper_named
from shop.paper import Block, Column, TitleBlock, gap, heading, sheets, table
from shop.paper.flow import paragraph
from shop.paper.fonts import SEMIBOLD
from shop.paper.sheet import room
from shop.wording import states

DOCUMENT_TYPE = "Fit check, inspection sheet"
# The map takes what identity, counts and signatures leave of the first page.
MOST_MAP, LEAST_MAP = 372.0, 160.0


def render(sheet: CheckSheet, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"; the same sheet gives the same bytes."""
    data = sheet.data.encode()
    attachments = [("check.json", "application/json", data)] if data else []
    return sheets(
        story(sheet, paper),
        title_block(sheet),
        paper=paper,
        issued_at=sheet.issued_at,
        attachments=attachments,
    )


def title_block(sheet: CheckSheet) -> TitleBlock:
    """The title block of every page of the sheet."""
    return TitleBlock(
        owner=sheet.shop,
        document_type=DOCUMENT_TYPE,
        number=sheet.number,
        title=sheet.joint_name,
        subtitle=" ".join(p for p in (sheet.airframe_type, sheet.airframe_serial) if p),
        revision=sheet.joint_revision,
        date=sheet.issued_text,
        creator=sheet.creator or sheet.done_by,
        approver=sheet.approver,
        url=sheet.url,
        digest=sheet.digest,
        ledger_head=sheet.ledger_head,
        banner=sheet.banner,
    )


def story(sheet: CheckSheet, paper: str = "a4") -> list[Block]:
    """Everything between head line and title block, in order. Who signs does so on the
    first page, under what came of it."""
    above: list[Block] = [
        blocks.masthead(
            sheet.joint_name,
            "  ·  ".join(p for p in (sheet.number, sheet.fit_up, sheet.done_at) if p),
            sheet.outcome,
            sheet.outcome_word,
        ),
        *blocks.identity(identity_pairs(sheet)),
        gap(3),
        blocks.counts(sheet.counts),
    ]
    below = [blocks.legend(_states(sheet.map)), gap(2)]
    below += blocks.signatures(sheet.signatures)
    left = room(paper_named(paper)) - sum(block.height for block in above + below)
    drawn = blocks.figure(
        joint_map.build(sheet.map), min(MOST_MAP, max(LEAST_MAP, left - 2))
    )
    out = [*above, drawn, *below, gap(4)]
    out += _limits(sheet)
    out += _profile(sheet)
    out += _findings(sheet)
    out += _again(sheet)
    out += _table(sheet)
    if sheet.remarks:
        out += [heading("Remarks"), *blocks.bullets(sheet.remarks), gap(4)]
    return out + blocks.cautions(sheet.cautions)


def _limits(sheet: CheckSheet) -> list[Block]:
    out = []
    if sheet.limits:
        out += [heading("Limits as judged"), *blocks.bullets(sheet.limits), gap(3)]
    if sheet.cuts:
        head = heading("Cut so far", "before this check, what was taken off each edge")
        out += [head, *blocks.bullets(sheet.cuts), gap(3)]
    return out


def identity_pairs(sheet: CheckSheet) -> list[tuple[str, str]]:
    """Captions and values at the top of the first page."""
    pairs = [
        ("Airframe", f"{sheet.airframe_type} {sheet.airframe_serial}".strip()),
        ("Joint", f"{sheet.joint_number} rev {sheet.joint_revision}"
         if sheet.joint_revision else sheet.joint_number),
        ("Fitted part", sheet.fitted),
        ("Surround", sheet.surround),
        ("Measured by", sheet.done_by),
        ("Measured", sheet.done_at),
        *sheet.condition,
        ("Decision rule", sheet.rule),
    ]  # fmt: skip
    if sheet.joint_probability:
        open_ones = any(row.state == "not_measured" for row in sheet.rows)
        what = "all that was measured conform" if open_ones else "all conform"
        pairs.append((f"Probability that {what}", sheet.joint_probability))
    return pairs


def _states(drawn: JointMap) -> list[str]:
    """States that the map shows, in a fixed order."""
    there = {s.gap_state for s in drawn.stations} | {
        s.flush_state for s in drawn.stations
    }
    return [state for state in states.VERDICTS if state and state in there]


def _profile(sheet: CheckSheet) -> list[Block]:
    scene = profile.build(sheet.profile)
    head = heading("Profile along the seam", "solid: limits; dashed: acceptance limits")
    return [head, gap(1, keep=True), blocks.figure(scene, 300), gap(4)]


def _findings(sheet: CheckSheet) -> list[Block]:
    if not sheet.findings:
        return []
    columns = (
        Column("Number", 18, font=SEMIBOLD),
        Column("What does not conform, and where", 100, lines=3),
        Column("State", 40, lines=3),
    )
    rows = [(f.number, f.text, f.state) for f in sheet.findings]
    return [heading("Nonconformances"), *table(columns, rows, CONTENT, size=8), gap(4)]


def _again(sheet: CheckSheet) -> list[Block]:
    if not sheet.again:
        return []
    return [
        heading("Measure again", "not proven or not measured; not nonconforming"),
        *[b for line in sheet.again for b in paragraph(line, CONTENT, size=8)],
        gap(4),
    ]


# Points that the mark of a verdict takes before its word.
MARK = 11


def _table(sheet: CheckSheet) -> list[Block]:
    notes = any(row.note for row in sheet.rows)
    chance = any(row.probability for row in sheet.rows)
    # Limits that hold everywhere are told above, once.
    limits = {
        (row.characteristic, row.requirement) for row in sheet.rows if row.limited
    }
    differ = len(limits) > len({kind for kind, _limits in limits})
    numbered = any(row.nonconformance for row in sheet.rows)
    columns = [
        Column("Station", 12, font=SEMIBOLD),
        Column("Kind", 13),
        Column("As read", 19, "right", lines=2),
        Column("Result, mm", 16, "right", font=SEMIBOLD),
        Column("Verdict", 33, mark=MARK),
        Column("Beyond limit, mm", 17, "right"),
    ]
    if differ:
        columns.insert(2, Column("Limits, mm", 25, "right"))
    if chance:
        columns.append(Column("Prob.", 13, "right"))
    columns.append(Column("By", 26))
    if numbered:
        columns.append(Column("NC", 14))
    if notes:
        columns.append(Column("Note", 31, lines=3))
    rows, rules = [], []
    for before, row in zip((None, *sheet.rows), sheet.rows, strict=False):
        first = before is None or row.station != before.station
        cells = [
            row.station if first else "", row.characteristic,
            *([row.requirement] if differ else []), row.typed, row.millimeters,
            states.verdict_word(row.state), row.deviation,
        ]  # fmt: skip
        cells += [row.probability] if chance else []
        cells += [row.by, *([row.nonconformance] if numbered else [])]
        rows.append(cells + ([row.note] if notes else []))
        rules.append(first)
    return [
        heading("Every characteristic", f"{len(sheet.rows)} results"),
        *table(
            columns,
            rows,
            CONTENT,
            size=7.5,
            rules=rules,
            marks=_marks(sheet.rows, 5 if differ else 4),
        ),
        gap(5),
    ]


def _marks(rows: Sequence[SheetRow], verdict: int):
    def draw(canvas, number, column, x, middle):
        if column != verdict:
            return 0
        scene_pdf.mark(canvas, rows[number].state, x + 4, middle, 3.2)
        return MARK

    return draw
