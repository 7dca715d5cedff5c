"""A budget of uncertainty as a table: `name,value,kind[,k][,df][,doubt]`."""

from decimal import Decimal

from qa.files.columns import Complaint, FileComplaints, number, read_table, recognize
from qa.numeric.measuring.budget import (
    Contribution,
    df_of_doubt,
    from_expanded,
    from_half_width,
    from_resolution,
)

NEEDED = ("name", "value", "kind")
NUMBERS = ("k", "df", "doubt")
KINDS = ("standard", "resolution", "half_width", "certificate")
MOST_ROWS = 200


def read_budget(data: bytes) -> list[Contribution]:
    """The contributions of a file. FileComplaints with all that is wrong."""
    table = read_table(data)
    columns = recognize(
        table.header, plain=(*NEEDED, *NUMBERS), lengths=(), required=NEEDED
    )
    complaints: list[Complaint] = []
    if not 0 < len(table.rows) <= MOST_ROWS:
        reason = f"{len(table.rows)} rows; there must be 1 to {MOST_ROWS}"
        complaints.append(Complaint(reason, table.header.line))
    rows = []
    for row in table.rows[:MOST_ROWS]:
        cells = {
            name: row.cells[column.index].strip() for name, column in columns.items()
        }
        try:
            rows.append(_contribution(cells))
        except ValueError as why:
            complaints.append(Complaint(str(why), row.line))
    if complaints:
        raise FileComplaints(complaints)
    return rows


def _contribution(cells: dict[str, str]) -> Contribution:
    kind = cells["kind"]
    if kind not in KINDS:
        raise ValueError(f"kind is one of {', '.join(KINDS)}, not {kind!r}")
    if not cells["name"]:
        raise ValueError("name is empty")
    value = float(number(cells["value"]))
    k, df, doubt = (_number(cells.get(name, "")) for name in NUMBERS)
    if (k is None) != (kind != "certificate"):
        raise ValueError("k belongs to a certificate, and to nothing else")
    if df is not None and doubt is not None:
        raise ValueError("df and doubt say the same: give one")
    if doubt is not None:
        df = df_of_doubt(doubt)
    if kind == "certificate":
        value = from_expanded(value, k)
    elif kind == "resolution":
        value = from_resolution(value)
    elif kind == "half_width":
        value = from_half_width(value)
    return Contribution(cells["name"], value, df)


def _number(text: str) -> float | None:
    return float(Decimal(number(text))) if text else None
