"""PDF/A-3b: a finished file made fit to be kept for decades, and tagged so that it can
be read aloud. Deterministic: the same bytes in give the same bytes out.

What is reached is told by `validated`, an allowlist: what it passes conforms, what it
refuses may be a false alarm. Tags name headings, paragraphs, figures with their words,
and each row of a table as a line; no claim of PDF/UA is made.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

FLAVOUR = "3b"


@dataclass
class Tags:
    """What is on each page, in the order of reading: (tag, words for a figure)."""

    pages: list[list[tuple[str, str]]] = field(default_factory=list)

    def new_page(self) -> None:
        self.pages.append([])

    def open(self, canvas, tag: str, alt: str = "") -> None:
        """Begin what is read; `close` ends it."""
        here = self.pages[-1]
        canvas._code.append(f"/{tag} <</MCID {len(here)}>> BDC")
        here.append((tag, alt))

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
        _add_tags(pdf, tags.pages)
        pdfa.prepare(pdf, FLAVOUR)
        # The wall clock is in there, and the version of a tool.
        with pdf.open_metadata(
            set_pikepdf_as_editor=False, update_docinfo=False
        ) as told:
            told["xmp:MetadataDate"] = when.astimezone(UTC).isoformat(
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


def _add_tags(pdf, pages: Sequence[Sequence[tuple[str, str]]]) -> None:
    """The tree of tags (PDF 1.7, 14.7): one element for each marked run of a page."""
    from pikepdf import Array, Dictionary, Name, String  # noqa: PLC0415

    root = pdf.make_indirect(Dictionary(Type=Name.StructTreeRoot))
    whole = pdf.make_indirect(
        Dictionary(Type=Name.StructElem, S=Name.Document, P=root, K=Array())
    )
    parents, kids = Array(), Array()
    for number, (page, marked) in enumerate(zip(pdf.pages, pages, strict=True)):
        own = Array()
        for key, (tag, alt) in enumerate(marked):
            told = Dictionary(
                Type=Name.StructElem, S=Name(f"/{tag}"), P=whole, Pg=page.obj, K=key
            )
            if alt:
                told.Alt = String(alt)
            one = pdf.make_indirect(told)
            own.append(one)
            kids.append(one)
        page.obj.StructParents = number
        page.obj.Tabs = Name.S
        parents.extend([number, pdf.make_indirect(own)])
    whole.K = kids
    root.K = whole
    root.ParentTree = pdf.make_indirect(Dictionary(Nums=parents))
    root.ParentTreeNextKey = len(pages)
    pdf.Root.StructTreeRoot = root
    pdf.Root.MarkInfo = Dictionary(Marked=True)
