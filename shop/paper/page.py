"""Pages to bytes: paper sizes, invariant output, attachments."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

from shop.paper.fonts import REGULAR, register
from shop.paper.text import clean

MM = 72 / 25.4
CONTENT = 180 * MM  # the same on both papers, so that a sheet looks the same on either


@dataclass(frozen=True)
class Paper:
    """A paper size in points, with the margins that center the same 180 mm of
    content."""

    name: str
    width: float
    height: float
    top: float = 12 * MM
    foot: float = 10 * MM

    @property
    def left(self) -> float:
        return (self.width - CONTENT) / 2


# A4 from ISO 216 (210 x 297 mm), Letter from ANSI Y14.1 (8.5 x 11 in); from memory,
# checked against reportlab's own.
PAPERS = {
    "a4": Paper("A4", 210 * MM, 297 * MM),
    "letter": Paper("US Letter", 8.5 * 72, 11 * 72),
}


def paper_named(name: str) -> Paper:
    """The paper called "a4" or "letter"; ValueError names what was asked for."""
    try:
        return PAPERS[name.lower()]
    except KeyError:
        raise ValueError(f"paper is a4 or letter, not {name!r}") from None


def pdf(
    pages: Sequence[Callable],
    *,
    paper: Paper,
    issued_at: datetime,
    title: str,
    author: str = "",
    subject: str = "",
    attachments: Sequence[tuple[str, str, bytes]] = (),
) -> bytes:
    """Bytes of a PDF with one page per function; each is called with the canvas alone.

    `issued_at` (aware) is the only time in the file. `attachments` are (file name,
    media type, bytes).
    """
    if issued_at.tzinfo is None:
        raise ValueError("issued_at must carry its time zone")
    register()
    out = BytesIO()
    canvas = Canvas(
        out,
        pagesize=(paper.width, paper.height),
        invariant=1,
        pageCompression=1,
        initialFontName=REGULAR,
        lang="en-US",
    )
    canvas._doc._timeStamp = _Stamp(issued_at)
    canvas.setTitle(clean(title))
    canvas.setAuthor(clean(author))
    canvas.setSubject(clean(subject))
    canvas.setCreator("Fayline")
    for draw in pages:
        draw(canvas)
        canvas.showPage()
    if attachments:
        _attach(canvas, attachments, issued_at)
    canvas.save()
    return out.getvalue()


class _Stamp:
    """The time of the record in the shape that reportlab reads; invariant mode alone
    would say 2000-01-01."""

    def __init__(self, when: datetime):
        utc = when.astimezone(UTC)
        self.t = utc.timestamp()
        self.lt = utc.timetuple()
        self.YMDhms = tuple(self.lt)[:6]
        self.dhh = self.dmm = 0
        self.tzname = "UTC"


def _attach(
    canvas, attachments: Sequence[tuple[str, str, bytes]], issued_at: datetime
) -> None:
    """Embed files; reportlab has the catalog's slot for names but no call for files
    (PDF 1.7, 7.11.4)."""
    stamp = issued_at.astimezone(UTC).strftime("D:%Y%m%d%H%M%SZ")
    names: list = []
    for name, media_type, content in sorted(attachments):
        stream = pdfdoc.PDFStream(
            dictionary=pdfdoc.PDFDictionary(
                {
                    "Type": pdfdoc.PDFName("EmbeddedFile"),
                    "Subtype": pdfdoc.PDFName(media_type.replace("/", "#2F")),
                    "Params": pdfdoc.PDFDictionary(
                        {
                            "Size": len(content),
                            "ModDate": pdfdoc.PDFString(stamp),
                            "CreationDate": pdfdoc.PDFString(stamp),
                        }
                    ),
                }
            ),
            content=content,
            filters=[pdfdoc.PDFZCompress],
        )
        reference = canvas._doc.Reference(stream)
        spec = pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("Filespec"),
                "F": pdfdoc.PDFString(name),
                "UF": pdfdoc.PDFString(name),
                "AFRelationship": pdfdoc.PDFName("Data"),
                "EF": pdfdoc.PDFDictionary({"F": reference, "UF": reference}),
            }
        )
        names += [pdfdoc.PDFString(name), canvas._doc.Reference(spec)]
    tree = pdfdoc.PDFDictionary({"Names": pdfdoc.PDFArray(names)})
    canvas._doc.Catalog.Names = pdfdoc.PDFDictionary({"EmbeddedFiles": tree})
