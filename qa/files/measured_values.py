"""Tables of measured values: of a characteristic, of a gauge study, against pulls.

`value[,subgroup]`, `part,person,value`, `pull,value[,break]`; in the order of time, all
values in one unit. A cell that is empty is an error: no value is made up for it.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from qa.files.columns import (
    Complaint,
    FileComplaints,
    Row,
    number,
    read_table,
    recognize,
)
from qa.numeric.measuring.charts import scattered
from qa.numeric.measuring.exact import OutOfRange, exact
from qa.numeric.measuring.gauge import Cell

MOST_ROWS = 20_000
LONGEST_LABEL = 60
MOST_SHOWN = 8  # stretches of lines, in a complaint
LINE = " line"  # no column is headed so
NO_BREAK = ("", "0", "no")
WHOLE = re.compile(r"(\d+)([.,]0*)?")  # as tables write it: 1, 01, 1.0


@dataclass(frozen=True)
class ValuesFile:
    """Values in order; the subgroup of each, or None without that column; the line
    where each stands."""

    values: tuple[Decimal, ...]
    subgroups: tuple[str, ...] | None
    lines: tuple[int, ...]

    def scattered(self) -> list[Complaint]:
        """Each subgroup that goes on after another one began, once."""
        return [
            Complaint(
                f"{name} goes on after another subgroup began; name it anew, or put "
                "its rows together",
                self.lines[at],
                "subgroup",
            )
            for name, at in scattered(self.subgroups or ()).items()
        ]


@dataclass(frozen=True)
class StudyFile:
    """Part, person and value of each row, and the line where it stands."""

    parts: tuple[str, ...]
    people: tuple[str, ...]
    values: tuple[Decimal, ...]
    lines: tuple[int, ...]

    def uneven(self, cells: Iterable[Cell]) -> list[Complaint]:
        """Cells that lack values or have too many, each with where it would stand: its
        own lines, those of its part and those of its person."""
        lines: dict[tuple[str | None, str | None], list[int]] = defaultdict(list)
        for line, part, person in zip(self.lines, self.parts, self.people, strict=True):
            for key in ((part, person), (part, None), (None, person)):
                lines[key].append(line)
        once = {}

        def stands(part: str | None, person: str | None) -> str:
            key = part, person
            if key not in once:
                once[key] = _stretches(lines[key])
            return once[key]

        complaints = []
        for cell in cells:
            own = lines.get((cell.part, cell.person))
            beside = [f"it stands in {stands(cell.part, cell.person)}"] if own else []
            beside += [
                f"part {cell.part} stands in {stands(cell.part, None)}",
                f"{cell.person} stands in {stands(None, cell.person)}",
            ]
            words = f"{cell}; every person measures every part equally often"
            last = (own or lines[cell.part, None])[-1]
            complaints.append(Complaint(f"{words} ({'; '.join(beside)})", last))
        return complaints


def _stretches(lines: Sequence[int]) -> str:
    """ "lines 4 to 6, 9": lines in the order of the file."""
    ends: list[list[int]] = []
    for line in lines:
        if ends and line == ends[-1][1] + 1:
            ends[-1][1] = line
        else:
            ends.append([line, line])
    shown = [str(low) if low == high else f"{low} to {high}" for low, high in ends]
    more = len(shown) - MOST_SHOWN
    words = ", ".join(shown[:MOST_SHOWN]) + (f" and {more} more" if more > 0 else "")
    return f"line{'' if len(lines) == 1 else 's'} {words}"


@dataclass(frozen=True)
class PullsFile:
    """Pull and value of each row, and the pulls before which there was a repair."""

    pulls: tuple[Decimal, ...]
    values: tuple[Decimal, ...]
    breaks: tuple[Decimal, ...]


def read_values(data: bytes) -> ValuesFile:
    """Columns `value[,subgroup]`. FileComplaints with all that is wrong."""
    columns = _columns(data, {"value": measured}, {"subgroup": label})
    subgroups = columns.get("subgroup")
    return ValuesFile(
        tuple(columns["value"]),
        None if subgroups is None else tuple(subgroups),
        tuple(columns[LINE]),
    )


def read_study(data: bytes) -> StudyFile:
    """Columns `part,person,value`. FileComplaints with all that is wrong."""
    columns = _columns(data, {"part": label, "person": label, "value": measured}, {})
    names = ("part", "person", "value", LINE)
    return StudyFile(*(tuple(columns[name]) for name in names))


def read_pulls(data: bytes) -> PullsFile:
    """Columns `pull,value[,break]`: whatever stands under break but 0 and no says that
    there was a repair before that pull. Where all from the first mark on are whole
    numbers, they number stretches: the same again says nothing new. FileComplaints with
    all that is wrong."""
    columns = _columns(data, {"pull": measured, "value": measured}, {"break": str})
    pulls, marks = columns["pull"], columns.get("break", ())
    both = zip(pulls, marks, strict=False)
    rows = sorted((pull, _mark(mark)) for pull, mark in both)
    marked = [(pull, mark) for pull, mark in rows if mark not in NO_BREAK]
    numbered = (
        marked
        and len(rows) - rows.index(marked[0]) == len(marked)
        and all(mark.isdecimal() for _pull, mark in marked)
    )
    breaks, before = [], ""
    for pull, mark in marked:
        if not (numbered and mark == before):
            breaks.append(pull)
        before = mark
    return PullsFile(tuple(pulls), tuple(columns["value"]), tuple(breaks))


def _mark(text: str) -> str:
    """What stands under break, a whole number however it is written."""
    whole = WHOLE.fullmatch(text)
    return str(int(whole[1])) if whole else text.lower()


def measured(text: str) -> Decimal:
    """A number that can be reckoned with; ValueError says what is wrong with it."""
    if not text:
        raise ValueError("is empty; leave the row out if it was not measured")
    value = number(text)
    try:
        exact(value)
    except OutOfRange as why:
        raise ValueError(str(why)) from why
    return value


def label(text: str) -> str:
    """A name of up to 60 plain characters."""
    if not text or len(text) > LONGEST_LABEL or not text.isprintable():
        raise ValueError(f"must be 1 to {LONGEST_LABEL} plain characters")
    return text


Reader = Callable[[str], object]


def _columns(
    data: bytes, required: dict[str, Reader], optional: dict[str, Reader]
) -> dict[str, list]:
    """Cells of each column that is there, read, and under LINE where each stands."""
    ragged: list[Complaint] = []
    table = read_table(data, ragged, gaps=True)
    readers = {**required, **optional}
    columns_read = recognize(table.header, plain=readers, lengths=(), required=required)
    complaints = [*ragged, *_too_many(table.rows)]
    columns: dict[str, list] = {name: [] for name in columns_read}
    columns[LINE] = [row.line for row in table.rows]
    for row in table.rows[:MOST_ROWS]:
        for name, column in columns_read.items():
            try:
                columns[name].append(readers[name](row.cells[column.index]))
            except ValueError as why:
                complaints.append(Complaint(str(why), row.line, name))
    if not table.rows and not complaints:
        complaints.append(Complaint("there are no rows", table.header.line))
    if complaints:
        raise FileComplaints(complaints)
    return columns


def _too_many(rows: Sequence[Row]) -> list[Complaint]:
    if len(rows) <= MOST_ROWS:
        return []
    line = rows[MOST_ROWS].line
    return [Complaint(f"{len(rows)} rows; at most {MOST_ROWS}", line)]
