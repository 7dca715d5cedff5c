"""First-fit readings of several parts from one mold, as a CSV file.

`part,station,gap_mm,flush_mm[,cut_mm][,surround]`, one row a station of a part; an
empty cell was not measured. `cut_mm` is what had been cut from the part there before it
was read: as pulled its gap was smaller by that. `surround` names the opening in which
it was tried. Every `_mm` may be `_in`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from qa.files.columns import Complaint, FileComplaints, length_nm, read_table, recognize

LENGTHS = ("gap", "flush", "cut")
LONGEST_NAME = 40
MOST_PARTS = 200


@dataclass(frozen=True)
class PulledRow:
    """What was read at one station of one part; lengths in nm, None not measured.

    `row` is the station's place in the joint, `gap_nm` as pulled: less what was cut.
    """

    part: str
    row: int
    gap_nm: int | None
    flush_nm: int | None
    surround: str


@dataclass
class _Rows:
    """What was read so far, and what is wrong."""

    rows_of: dict[str, int]
    columns: dict
    closing_label: str | None
    complaints: list[Complaint] = field(default_factory=list)
    lines: dict[tuple, int] = field(default_factory=dict)


def parse(
    data: bytes, labels: Sequence[str], *, closing_label: str | None = None
) -> tuple[PulledRow, ...]:
    """The rows of a file, in its order, of a joint with these stations.

    Raises FileComplaints with everything that is wrong: among it a station that the
    joint lacks (`closing_label` is one that closed the outline and was left out) or one
    that is there twice for one part and surround.
    """
    table = read_table(data)
    columns = recognize(
        table.header,
        plain=("part", "station", "surround"),
        lengths=LENGTHS,
        required=("part", "station", "gap", "flush"),
    )
    if not table.rows:
        raise FileComplaints([Complaint("there are no rows", table.header.line)])
    state = _Rows({label: k for k, label in enumerate(labels)}, columns, closing_label)
    rows = [_read(row, state) for row in table.rows]
    if "surround" in columns:
        _all_or_none(table.rows, state)
    parts = list(dict.fromkeys(row.part for row in rows if row))
    if len(parts) > MOST_PARTS:
        reason = f"{len(parts)} parts; at most {MOST_PARTS}"
        state.complaints.append(Complaint(reason, table.header.line, "part"))
    if state.complaints:
        raise FileComplaints(state.complaints)
    return tuple(row for row in rows if row)


def _read(row, state: _Rows) -> PulledRow | None:
    """What stands in a row, or None after complaining."""
    before = len(state.complaints)

    def text(quantity: str) -> str:
        column = state.columns.get(quantity)
        return row.cells[column.index] if column else ""

    def complain(quantity: str, reason: str) -> None:
        name = state.columns[quantity].name
        state.complaints.append(Complaint(reason, row.line, name))

    for quantity in ("part", "surround"):
        name = text(quantity)
        if len(name) > LONGEST_NAME or not name.isprintable():
            complain(quantity, f"the name must be up to {LONGEST_NAME} characters")
    part, station, surround = (text(q) for q in ("part", "station", "surround"))
    if not part:
        complain("part", "the part has no name")
    reason = _wrong_station(part, station, surround, state)
    if reason:
        complain("station", reason)
    lengths = {}
    for quantity in LENGTHS:
        try:
            unit = state.columns[quantity].unit if text(quantity) else None
            lengths[quantity] = length_nm(text(quantity), unit) if unit else None
        except ValueError as why:
            complain(quantity, str(why))
    cut = lengths.get("cut") or 0
    if cut < 0:
        complain("cut", "what was cut is 0 or more")
    if len(state.complaints) > before:
        return None
    state.lines[part, station, surround] = row.line
    gap = None if lengths["gap"] is None else lengths["gap"] - cut
    return PulledRow(part, state.rows_of[station], gap, lengths["flush"], surround)


def _wrong_station(part, station, surround, state: _Rows) -> str | None:
    if not station:
        return "the station has no name"
    line = state.lines.get((part, station, surround))
    if line is not None:
        where = f" in {surround}" if surround else ""
        return f"part {part} has station {station}{where} twice (first in line {line})"
    if station in state.rows_of:
        return None
    if station == state.closing_label:
        return f"station {station} only closes the outline and was left out"
    shown = station if len(station) <= LONGEST_NAME else f"{station[:37]}..."
    return f"the joint has no station {shown}"


def _all_or_none(rows, state: _Rows) -> None:
    """A surround that is not told could be any: then none of them means anything."""
    column = state.columns["surround"]
    empty = [row for row in rows if not row.cells[column.index]]
    if 0 < len(empty) < len(rows):
        reason = "is empty, while other rows name the surround"
        state.complaints += [Complaint(reason, row.line, column.name) for row in empty]
