"""A blank sheet of a joint: where to measure, and boxes to log by hand."""

from collections.abc import Sequence
from dataclasses import replace

from qa.drawing import joint_map
from qa.drawing.joint_map import Layout
from qa.paper import blocks
from qa.queries.checks.blank_sheets import BlankRow, BlankSheet
from qa.queries.issue import Signature
from shop.numeric.paper_sizes import MM
from shop.paper import Block, TitleBlock, gap, heading, sheets, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import REGULAR, SEMIBOLD
from shop.wording import states

DOCUMENT_TYPE = "Fit check, blank sheet"
CONDITION_LINES = (
    "Part serial fitted", "Surround serial", "Fit-up", "Held (clecos, straps, shims)",
    "Bare or finished", "Instrument and its feet", "Standard uncertainty, mm",
    "Temperature, °C",
)  # fmt: skip
# Rows that a pen can write in.
ROW = 8 * MM


def render(sheet: BlankSheet, paper: str = "a4") -> bytes:
    """PDF bytes on "a4" or "letter"."""
    block = TitleBlock(
        owner=sheet.shop,
        document_type=DOCUMENT_TYPE,
        number=sheet.number,
        title=sheet.joint_name,
        subtitle=sheet.airframe,
        revision=sheet.joint_revision,
        date=sheet.issued_text,
        url=sheet.url,
        digest=sheet.digest,
        ledger_head=sheet.ledger_head,
        banner=sheet.banner,
    )
    return sheets(story(sheet), block, paper=paper, issued_at=sheet.issued_at)


def story(sheet: BlankSheet) -> list[Block]:
    """Identity, lines for the condition, the numbered map, the boxes."""
    pairs = [
        ("Airframe", sheet.airframe),
        ("Joint", f"{sheet.joint_number}  rev {sheet.joint_revision}"),
        ("Decision rule", sheet.rule),
        ("Write values in", sheet.unit),
    ]
    bare = tuple(
        replace(
            s, gap_text="", flush_text="", gap_state="not_measured",
            flush_state="not_measured", active=False, url="",
        )
        for s in sheet.map.stations
    )  # fmt: skip
    scene = joint_map.build(replace(sheet.map, stations=bare), Layout(values="none"))
    signs = (
        Signature("Measured and recorded by"),
        Signature("Inspected by", note="not the person who did the work"),
    )
    return [
        blocks.masthead(sheet.joint_name, f"{sheet.number}  ·  to be logged by hand"),
        *blocks.identity(pairs),
        gap(3),
        *_condition_lines(),
        gap(3),
        blocks.figure(scene, 330),
        gap(3),
        heading(
            "Readings",
            "gap along the seam's normal; flushness part minus surround, + proud",
        ),
        *_boxes(sheet),
        gap(4),
        *blocks.cautions(sheet.cautions),
        gap(4),
        *blocks.signatures(signs),
    ]


def _condition_lines() -> list[Block]:
    """Captions with lines to write on, two in a row."""
    out = []
    for i in range(0, len(CONDITION_LINES), 2):

        def draw(canvas, x, top, width, pair=CONDITION_LINES[i : i + 2]):
            for k, caption in enumerate(pair):
                left = x + k * (width / 2 + 4)
                text.write(canvas, left, top - 17, caption, size=7, color=CAPTION)
                start = left + 104
                canvas.setStrokeColor(RULE)
                canvas.setLineWidth(0.35)
                canvas.line(start, top - 19, left + width / 2 - 4, top - 19)

        out.append(Block(21, draw))
    return out


EDGES = (0.0, 0.09, 0.27, 0.42, 0.60, 0.75, 1.0)


def _boxes(sheet: BlankSheet) -> list[Block]:
    unit = sheet.unit
    titles = (
        "Station", f"Gap required, {unit}", f"Gap, {unit}",
        f"Flushness required, {unit}", f"Flushness, {unit}", "Note",
    )  # fmt: skip

    def head(canvas, x, top, width):
        for title, edge in zip(titles, EDGES, strict=False):
            text.write(
                canvas, x + edge * width + 3, top - 9, title, font=SEMIBOLD, size=6.5,
                color=CAPTION,
            )  # fmt: skip

    first = Block(13, head, keep=True)
    return [first, *(_box_row(row, first) for row in sheet.rows)]


def _box_row(row: BlankRow, head: Block) -> Block:
    words: Sequence[str] = (
        row.station, row.gap_requirement or states.word(""), "",
        row.flush_requirement or states.word(""), "", "",
    )  # fmt: skip

    def draw(canvas, x, top, width):
        for k, word in enumerate(words):
            left, right = x + EDGES[k] * width, x + EDGES[k + 1] * width
            box = k in (2, 4)
            canvas.setStrokeColor(RULE if box else HAIR)
            canvas.setLineWidth(0.7 if box else 0.3)
            canvas.rect(left, top - ROW, right - left, ROW)
            font = SEMIBOLD if k == 0 else REGULAR
            text.write(
                canvas, left + 4, top - ROW / 2 - 3, word, font=font,
                size=9 if k == 0 else 7.5, room=right - left - 6,
            )  # fmt: skip

    return Block(ROW, draw, again=head)
