"""Published plans for sampling by attributes: ISO 2859-1:1999, tables 1 and 2-A (also
ANSI/ASQ Z1.4): single sampling, normal inspection, percent nonconforming. Letters and
acceptance numbers are from memory: the text was not at hand.

The table is a diagonal: each step along it, to the next letter or the next limit of
quality, is the next acceptance number; what lies between two of them points to the plan
of the letter before or after. At the two ends of the table (A at 10, R at 0.015) there
is none on that side, so the arrow can only lead the other way, to C and to P.
"""

from dataclasses import dataclass

from .sampling import SamplingError

LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
# The largest lot of each row of table 1 (None: any), and its letters by level.
ROWS: tuple[tuple[int | None, str], ...] = (
    (8, "AAAAAAB"),
    (15, "AAAAABC"),
    (25, "AABBBCD"),
    (50, "ABBCCDE"),
    (90, "BBCCCEF"),
    (150, "BBCDDFG"),
    (280, "BCDEEGH"),
    (500, "BCDEFHJ"),
    (1_200, "CCEFGJK"),
    (3_200, "CDEGHKL"),
    (10_000, "CDFGJLM"),
    (35_000, "CDFHKMN"),
    (150_000, "DEGJLNP"),
    (500_000, "DEGJMPQ"),
    (None, "DEHKNQR"),
)
LETTERS = "ABCDEFGHJKLMNPQR"
SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
# Acceptance quality limits, percent.
LIMITS = (
    "0.010", "0.015", "0.025", "0.040", "0.065", "0.10", "0.15", "0.25", "0.40",
    "0.65", "1.0", "1.5", "2.5", "4.0", "6.5", "10",
)  # fmt: skip
# Acceptance numbers by step along the diagonal from 0; None points to another letter.
ALONG = (0, None, None, 1, 2, 3, 5, 7, 10, 14, 21)
FIRST = LETTERS.index("A") + LIMITS.index("6.5")  # the step of the plans that accept 0


@dataclass(frozen=True)
class PublishedPlan:
    """Look at n; accept with at most c nonconforming. `asked` is the letter of the lot,
    `letter` that of the plan the table leads to. `all_of_it`: the lot holds no more."""

    asked: str
    letter: str
    n: int
    c: int
    all_of_it: bool = False


def code_letter(lot: int, level: str) -> str:
    """The letter of table 1. SamplingError where there is no such lot or level."""
    if level not in LEVELS:
        raise SamplingError(f"there is no level {level}: {', '.join(LEVELS)}")
    if lot < 2:
        raise SamplingError(f"the table begins with a lot of 2, not {lot}")
    row = next(letters for most, letters in ROWS if most is None or lot <= most)
    return row[LEVELS.index(level)]


def published_plan(lot: int, level: str, limit: str) -> PublishedPlan:
    """The plan of table 2-A for a lot, a level of inspection and an acceptance quality
    limit in percent, one of LIMITS. SamplingError for another."""
    asked = code_letter(lot, level)
    if limit not in LIMITS:
        raise SamplingError(f"the table has no limit of {limit} %")
    row, column = LETTERS.index(asked), LIMITS.index(limit)
    step = row + column - FIRST
    if step < 0:  # down to the letter that can accept 0
        row += -step
    elif step >= len(ALONG):  # up to the last number of the table
        row -= step - (len(ALONG) - 1)
    elif ALONG[step] is None:
        way = {1: -1, 2: 1}[step]
        row += way if 0 <= row + way < len(LETTERS) else -2 * way
    number = ALONG[row + column - FIRST]
    n = SIZES[row]
    return PublishedPlan(asked, LETTERS[row], min(n, lot), number, n >= lot)
