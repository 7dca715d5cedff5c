"""The first page of a pack, its contents, what changed, and the page of its digests."""

from dataclasses import replace
from itertools import groupby

from qa.paper import blocks
from qa.paper import scene as scene_pdf
from qa.queries.packs.pack import Changes, Pack
from shop.numeric.paper_sizes import CONTENT, MM, paper_named
from shop.paper import Block, Column, gap, heading, table, text
from shop.paper.flow import CAPTION, HAIR, RULE, Place, paragraph
from shop.paper.fonts import BOLD, SEMIBOLD
from shop.paper.sheet import Places, room

MARK = 11
OTHER_FORM = "The earlier issue tells things in another form of the record."
LOSSY = "“?” stands here for a sign that this paper cannot print: the record has it."
NONE = ("none on record",)


def section_heading(name: str, note: str = "") -> list[Block]:
    """A section begins, bookmarked and in the contents: on a page of its own, or where
    all of it has room below the one before."""
    size = 15

    def draw(canvas, x, top, width):
        text.write(canvas, x, top - size, name, font=BOLD, size=size)
        text.write(
            canvas, x + width, top - size, note, size=7.5, align="right", color=CAPTION
        )
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.9)
        canvas.line(x, top - size - 5, x + width, top - size - 5)

    return [
        replace(gap(8, keep=True), fresh=True),
        Block(size + 11, draw, keep=True, place=Place(name), tag="H1"),
    ]


def first_page(pack: Pack) -> list[Block]:
    """What is claimed, in which condition, by which limits, and the inspector's box."""
    pairs = [
        ("Pack", f"{pack.label}, issue {pack.issue}"),
        ("Of", pack.subject),
        ("Issued", pack.issued_text),
        ("Issued by", pack.by),
    ]
    out = blocks.identity(pairs)
    first = replace(
        blocks.masthead(pack.title, pack.subtitle), place=Place("What is claimed")
    )
    out = [*_mark(pack), first, *out, gap(3)]
    box = [heading("For the inspector"), gap(1, keep=True), _box(), gap(4)]
    if pack.note:
        out += [*paragraph(pack.note, CONTENT, size=8.5), gap(2)]
        if text.is_lossy(pack.note):
            out += [*paragraph(LOSSY, CONTENT, size=7.5), gap(2)]
    out += [heading("What this pack claims", "of what is recorded, and no more")]
    out += blocks.bullets(pack.claims, size=8.5)
    out += [gap(1), blocks.counts(pack.counts)] if pack.counts else []
    out.append(gap(2))
    end = [*_earlier(pack), *box]
    left = room(paper_named(pack.paper)) - sum(x.height for x in [*out, *end])
    return [*out, *_stated(pack, left), *end, *_summary(pack)]


def _stated(pack: Pack, left: float) -> list[Block]:
    """In which conditions, by which limits: as many as the first page has room for
    above the box of the inspector; each stands in the table of joints below it."""
    most = max(len(pack.conditions), len(pack.sources), 1)
    while True:
        story = [
            heading("In which condition"),
            *blocks.bullets(_first(pack.conditions, most)),
            gap(2),
            heading("By which limits", "source as stated at the joint"),
            *blocks.bullets(_first(pack.sources, most)),
            gap(3),
        ]
        if most == 1 or sum(block.height for block in story) <= left:
            return story
        most -= 1


def _first(lines: tuple[str, ...], most: int) -> tuple[str, ...]:
    more = len(lines) - most
    if more <= 0:
        return lines or NONE
    return (*lines[:most], f"and {more} more, each in the table of joints below")


MARK_HEIGHT, MARK_WIDTH = 15 * MM, 58 * MM


