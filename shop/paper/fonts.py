"""The fonts of paper: static TrueType from a registry wheel, embedded, with
equal-width digits."""

from functools import cache

import ttf_opensans as wheel
from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "Sheet"
SEMIBOLD = "Sheet-SemiBold"
BOLD = "Sheet-Bold"
ITALIC = "Sheet-Italic"


@cache
def register() -> None:
    """Make the four fonts known to reportlab; the second call costs nothing."""
    # Binary streams instead of ASCII ones: a fifth smaller, and every reader since
    # 1996 takes them.
    rl_config.useA85 = 0
    for name, source in (
        (REGULAR, wheel.OPENSANS_REGULAR),
        (SEMIBOLD, wheel.OPENSANS_SEMIBOLD),
        (BOLD, wheel.OPENSANS_BOLD),
        (ITALIC, wheel.OPENSANS_ITALIC),
    ):
        pdfmetrics.registerFont(TTFont(name, str(source.path)))


@cache
def covered(font: str = REGULAR) -> frozenset[int]:
    """The code points that the font has a glyph for."""
    register()
    return frozenset(pdfmetrics.getFont(font).face.charToGlyph)
