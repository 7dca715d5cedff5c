"""Sizes of paper and the margins of a sheet, in points (1/72 in)."""

from dataclasses import dataclass

from shop.numeric.units import MM_PER_IN, POINTS_PER_IN

MM = POINTS_PER_IN / MM_PER_IN

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
    "letter": Paper("US Letter", 8.5 * POINTS_PER_IN, 11 * POINTS_PER_IN),
}


def paper_named(name: str) -> Paper:
    """The paper called "a4" or "letter"; ValueError names what was asked for."""
    try:
        return PAPERS[name.lower()]
    except KeyError:
        raise ValueError(f"paper is a4 or letter, not {name!r}") from None
