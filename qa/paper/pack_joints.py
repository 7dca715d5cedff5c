"""The joints of a pack: each with its map, its profile and every characteristic."""

from dataclasses import replace

from qa.drawing import joint_map, profile
from qa.paper import blocks
from qa.paper import scene as scene_pdf
from qa.paper.pack_front_matter import MARK, section_heading
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
        sentence = f"Never fitted, so not measured: {', '.join(section.never)}."
        out += paragraph(sentence, CONTENT, size=8.5)
    if not section.joints:
        return out + paragraph("No joint of it was fitted yet.", CONTENT, size=8.5)
    for number, joint in enumerate(section.joints):
        out += [replace(gap(8, keep=True), fresh=True)] if number else []
        out += _joint(joint)
    return out


def _joint(pack_joint: PackJoint) -> list[Block]:
    words = (pack_joint.number, pack_joint.part.split(" ")[0], pack_joint.surround)
    place = Place(f"{pack_joint.number} {pack_joint.name}", 1, words)
    head = blocks.masthead(
        f"{pack_joint.number} {pack_joint.name}",
        f"revision {pack_joint.revision}  ·  fit-up {pack_joint.fit_up}",
        pack_joint.outcome,
        pack_joint.outcome_word,
    )
    pairs = [
        (
            "Drawing number and revision",
            f"{pack_joint.number} rev {pack_joint.revision}",
        ),
        ("Fitted part", pack_joint.part),
        ("Surround", pack_joint.surround),
        ("Source of the limits", pack_joint.source),
        ("Acceptance condition", pack_joint.asked),
        ("Decision rule", pack_joint.rule),
        ("Inspection", pack_joint.standing_words),
        ("Lacks", "; ".join(pack_joint.short) or "nothing beside its lines"),
    ]
    out = [
        replace(head, place=place),
        *blocks.identity(pairs, most=20),
        gap(2),
        blocks.counts(pack_joint.counts),
        blocks.figure(joint_map.build(pack_joint.map), MAP),
        blocks.legend(pack_joint.states),
        *blocks.bullets([f"On a yellow square: {mark}" for mark in pack_joint.marked]),
        gap(2),
        heading("Profile along the seam", "solid: limits; dashed: acceptance limits"),
        gap(1, keep=True),
        blocks.figure(profile.build(pack_joint.profile), PROFILE),
        gap(3),
    ]
    if pack_joint.limits:
        out += [
            heading("Limits as judged last"),
            *blocks.bullets(pack_joint.limits),
            gap(3),
        ]
    lines = characteristics(pack_joint.lines, pack_joint.unit)
    return out + _checks(pack_joint) + lines


def _checks(pack_joint: PackJoint) -> list[Block]:
    if not pack_joint.checks:
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
    head = heading("What stands was measured in", f"{len(pack_joint.checks)} checks")
    listing = table(columns, pack_joint.checks, CONTENT, size=7.2, whole=True)
    return [head, *listing, gap(3)]


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
            line.number, line.designator, line.requirement, line.result, line.verdict,
            line.tooling, line.nonconformance, line.comment,
        )
        for line in lines
    ]  # fmt: skip

    def marks(canvas, number, column, x, middle):
        if column != VERDICT:
            return 0
        scene_pdf.mark(canvas, lines[number].state, x + 4, middle, 3.2)
        return MARK

    many = "1 line" if len(rows) == 1 else f"{len(rows)} lines"
    note = f"{many}, lengths in {'inches' if unit == 'in' else unit}"
    if any("[" in line.requirement for line in lines):
        note += "; [ ] what is required, where the gauge draws in what is accepted"
    head = heading("Every characteristic", note)
    more = {"marks": marks, "whole": True}
    return [head, *table(columns, rows, CONTENT, size=7, **more), gap(4)]


def holes(section: Holes) -> list[Block]:
    if not section.checks:
        return []
    out = section_heading("Holes", f"{len(section.checks)} checks")
    for check in section.checks:
        out += _holes(check)
    return out


def proven(section: Proven) -> list[Block]:
    if not section.lines:
        return []
    out = section_heading("Other characteristics", f"{len(section.lines)} planned")
    return out + characteristics(section.lines, "the units shown", worded=True)


def _holes(pack_holes: PackHoles) -> list[Block]:
    name = f"{pack_holes.label} {pack_holes.pattern} on {pack_holes.serial}"
    pairs = [
        ("Pattern", f"{pack_holes.pattern}, rev {pack_holes.revision}"),
        ("Serial number", pack_holes.serial),
        ("Source of the limits", pack_holes.source),
        ("Measured", pack_holes.by),
    ]
    head = heading(name)
    head = replace(head, place=Place(name, 1, (pack_holes.serial, pack_holes.label)))
    out = [head, *blocks.identity(pairs, most=20), gap(2)]
    out += blocks.bullets(pack_holes.notes)
    return out + characteristics(pack_holes.lines, pack_holes.unit, worded=True)
