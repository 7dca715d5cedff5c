"""The plan for a part on one page: how it is now and after, and the numbers."""

from collections.abc import Sequence

from qa.drawing import plan_map
from qa.drawing.joint_map import Layout
from qa.drawing.plan_map import PlanMap
from qa.paper import blocks
from qa.paper import scene as scene_pdf
from qa.queries.plans.work_orders import WorkOrder
from shop.numeric.paper_sizes import CONTENT, paper_named
from shop.paper import Block, TitleBlock, gap, heading, sheets, text
from shop.paper.flow import CAPTION, HAIR, RULE
from shop.paper.fonts import BOLD, REGULAR, SEMIBOLD
from shop.paper.sheet import room

DOCUMENT_TYPE = "Work order"
# Two maps side by side on one sheet: larger words, since each has half the width.
HALF = Layout(radius=23, text=28, values="needed", strip=0)
# Heights of the maps: what is seen well, and what can still be read.
MOST_MAPS, LEAST_MAPS = 240.0, 130.0
MAPS_MARGIN = 18.0


def render(order: WorkOrder, paper: str = "a4") -> bytes:
    """PDF bytes; one page for an ordinary plan, more when there is more to do."""
    block = TitleBlock(
        owner=order.shop,
        document_type=DOCUMENT_TYPE,
        number=order.number,
        title=order.joint_name,
        subtitle=order.part,
        revision=order.joint_revision,
        date=order.issued_text,
        creator=order.creator,
        approver=order.release,
        url=order.url,
        digest=order.digest,
        ledger_head=order.ledger_head,
        banner=order.banner,
        across=order.across,
    )
    return sheets(story(order, paper), block, paper=paper, issued_at=order.issued_at)


def story(order: WorkOrder, paper: str = "a4") -> list[Block]:
    """Steps, maps, numbers, signatures; the maps get what the rest leaves of a page."""
    pairs = [
        ("Joint", f"{order.joint_number}  rev {order.joint_revision}"),
        ("Part", order.part),
        *order.identity,
    ]
    above: list[Block] = [
        blocks.masthead(order.joint_name, order.number, order.state, order.outcome),
        *blocks.identity(pairs),
        gap(2),
        *_steps(order.steps),
        gap(2),
    ]
    below = _numbers(order)
    if order.remains:
        below += [
            gap(2),
            heading("What stays impossible"),
            *blocks.bullets(order.remains),
        ]
    below.append(gap(2))
    below += blocks.bullets(order.cautions, size=6.4)
    below.append(gap(2))
    below += blocks.signatures(order.signatures)[1:]
    left = room(paper_named(paper)) - sum(block.height for block in above + below)
    most = min(MOST_MAPS, max(LEAST_MAPS, left - MAPS_MARGIN))
    return [*above, _maps(order.plan, most), *below]


def _steps(steps: Sequence[str]) -> list[Block]:
    out = []
    for number, step in enumerate(steps, 1):
        for k, line in enumerate(text.wrap(step, CONTENT - 22, SEMIBOLD, 10)):

            def draw(canvas, x, top, width, number=number, k=k, line=line):
                if k == 0:
                    text.write(canvas, x, top - 10, f"{number}", font=BOLD, size=11)
                text.write(canvas, x + 18, top - 10, line, font=SEMIBOLD, size=10)

            out.append(Block(14.5, draw))
    return out


def _maps(plan: PlanMap, most: float) -> Block:
    scenes = (plan_map.before(plan, HALF), plan_map.after(plan, HALF))
    half = CONTENT / 2 - 6
    width = min(half, *(most * s.width / s.height for s in scenes))
    height = max(width * s.height / s.width for s in scenes)

    def draw(canvas, x, top, full):
        for k, (scene, word) in enumerate(
            zip(scenes, ("before", "after"), strict=True)
        ):
            left = x + k * (half + 12)
            scene_pdf.draw(canvas, scene, left + (half - width) / 2, top - 9, width)
            text.write(canvas, left, top - 7, word, font=SEMIBOLD, size=8)
        canvas.setStrokeColor(HAIR)
        canvas.setLineWidth(0.4)
        canvas.line(x + full / 2, top - 2, x + full / 2, top - height - 6)

    return Block(height + 14, draw)


TITLES = (
    "Station", "Gap now", "Flush now", "Next bite", "Full trim", "Gap after",
    "Flush after",
)  # fmt: skip
EDGES = (0.0, 0.10, 0.21, 0.34, 0.55, 0.74, 0.86, 1.0)


def _numbers(order: WorkOrder) -> list[Block]:
    """Stations in two columns, read down the left one first."""
    rows = order.rows
    half = (len(rows) + 1) // 2

    def head(canvas, x, top, width):
        for side in range(2):
            for k, title in enumerate(TITLES):
                _cell(canvas, x, width, side, k, top - 9, title, REGULAR, 5.6, CAPTION)
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        canvas.line(x, top - 12, x + width, top - 12)

    first = Block(13, head, keep=True)
    cuts = any(row.bite for row in rows)
    note = "cut to the next bite, then measure again" if cuts else ""
    out = [heading(f"Numbers, {order.unit}", note), first]
    for i in range(half):
        pair = (rows[i], rows[i + half] if i + half < len(rows) else None)
        out.append(_pair(pair, first))
    return out


def _pair(pair, head: Block) -> Block:
    def draw(canvas, x, top, width):
        for side, row in enumerate(pair):
            if row is None:
                continue
            values = (
                row.station, row.gap_now, row.flush_now, row.bite, row.trim,
                row.gap_after, row.flush_after,
            )  # fmt: skip
            for k, value in enumerate(values):
                font = SEMIBOLD if k in (0, 3) else REGULAR
                _cell(canvas, x, width, side, k, top - 8, value, font, 7)
            left = x + side * (width / 2 + 6)
            scene_pdf.mark(
                canvas, row.state_after, left + width / 2 - 9, top - 5.5, 2.8
            )
        canvas.setStrokeColor(HAIR)
        canvas.setLineWidth(0.25)
        canvas.line(x, top - 10.6, x + width, top - 10.6)

    return Block(10.6, draw, again=head)


def _cell(canvas, x, width, side, k, y, value, font, size, color=text.INK) -> None:
    wide = width / 2 - 18
    left = x + side * (width / 2 + 6)
    if k == 0:
        text.write(canvas, left, y, value, font=font, size=size, color=color)
    else:
        right = left + EDGES[k + 1] * wide - 3
        text.write(
            canvas, right, y, value, font=font, size=size, align="right", color=color
        )
