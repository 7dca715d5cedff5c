"""A QR code as plain rectangles, one per run of dark modules."""

from functools import lru_cache
from hashlib import sha256
from ipaddress import ip_address
from urllib.parse import urlsplit

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

# Longer addresses give modules too small for a tablet to read off paper.
LONGEST = 300
# In the place of a code that would lead nowhere.
NO_CODE = ("No code: printed at", "an address that", "others cannot reach")


def leads_nowhere(url: str) -> bool:
    """Whether an address means "this machine" to whoever follows it, so that it leads
    to nothing from a tablet."""
    host = urlsplit(url).hostname or ""
    try:
        return ip_address(host).is_loopback or ip_address(host).is_unspecified
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")


@lru_cache(maxsize=64)
def matrix(text: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of a QR code (error correction level M) for `text`, without quiet
    zone."""
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    return tuple(tuple(bool(module) for module in row) for row in code.modules)


def draw(canvas, text: str, x: float, y: float, side: float) -> None:
    """Draw the code with its quiet zone (4 modules) in the square with lower left
    corner (x, y)."""
    # Drawn once a file, referred to from each page.
    name = f"code{sha256(text.encode()).hexdigest()[:16]}{side:.3f}"
    if not canvas.hasForm(name):
        canvas.beginForm(name, 0, 0, side, side)
        _modules(canvas, text, side)
        canvas.endForm()
    canvas.saveState()
    canvas.translate(x, y)
    canvas.doForm(name)
    canvas.restoreState()


def _modules(canvas, text: str, side: float) -> None:
    rows = matrix(text)
    step = side / (len(rows) + 8)
    canvas.setFillColor("#000000")
    path = canvas.beginPath()
    for j, row in enumerate(rows):
        top = side - (j + 4) * step
        start = None
        for i, dark in enumerate([*row, False]):
            if dark and start is None:
                start = i
            elif not dark and start is not None:
                path.rect((start + 4) * step, top - step, (i - start) * step, step)
                start = None
    canvas.drawPath(path, stroke=0, fill=1)
