"""The nonconformances of a pack: all on a line each, then each with its story."""

from dataclasses import replace

from qa.paper import blocks
from qa.paper.pack_front import section_heading
from qa.queries.packs.items import Items, PackItem
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, gap, heading, table
from shop.paper.flow import Place, paragraph
from shop.paper.fonts import SEMIBOLD


def story(section: Items) -> list[Block]:
    left = sum(one.open for one in section.items)
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
    out += [*table(columns, rows, CONTENT, size=7.5), gap(5)]
    for one in section.items:
        out += _item(one)
    return out


def _item(one: PackItem) -> list[Block]:
    words = tuple(filter(None, (one.label, one.joint, one.part)))
    head = heading(f"{one.label} {one.title}", one.state_word)
    pairs = [
        ("Kind", one.kind),
        ("Part serial number", one.part),
        ("Joint and place", " ".join(filter(None, (one.joint, one.place)))),
        ("Severity", one.severity or "not stated"),
        ("Requirement", one.requirement),
        ("Found", one.found),
        ("Cause", one.cause or "not stated"),
        ("Disposition", one.disposition or "none yet"),
        ("Disposition authority", one.authority or "–"),
        ("Concession", one.concession or "–"),
        ("Verified by", one.verified or "–"),
        ("Closed", one.closed or "not closed"),
    ]
    columns = (
        Column("When", 30),
        Column("By", 32, lines=2),
        Column("What", 52, lines=3),
        Column("Note", 68, lines=30),
    )
    return [
        replace(head, place=Place("", 2, words)),
        gap(0.5, keep=True),
        *(replace(row, keep=True) for row in blocks.identity(pairs)),
        gap(1, keep=True),
        *table(columns, one.story, CONTENT, size=7.2),
        gap(5),
    ]
