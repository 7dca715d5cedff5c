"""PDF/A-3b: a finished file made fit to be kept for decades, and tagged so that it can
be read aloud. Deterministic: the same bytes in give the same bytes out.

What is reached is told by `validated`, an allowlist: what it passes conforms, what it
refuses may be a false alarm. Tags name headings, paragraphs, figures with their words,
and tables by row and cell under their heads; no claim of PDF/UA is made.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

FLAVOUR = "3b"


# What is told in the order of reading: something by itself, a line of it that goes on,
# a row of a table, a cell of that row.
ALONE, ON, ROW, CELL = range(4)
EMPTY = -1


@dataclass
class Tags:
    """What is on the pages, in the order of reading: `told` is (what, tag, words for a
    figure, page, number of the marked run on it), `runs` how many each page has."""

    elements: list[tuple[int, str, str, int, int]] = field(default_factory=list)
    runs: list[int] = field(default_factory=list)

    def new_page(self) -> None:
        self.runs.append(0)

    def _mark(self, canvas, what: int, tag: str, alt: str = "") -> None:
        here, run = len(self.runs) - 1, self.runs[-1]
        self.runs[-1] += 1
        canvas._code.append(f"/{tag} <</MCID {run}>> BDC")
        self.elements.append((what, tag, alt, here, run))

    def open(self, canvas, tag: str, alt: str = "", *, goes_on: bool = False) -> None:
        """Begin what is read; `close` ends it. goes_on: a line of what came before."""
        self._mark(canvas, ON if goes_on else ALONE, tag, alt)

    def row(self) -> None:
        """The cells that come now are a row of a table; a row of heads begins one."""
        self.elements.append((ROW, "TR", "", len(self.runs) - 1, EMPTY))

    def cell(self, canvas, tag: str) -> None:
        """Begin a cell ("TD", or "TH" of a head)."""
        self._mark(canvas, CELL, tag)

    def empty_cell(self, tag: str) -> None:
        self.elements.append((CELL, tag, "", len(self.runs) - 1, EMPTY))

    @staticmethod
    def open_artifact(canvas) -> None:
        """Begin what is on every page and is not read each time."""
        canvas._code.append("/Artifact BMC")

    @staticmethod
    def close(canvas) -> None:
        canvas._code.append("EMC")


def archived(data: bytes, when: datetime, tags: Tags) -> bytes:
    """The same pages as PDF/A-3b with their tags; `when` stands in its metadata. Where
    there is no pikepdf (macOS) they stay plain."""
    try:
        import pikepdf  # noqa: PLC0415 -- slow, and only packs are archived
        from pikepdf import pdfa  # noqa: PLC0415
    except ImportError:
        return data

    with pikepdf.open(io.BytesIO(data)) as pdf:
        for page in pdf.pages:
            if "/Trans" in page:
                del page["/Trans"]
        _Tree(pdf, tags).build()
        pdfa.prepare(pdf, FLAVOUR)
        # The wall clock is in there, and the version of a tool.
        with pdf.open_metadata(
            set_pikepdf_as_editor=False, update_docinfo=False
        ) as metadata:
            metadata["xmp:MetadataDate"] = when.astimezone(UTC).isoformat(
                timespec="seconds"
            )
        out = io.BytesIO()
        pdf.save(out, **pdfa.resolve_save_kwargs(FLAVOUR, deterministic_id=True))
        return out.getvalue()


def validated(data: bytes) -> Sequence[str]:
    """What keeps a file from being PDF/A-3b, in words; nothing where it is."""
    try:
        from pikepdf import pdfa  # noqa: PLC0415
    except ImportError:
        return ["there is no pikepdf here to make or to try it"]

    report = pdfa.validate_written(io.BytesIO(data), FLAVOUR)
    return [
        f"{finding.rule} at {finding.where}: {finding.message}"
        for finding in report.findings
    ]


class _Tree:
    """The tree of tags (PDF 1.7, 14.7 and 14.8.4) in a file of these pages."""

    def __init__(self, pdf, tags: Tags):
        from pikepdf import Array, Dictionary, Name  # noqa: PLC0415

        self.pdf, self.tags = pdf, tags
        self.pages = [page.obj for page in pdf.pages]
        self.array, self.dictionary, self.name = Array, Dictionary, Name
        self.root = pdf.make_indirect(Dictionary(Type=Name.StructTreeRoot))
        # The elements of each page, by the number of their marked run.
        self.runs: list[list] = [[] for _ in self.pages]
        heads = Dictionary(O=Name.Table, Scope=Name.Column)
        self.of_heads = pdf.make_indirect(heads)

    def build(self) -> None:
        whole = self.element("Document", self.root)
        self.kids(whole, self.children(whole))
        self.root.K = whole
        nums = self.array()
        for number, (page, runs) in enumerate(zip(self.pages, self.runs, strict=True)):
            page.StructParents = number
            page.Tabs = self.name.S
            nums.extend([number, self.pdf.make_indirect(self.array(runs))])
        self.root.ParentTree = self.pdf.make_indirect(self.dictionary(Nums=nums))
        self.root.ParentTreeNextKey = len(self.pages)
        self.pdf.Root.StructTreeRoot = self.root
        self.pdf.Root.MarkInfo = self.dictionary(Marked=True)

    def element(self, tag: str, parent):
        entries = {"/S": self.name(f"/{tag}"), "/P": parent}
        return self.pdf.make_indirect(self.dictionary(entries))

    def kids(self, parent, kids: list) -> None:
        parent.K = self.array(kids)

    def children(self, whole) -> list:
        """What stands in the document itself; rows and cells hang in their tables."""
        children, last, tables, rows = [], None, [], []
        marks = self.tags.elements
        for k, (what, tag, alt, page, run) in enumerate(marks):
            if what == ROW:
                begins = k + 1 < len(marks) and marks[k + 1][1] == "TH"
                if begins or not (last and last[0] == ROW):
                    table = self.element("Table", whole)
                    children.append(table)
                    tables.append((table, []))
                table, own = tables[-1]
                rows.append((self.element("TR", table), []))
                own.append(rows[-1][0])
                last = ROW, page
            elif what == CELL:
                row, own = rows[-1]
                own.append(self.marked(tag, row, page, run))
            elif what == ON and last == (ON, page):
                runs = self.runs[page]
                runs.append(children[-1])
                children[-1].K.append(run)
            else:
                made = self.marked(tag, whole, page, run)
                if alt:
                    made.Alt = alt
                made.K = self.array([run])
                children.append(made)
                last = ON, page
        for parent, own in (*tables, *rows):
            self.kids(parent, own)
        return children

    def marked(self, tag: str, parent, page: int, run: int):
        entries = {"/S": self.name(f"/{tag}"), "/P": parent}
        if tag == "TH":
            entries["/A"] = self.of_heads
        if run == EMPTY:
            return self.pdf.make_indirect(self.dictionary(entries))
        entries |= {"/Pg": self.pages[page], "/K": run}
        made = self.pdf.make_indirect(self.dictionary(entries))
        self.runs[page].append(made)
        return made