def _mark(pack: Pack) -> list[Block]:
    """The shop's own mark, at the right above the title, or why it is not there."""
    if not pack.mark and not pack.no_mark:
        return []

    def draw(canvas, x, top, width):
        if pack.no_mark:
            text.write(canvas, x + width - MARK_WIDTH, top - 8, pack.no_mark, size=6)
            return
        canvas.drawImage(
            pack.mark, x + width - MARK_WIDTH, top - MARK_HEIGHT, MARK_WIDTH,
            MARK_HEIGHT, preserveAspectRatio=True, anchor="ne",
        )  # fmt: skip

    words = f"Mark of {pack.shop}"
    return [Block(MARK_HEIGHT + 4, draw, tag="Figure", alt=words)]


def _earlier(pack: Pack) -> list[Block]:
    if pack.changes is None:
        return []
    changes = pack.changes
    count = changes.compared.count
    words = f"{count} lines differ" if count != 1 else "1 line differs"
    words = f"{words} now." if count else _unchanged(changes)
    issue = f"Issue {changes.issue} ({changes.label}) of {changes.at}"
    sentence = f"{issue} stays as it was. {words}"
    return [*paragraph(sentence, CONTENT, size=8.5, font=SEMIBOLD), gap(3)]


def _box() -> Block:
    """Accept, accept with remarks or reject: signed, with the certificate."""
    height = 40 * MM

    def draw(canvas, x, top, width):
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(1)
        canvas.rect(x, top - height, width, height)
        left = x + 7
        for word in ("accepted", "accepted with remarks", "rejected"):
            canvas.setLineWidth(0.8)
            canvas.rect(left, top - 18, 9, 9)
            used = text.write(canvas, left + 14, top - 17, word, font=SEMIBOLD, size=10)
            left += used + 44
        canvas.setLineWidth(0.25)
        canvas.setStrokeColor(HAIR)
        text.write(canvas, x + 7, top - 31, "Remarks", size=6, color=CAPTION)
        for k in range(2):
            y = top - 44 - k * 15
            canvas.line(x + 7, y, x + width - 7, y)
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.4)
        start = x + 7
        for caption, share in (
            ("Name", 0.27),
            ("Signature", 0.27),
            ("Certificate number and kind", 0.28),
            ("Date", 0.18),
        ):
            wide = (width - 14) * share
            canvas.line(start, top - height + 17, start + wide - 8, top - height + 17)
            text.write(canvas, start, top - height + 9, caption, size=6, color=CAPTION)
            start += wide

    return Block(height, draw)


def _summary(pack: Pack) -> list[Block]:
    """Every joint on a line: where it stands, by which limits, in which condition."""
    columns = (
        Column("Joint", 14, font=SEMIBOLD),
        Column("Name", 40, lines=2),
        Column("Rev", 7),
        Column("As recorded", 33, mark=MARK, lines=2),
        Column("Inspection", 24, lines=2),
        Column("Condition of acceptance", 34, lines=2),
        Column("Source of limits", 28, lines=2),
    )
    rows = [
        (
            line.number, line.name, line.revision, line.outcome_word, line.standing,
            line.condition, line.source,
        )
        for line in pack.summary
    ]  # fmt: skip

    def marks(canvas, number, column, x, middle):
        if column != 3:
            return 0
        scene_pdf.mark(canvas, pack.summary[number].outcome, x + 4, middle, 3.2)
        return MARK

    head = heading("Joints of this pack", f"{len(rows)} fitted")
    more = {"marks": marks, "whole": True}
    return [head, *table(columns, rows, CONTENT, size=7.5, **more), gap(4)]


def contents(body: list[Block], places: Places) -> list[Block]:
    """The table of contents: drawn when the pages of all places are known."""
    lines = [
        block.place
        for block in body
        if block.place and block.place.name and block.place.level < 2
    ]
    out = section_heading("Contents")
    for place in lines:
        out.append(_content_line(place, places))
    return out


