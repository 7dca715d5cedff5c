"""A pattern of holes as a CSV file, one row per hole.

`hole,x_mm,y_mm,measured_x_mm,measured_y_mm,zone_mm` and, where known,
`hole_mm,mmc_mm,hole_max_mm,edge_mm,fastener_mm`; every `_mm` may be `_in`. An empty
cell of the optional columns means not known, or no limit.
"""

from dataclasses import dataclass, replace

from qa.files.columns import (
    Column,
    Complaint,
    FileComplaints,
    Row,
    counted,
    length_nm,
    read_table,
    recognize,
    wrong_name,
)
from qa.numeric.holes.position import Hole
from shop.numeric.units import to_mm

NEEDED = ("x", "y", "measured_x", "measured_y", "zone")
OPTIONAL = ("hole", "mmc", "hole_max", "edge", "fastener")
MOST_HOLES = 2_000


@dataclass(frozen=True)
class HolesFile:
    """Holes in the order of the file, the line of each, and its headings."""

    holes: tuple[Hole, ...]
    lines: tuple[int, ...]
    columns: dict[str, str]

    def complaint(self, row: int | None, field: str | None, text: str) -> Complaint:
        """A complaint about a field of a hole ("zone_mm" ...), with its place."""
        quantity = "label" if field is None else field.removesuffix("_mm")
        column = self.columns.get(quantity, self.columns["label"])
        return Complaint(text, None if row is None else self.lines[row], column)


def parse(data: bytes) -> HolesFile:
    """The holes in a file. Raises FileComplaints with everything that is wrong."""
    table = read_table(data)
    columns = _columns(table.header)
    counted(table, MOST_HOLES, "holes")
    complaints: list[Complaint] = []
    holes = [_hole(row, columns, complaints) for row in table.rows]
    if complaints:
        raise FileComplaints(complaints)
    headings = {quantity: column.name for quantity, column in columns.items()}
    headings["label"] = "hole"
    return HolesFile(tuple(holes), tuple(row.line for row in table.rows), headings)


def _columns(header: Row) -> dict[str, Column]:
    """Columns by quantity; "hole" heads the label, "hole_mm" the measured size."""
    cells = tuple("label" if name == "hole" else name for name in header.cells)
    try:
        return recognize(
            Row(header.line, cells),
            plain=("label",),
            lengths=(*NEEDED, *OPTIONAL),
            required=("label", *NEEDED),
        )
    except FileComplaints as refusal:
        raise FileComplaints(
            replace(complaint, column="hole")
            if complaint.column == "label"
            else complaint
            for complaint in refusal.complaints
        ) from None


def _hole(
    row: Row, columns: dict[str, Column], complaints: list[Complaint]
) -> Hole | None:
    label = row.cells[columns["label"].index]
    if reason := wrong_name(label):
        complaints.append(Complaint(reason, row.line, "hole"))
    values: dict[str, float | None] = {}
    for quantity in (*NEEDED, *OPTIONAL):
        column = columns.get(quantity)
        text = row.cells[column.index] if column else ""
        values[quantity] = None
        if text:
            try:
                values[quantity] = to_mm(length_nm(text, column.unit))
            except ValueError as why:
                complaints.append(Complaint(str(why), row.line, column.name))
        elif quantity in NEEDED:
            reason = "is empty; every hole needs it"
            complaints.append(Complaint(reason, row.line, column.name))
    if any(values[quantity] is None for quantity in NEEDED):
        return None
    return Hole(
        label,
        (values["x"], values["y"]),
        (values["measured_x"], values["measured_y"]),
        values["zone"],
        hole_mm=values["hole"],
        mmc_mm=values["mmc"],
        hole_max_mm=values["hole_max"],
        edge_mm=values["edge"],
        fastener_mm=values["fastener"],
    )
