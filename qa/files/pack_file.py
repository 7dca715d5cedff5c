"""An inspection pack that somebody brings, read without any record of ours: what is
attached, and what its pages print."""

import io
import re
from dataclasses import dataclass

MAGIC = b"%PDF-"
PRINTED = re.compile(r"content sha256 ([0-9a-f]{64})")
SHEET = re.compile(r"\bSheet\s+(\d+) of (\d+)\b")


class NoPack(ValueError):
    """The file is no inspection pack; the words say why."""


@dataclass(frozen=True)
class PackFile:
    """`attached` by name; of each page, in order, the content digests that it prints
    (`printed`), and which sheets of how many it names (`sheets`): which it is, and what
    a title or a name says so."""

    attached: dict[str, bytes]
    printed: tuple[tuple[str, ...], ...]
    sheets: tuple[tuple[tuple[str, str], ...], ...]


def read_pack(data: bytes) -> PackFile:
    """Open a pack; NoPack for what no program can read as one."""
    import pypdf  # noqa: PLC0415 -- slow, and read only here

    if not data.startswith(MAGIC):
        raise NoPack("it is no PDF")
    try:
        reader = pypdf.PdfReader(io.BytesIO(data))
        attached = {name: parts[0] for name, parts in reader.attachments.items()}
        pages = [page.extract_text() for page in reader.pages]
    except Exception as why:  # of a damaged file the reader raises whatever it meets
        raise NoPack(f"it cannot be read: {why or type(why).__name__}") from why
    return PackFile(
        attached,
        tuple(tuple(PRINTED.findall(page)) for page in pages),
        tuple(tuple(SHEET.findall(page)) for page in pages),
    )
