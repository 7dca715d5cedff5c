"""The sections of a pack that are tables: parts and materials, instruments, weights,
signatures; and the cautions."""

from dataclasses import replace

from qa.paper import blocks
from qa.paper.pack_front_matter import section_heading
from qa.queries.packs.genealogy import Genealogy
from qa.queries.packs.instruments import Instruments
from qa.queries.packs.signed import Signed
from qa.queries.packs.weights import Weights
from shop.numeric.paper_sizes import CONTENT
from shop.paper import Block, Column, gap, heading, table
from shop.paper.flow import Place, paragraph
from shop.paper.fonts import SEMIBOLD


def genealogy(section: Genealogy) -> list[Block]:
    out = section_heading("Identity and genealogy", f"{len(section.parts)} serials")
    columns = (
        Column("Serial number", 24, font=SEMIBOLD, lines=2),
        Column("Part number", 22),
        Column("Rev", 7),
        Column("Part name", 26, lines=2),
        Column("Class", 18, lines=2),
        Column("State", 14),
        Column("Position", 30, lines=3),
        Column("Came from", 62, lines=5),
    )
    rows = [
        (
            part.serial, part.number, part.revision, part.name, part.structural,
            part.state, part.position, "; ".join(part.came),
        )
        for part in section.parts
    ]  # fmt: skip
    out += _indexed(columns, rows, [(part.serial,) for part in section.parts])
    out += [gap(4), heading("Materials", "lots that these parts are made of")]
    if not section.materials:
        return out + paragraph("No lot is on record of these parts.", CONTENT)
    columns = (
        Column("Material", 17, font=SEMIBOLD),
        Column("Name", 32, lines=2),
        Column("Kind", 18),
        Column("Lot number", 20),
        Column("Supplier", 26, lines=2),
        Column("Certificate of conformance", 26, lines=2),
        Column("Received", 16),
        Column("Expires", 16),
        Column("State", 13),
        Column("Used in pulls", 32, lines=4),
    )
    rows = [tuple(vars(material).values()) for material in section.materials]
    return out + table(columns, rows, CONTENT, size=7.2, whole=True)


def _indexed(columns, rows, words) -> list[Block]:
    """A table whose rows an index leads to."""
    places = [Place("", 2, word) for word in words]
    return table(columns, rows, CONTENT, size=7.2, whole=True, places=places)


def instruments(section: Instruments) -> list[Block]:
    out = section_heading("Measuring instruments", f"{len(section.lines)} used")
    columns = (
        Column("Code", 15, font=SEMIBOLD),
        Column("Name", 34, lines=2),
        Column("Standard uncertainty", 20),
        Column("Calibrated", 21),
        Column("Due", 21),
        Column("Laboratory, certificate", 34, lines=3),
        Column("Found", 18, lines=3),
        Column("Used in", 32, lines=8),
        Column("In doubt", 28, lines=8),
    )
    rows = [
        (
            line.code, line.name, line.u, line.calibrated, line.due,
            ", ".join(filter(None, (line.laboratory, line.certificate))),
            line.result, line.used, line.doubt,
        )
        for line in section.lines
    ]  # fmt: skip
    out += _indexed(columns, rows, [(line.code,) for line in section.lines])
    if section.unstated:
        sentence = (
            f"Measured without stating an instrument: {', '.join(section.unstated)}."
        )
        out += [gap(3), *paragraph(sentence, CONTENT)]
    return out


def weights(section: Weights) -> list[Block]:
    out = section_heading("Weights")
    if section.lines:
        columns = (
            Column("Serial number", 30, font=SEMIBOLD),
            Column("Stage", 18),
            Column("Weight", 24, "right"),
            Column("Expected", 36),
            Column("Scale", 26),
            Column("Weighed", 20),
            Column("By", 28),
            Column("Note", 30, lines=2),
        )
        rows = [tuple(vars(line).values()) for line in section.lines]
        out += [*table(columns, rows, CONTENT, size=7.2, whole=True), gap(3)]
    if section.never:
        sentence = f"Never weighed: {', '.join(section.never)}."
        out += [*paragraph(sentence, CONTENT), gap(3)]
    if section.total:
        out.append(heading("The airframe", "weight and balance as recorded"))
        columns = (
            Column("Of the airframe", 40, font=SEMIBOLD),
            Column("As recorded", 140, lines=20),
        )
        rows = [(name.capitalize(), amount) for name, amount in section.total]
        out += table(columns, rows, CONTENT, size=7.2, whole=True)
    return out


def signed(section: Signed) -> list[Block]:
    out = section_heading("Signatures")
    if section.lines:
        columns = (
            Column("Meaning", 36, lines=4, font=SEMIBOLD),
            Column("Of", 26, lines=4),
            Column("By", 28, lines=4),
            Column("Certificate number and kind", 28, lines=4),
            Column("When", 24, lines=2),
            Column("Digest of what was signed", 28),
            Column("Holds", 40, lines=8),
        )
        rows = [
            (x.meaning, x.what, x.by, x.certificate, x.at, x.digest[:16], x.holds)
            for x in section.lines
        ]
        out += [*table(columns, rows, CONTENT, size=7.2, whole=True), gap(4)]
    else:
        out += [*paragraph("Nobody has signed any of it yet.", CONTENT), gap(3)]
    return out + blocks.signatures(section.boxes)


def cautions(lines) -> list[Block]:
    first, *rest = blocks.cautions(lines)
    return [gap(6), replace(first, place=Place("Cautions")), *rest]
