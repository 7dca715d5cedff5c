"""The joints of a pack: each with its map, its profile and every characteristic."""

from dataclasses import replace

from qa.drawing import joint_map, profile
from qa.paper import blocks
from qa.paper import scene as scene_pdf
from qa.paper.pack_front import MARK, section_heading
from qa.queries.packs.closing import Proven
from qa.queries.packs.holes import Holes, PackHoles
from qa.queries.packs.joints import Joints, PackJoint
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, gap, heading, table
from shop.paper.flow import Place, paragraph
from shop.paper.fonts import SEMIBOLD

MAP, PROFILE = 262.0, 168.0
VERDICT = 4


def story(section: Joints) -> list[Block]:
    out = section_heading("Joints", f"{len(section.joints)} fitted")
    if section.never:
        told = f"Never fitted, so not measured: {', '.join(section.never)}."
        out += paragraph(told, CONTENT, size=8.5)
    if not section.joints:
        return out + paragraph("No joint of it was fitted yet.", CONTENT, size=8.5)
    for number, one in enumerate(section.joints):
        out += [replace(gap(8, keep=True), fresh=True)] if number else []
        out += _joint(one)
    return out


def _joint(one: PackJoint) -> list[Block]:
    words = (one.number, one.part.split(" ")[0], one.surround)
    place = Place(f"{one.number} {one.name}", 1, words)
    head = blocks.masthead(
        f"{one.number} {one.name}",
        f"revision {one.revision}  ·  fit-up {one.fit_up}",
        one.outcome,
        one.outcome_word,
    )
    pairs = [
        ("Drawing number and revision", f"{one.number} rev {one.revision}"),
        ("Fitted part", one.part),
        ("Surround", one.surround),
        ("Source of the limits", one.source),
        ("Acceptance condition", one.asked),
        ("Decision rule", one.rule),
        ("Inspection", one.standing_words),
        ("Lacks", "; ".join(one.short) or "nothing beside its lines"),
    ]
    out = [
        replace(head, place=place),
        *blocks.identity(pairs),
        gap(2),
        blocks.counts(one.counts),
        blocks.figure(joint_map.build(one.map), MAP),
        blocks.legend(one.states),
        *blocks.bullets([f"On a yellow square: {told}" for told in one.marked]),
        gap(2),
        heading("Profile along the seam", "solid: limits; dashed: acceptance limits"),
        gap(1, keep=True),
        blocks.figure(profile.build(one.profile), PROFILE),
        gap(3),
    ]
    if one.limits:
        out += [heading("Limits as judged last"), *blocks.bullets(one.limits), gap(3)]
    return out + _checks(one) + characteristics(one.lines, "mm")


def _checks(one: PackJoint) -> list[Block]:
    if not one.checks:
        return []
    columns = (
        Column("Check", 14, font=SEMIBOLD),
        Column("Begun", 28, lines=2),
        Column("By", 24, lines=2),
        Column("How held", 52, lines=3),
        Column("Edges", 16),
        Column("°C", 9, "right"),
        Column("Instrument", 38, lines=2),
    )
    head = heading("What stands was measured in", f"{len(one.checks)} checks")
    return [head, *table(columns, one.checks, CONTENT, size=7.2), gap(3)]


def characteristics(lines, unit: str, *, worded: bool = False) -> list[Block]:
    """Every characteristic: requirement, result, verdict, tooling, nonconformance.
    worded: told in words, which take several lines."""
    columns = [
        Column("Char. No.", 18, font=SEMIBOLD, lines=2 if worded else 1),
        Column("Characteristic", 30 if worded else 12, lines=3 if worded else 1),
        Column("Requirement", 32 if worded else 46, lines=3),
        Column("Results", 26, font=SEMIBOLD, lines=3)
        if worded
        else Column("Results", 15, "right", font=SEMIBOLD),
        Column("Verdict", 28, mark=MARK),
        Column("Tooling", 11),
        Column("Nonconformance No.", 16),
        Column("Comments", 42, lines=6 if worded else 2),
    ]
    rows = [
        (
            one.number, one.designator, one.requirement, one.result, one.verdict,
            one.tooling, one.nonconformance, one.comment,
        )
        for one in lines
    ]  # fmt: skip

    def marks(canvas, number, column, x, middle):
        if column != VERDICT:
            return 0
        scene_pdf.mark(canvas, lines[number].state, x + 4, middle, 3.2)
        return MARK

    note = f"{len(rows)} lines, lengths in {unit}"
    if any("[" in one.requirement for one in lines):
        note += "; [ ] what is required, where the gauge draws in what is accepted"
    head = heading("Every characteristic", note)
    return [head, *table(columns, rows, CONTENT, size=7, marks=marks), gap(4)]


def holes(section: Holes) -> list[Block]:
    if not section.checks:
        return []
    out = section_heading("Holes", f"{len(section.checks)} checks")
    for one in section.checks:
        out += _holes(one)
    return out


def proven(section: Proven) -> list[Block]:
    if not section.lines:
        return []
    out = section_heading("Other characteristics", f"{len(section.lines)} planned")
    return out + characteristics(section.lines, "the units shown", worded=True)


def _holes(one: PackHoles) -> list[Block]:
    name = f"{one.label} {one.pattern} on {one.serial}"
    pairs = [
        ("Pattern", f"{one.pattern}, rev {one.revision}"),
        ("Serial number", one.serial),
        ("Source of the limits", one.source),
        ("Measured", one.by),
    ]
    head = heading(name)
    head = replace(head, place=Place(name, 1, (one.serial, one.label)))
    out = [head, *blocks.identity(pairs), gap(2)]
    out += blocks.bullets(one.notes)
    return out + characteristics(one.lines, one.unit, worded=True)
