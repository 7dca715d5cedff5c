"""Two sections of a pack: what still stands, and what was only there for a while."""

from qa.paper.pack_front_matter import section_heading
from qa.queries.packs.closing import Stands, TemporaryItems
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, gap, table
from shop.paper.flow import Place, paragraph
from shop.paper.fonts import SEMIBOLD


def stands(section: Stands) -> list[Block]:
    out = section_heading("What still stands", f"{len(section.lines)} lines")
    if not section.lines:
        return out + paragraph(section.words, CONTENT, size=8.5)
    columns = (
        Column("Kind", 34, lines=2, font=SEMIBOLD),
        Column("What", 60, lines=2),
        Column("Why it stands", 86, lines=3),
    )
    rows = [(line.kind, line.what, line.why) for line in section.lines]
    return out + table(columns, rows, CONTENT, size=7.5, whole=True)


def temporary(section: TemporaryItems) -> list[Block]:
    lines = section.lines
    left = sum(line.inside + line.missing for line in lines)
    note = f"{len(lines)} items, {left} pieces not accounted out"
    out = section_heading("Temporary items, in and out", note)
    if not lines:
        return out + paragraph("None was put in.", CONTENT, size=8.5)
    columns = (
        Column("Number", 13, font=SEMIBOLD),
        Column("What", 28, lines=2),
        Column("Bay, where", 36, lines=3),
        Column("Why, put in by", 40, lines=3),
        Column("In", 7, "right"),
        Column("Out", 8, "right"),
        Column("Still in", 9, "right"),
        Column("Not found", 11, "right"),
        Column("What happened", 46, lines=20),
    )
    rows = [
        (
            line.number, line.what,
            ", ".join(filter(None, (line.bay, line.where))),
            f"{line.why}; {line.put_in}", line.count, line.out, line.inside,
            line.missing, line.story,
        )
        for line in lines
    ]  # fmt: skip
    places = [Place("", 2, (line.number,)) for line in lines]
    more = {"whole": True, "places": places}
    return [*out, *table(columns, rows, CONTENT, size=7.2, **more), gap(4)]
