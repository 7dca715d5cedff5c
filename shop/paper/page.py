"""Pages to bytes: paper sizes, invariant output, attachments."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from io import BytesIO

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

from shop.numeric.paper_sizes import Paper
from shop.paper.fonts import REGULAR, register
from shop.paper.text import clean


def pdf(
    pages: Sequence[Callable],
    *,
    paper: Paper,
    issued_at: datetime,
    title: str,
    author: str = "",
    subject: str = "",
    keywords: str = "",
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
    if keywords:
        canvas.setKeywords(clean(keywords))
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
                    "Subtype": f"/{media_type.replace('/', '#2F')}",
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
