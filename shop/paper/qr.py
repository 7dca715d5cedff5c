"""A QR code as plain rectangles, one per run of dark modules."""

from functools import lru_cache

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel


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
    rows = matrix(text)
    step = side / (len(rows) + 8)
    canvas.saveState()
    canvas.setFillColor("#000000")
    path = canvas.beginPath()
    for j, row in enumerate(rows):
        top = y + side - (j + 4) * step
        start = None
        for i, dark in enumerate([*row, False]):
            if dark and start is None:
                start = i
            elif not dark and start is not None:
                path.rect(x + (start + 4) * step, top - step, (i - start) * step, step)
                start = None
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()
