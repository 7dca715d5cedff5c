"""The nonconformances of a pack: all on a line each, then each with its story."""

from dataclasses import replace

from qa.paper import blocks
from qa.paper.pack_front_matter import section_heading
from qa.queries.packs.items import Items, PackItem
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, gap, heading, table
from shop.paper.flow import Place, paragraph
from shop.paper.fonts import SEMIBOLD

# Lines of a value: as many as the longest that there is needs.
MOST = 12


def story(section: Items) -> list[Block]:
    left = sum(item.open for item in section.items)
    out = section_heading("Nonconformances", f"{len(section.items)}, {left} not closed")
    if not section.items:
        return out + paragraph("None was raised.", CONTENT, size=8.5)
    columns = (
        Column("Number", 14, font=SEMIBOLD),
        Column("Joint", 13),
        Column("What, and where", 62, lines=2),
        Column("Part", 26),
        Column("State", 22),
        Column("Disposition", 24),
        Column("Decided by", 22, lines=2),
    )
    rows = [
        (x.label, x.joint, x.title, x.part, x.state_word, x.disposition, x.authority)
        for x in section.items
    ]
    out += [*table(columns, rows, CONTENT, size=7.5, whole=True), gap(5)]
    for item in section.items:
        out += _item(item)
    return out


def _item(pack_item: PackItem) -> list[Block]:
    words = tuple(filter(None, (pack_item.label, pack_item.joint, pack_item.part)))
    head = heading(f"{pack_item.label} {pack_item.title}", pack_item.state_word)
    pairs = [
        ("Kind", pack_item.kind),
        ("Part serial number", pack_item.part),
        ("Joint and place", " ".join(filter(None, (pack_item.joint, pack_item.place)))),
        ("Severity", pack_item.severity or "not stated"),
        ("Requirement", pack_item.requirement),
        ("Found", pack_item.found),
        ("Cause", pack_item.cause or "not stated"),
        ("Disposition", pack_item.disposition or "none yet"),
        ("Disposition authority", pack_item.authority or "–"),
        ("Concession", pack_item.concession or "–"),
        ("Verified by", pack_item.verified or "–"),
        ("Closed", pack_item.closed or "not closed"),
    ]
    columns = (
        Column("When", 30),
        Column("By", 32, lines=2),
        Column("What", 52, lines=3),
        Column("Note", 68, lines=8),
    )
    *known, last = blocks.identity(pairs, most=MOST)
    return [
        replace(head, place=Place("", 2, words)),
        gap(0.5, keep=True),
        *(replace(row, keep=True) for row in known),
        last,
        gap(1),
        *table(columns, pack_item.story, CONTENT, size=7.2, whole=True),
        gap(5),
    ]
