"""Sheets of labels of common sizes, and single labels of a roll.

Geometry only, in mm: page, columns and rows, size of a label, corner of the first one
and pitch. Common practice of label sheets, from memory; measure a sheet before a run.
"""

from dataclasses import dataclass

from shop.numeric.paper_sizes import MM, PAPERS, Paper
from shop.numeric.units import MM_PER_IN as INCH

# A code of this side is read at arm's length; on a larger label it may take two fifths
# of the width, and the words grow with it.
USUAL_CODE = 30.0


@dataclass(frozen=True)
class LabelSheet:
    """One geometry of a sheet; lengths in mm, `top` counted from the upper edge."""

    name: str
    paper: Paper
    columns: int
    rows: int
    width: float
    height: float
    left: float = 0.0
    top: float = 0.0
    pitch_x: float = 0.0
    pitch_y: float = 0.0

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def code(self) -> float:
        """Side of the square of the code with its quiet zone, in mm."""
        most = max(USUAL_CODE, self.width * 0.4)
        return min(self.height - 1, self.width * 0.5, most)

    @property
    def grown(self) -> float:
        """How much larger than usual the words may be."""
        return max(1.0, self.code / USUAL_CODE)

    def place(self, number: int) -> tuple[float, float]:
        """Lower left corner of a label in mm from that of the page; 0 is the first,
        at the upper left, counted row by row."""
        row, column = divmod(number, self.columns)
        height = self.paper.height / MM
        return (
            self.left + column * self.pitch_x,
            height - self.top - row * self.pitch_y - self.height,
        )


def _roll(name: str, width: float, height: float) -> LabelSheet:
    paper = Paper(name, width * MM, height * MM, 0, 0)
    return LabelSheet(name, paper, 1, 1, width, height)


A4, LETTER = PAPERS["a4"], PAPERS["letter"]
SHEETS = {
    "a4-24": LabelSheet("A4, 3 x 8 of 70 x 37 mm", A4, 3, 8, 70, 37, 0, 0.5, 70, 37),
    "a4-21": LabelSheet(
        "A4, 3 x 7 of 63.5 x 38.1 mm", A4, 3, 7, 63.5, 38.1, 7.25, 15.15, 66, 38.1
    ),
    "a4-8": LabelSheet(
        "A4, 2 x 4 of 99.1 x 67.7 mm", A4, 2, 4, 99.1, 67.7, 4.65, 13.1, 101.6, 67.7
    ),
    "letter-30": LabelSheet(
        *("US Letter, 3 x 10 of 2 5/8 x 1 in", LETTER, 3, 10),
        *(2.625 * INCH, INCH, 0.1875 * INCH, 0.5 * INCH, 2.75 * INCH, INCH),
    ),
    "letter-10": LabelSheet(
        *("US Letter, 2 x 5 of 4 x 2 in", LETTER, 2, 5),
        *(4 * INCH, 2 * INCH, 0.15625 * INCH, 0.5 * INCH, 4.1875 * INCH, 2 * INCH),
    ),
    "single-50": _roll("single label, 50 x 25 mm", 50, 25),
    "single-62": _roll("single label, 62 x 29 mm", 62, 29),
    "single-100": _roll("single label, 100 x 50 mm", 100, 50),
}