def _content_line(place: Place, places: Places) -> Block:
    font = SEMIBOLD if place.level == 0 else "Sheet"
    indent = 12 * place.level

    def draw(canvas, x, top, width):
        page = str(places.page[place.name])
        name = text.fit(place.name, width - 40 - indent, font, 8.5)
        used = text.write(canvas, x + indent, top - 9, name, font=font, size=8.5)
        text.write(canvas, x + width, top - 9, page, size=8.5, align="right")
        canvas.setStrokeColor(HAIR)
        canvas.setLineWidth(0.3)
        canvas.setDash([0.6, 2.4])
        canvas.line(x + indent + used + 4, top - 9, x + width - 20, top - 9)
        canvas.setDash([])
        canvas.linkRect(
            "", f"{page}/{place.name}", (x, top - 12, x + width, top), relative=0,
            thickness=0,
        )  # fmt: skip

    return Block(12.2 if place.level else 14.5, draw)


def changes(pack: Pack) -> list[Block]:
    """What this issue tells otherwise than the one before it."""
    if pack.changes is None:
        return []
    since = pack.changes
    out = section_heading(
        f"Changed since issue {since.issue}", f"{since.label}, {since.at}"
    )
    if since.compared.untold:
        sections = "; ".join(since.compared.untold)
        words = f"{OTHER_FORM} Not compared, since only one of both has it: {sections}."
        out += [*paragraph(words, CONTENT), gap(2)]
    if not since.compared.changes:
        return out + paragraph(_unchanged(since), CONTENT)
    columns = (
        Column("What", 36, lines=6, font=SEMIBOLD),
        Column(f"In issue {since.issue}", 72, lines=8),
        Column("Now", 72, lines=8),
    )
    for name, lines in groupby(since.compared.changes, lambda change: change.table):
        rows = [(x.name, x.before, x.now) for x in lines]
        rows_table = table(columns, rows, CONTENT, size=7.5, whole=True)
        out += [heading(name), *rows_table, gap(3)]
    return out


def _unchanged(changes: Changes) -> str:
    """What is told where no line differs: only the same record is nothing changed."""
    if changes.same:
        return "Nothing that this pack tells has changed."
    if changes.why:
        return f"The two issues were not compared line by line. {changes.why}"
    return (
        "No line differs; the records differ: compare the attached record.json of "
        "both issues."
    )


def digest_page(pack: Pack, files: dict[str, str]) -> list[Block]:
    """What proves that the pages are whole, and how to try it."""
    out = section_heading("Digests", "what proves these pages")
    pairs = [
        ("Pack", f"{pack.label}, issue {pack.issue}"),
        ("Issued", pack.issued_text),
        ("By", pack.by),
        ("Shop", pack.shop),
    ]
    out += [*blocks.identity(pairs), gap(4)]
    lines = [
        ("Content", f"{pack.digest}"),
        ("Ledger head", f"{pack.head[0]} {pack.head[1]}"),
    ]
    for name, value in lines:
        out += [heading(name), gap(1, keep=True), _digits(value), gap(3)]
    out += blocks.bullets(_how(pack, files), size=8.5)
    return out


def _digits(value: str) -> Block:
    """A digest large enough to be compared by eye, in one line for a machine."""

    def draw(canvas, x, top, width):
        text.write(canvas, x, top - 10, value, font=SEMIBOLD, size=9.5)

    return Block(14, draw)


def _how(pack: Pack, files: dict[str, str]) -> list[str]:
    sentences = [
        f"The content digest above is the SHA-256 of the attached {files['record']}: "
        "what the pages tell, as data. It stands at the foot of every page.",
        f"The attached {files['table']} holds every characteristic as a table, made "
        "from that record.",
        "The file itself is signed by the shop's own certificate: a detached signature "
        "(CMS) is kept beside it, with the ending .p7s. The time of signing is what "
        "the shop's server says: no authority for time was asked.",
        "python3 manage.py pack_check PACK.pdf --certificate CERT.pem tells whether "
        "the bytes are those signed and the data those printed; it needs no database.",
        "The ledger head is a position and a digest of the shop's ledger: ledger "
        "verify --expect holds the shop's records against it at any later time.",
        "The code on each page leads to the shop's record, which tells whether a newer "
        "issue was made and what changed.",
    ]
    if pack.unsealed:
        sentences.append(
            f"{pack.unsealed} acts of the second in which this was read were not "
            "chained into the ledger yet: the head does not cover them."
        )
    return sentences
