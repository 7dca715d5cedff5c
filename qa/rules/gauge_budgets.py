"""The lines of a budget on record, combined, and what verdicts judge by."""

from qa.numeric.measuring import budget
from qa.numeric.measuring.budget import Combined, Contribution
from shop.ledger import Refused
from shop.numeric.units import MILLI, to_mm, to_nm


def combined(rows: list[dict]) -> Combined:
    """Standard uncertainty of the rows of a budget, mm. Refused with the line's name
    where one cannot be."""
    lines = []
    try:
        for row in rows:
            lines.append(Contribution(row["name"], standard(row), row.get("df")))
        return budget.combine(lines)
    except budget.BudgetError as no:
        raise Refused(f"{str(no)[:1].upper()}{str(no)[1:]}.") from None


def judged_nm(combination: Combined) -> int:
    """The uncertainty of an instrument that has this budget."""
    return max(1, to_nm(combination.judged))


def unfounded(rows: list[dict], was_nm: int | None) -> bool:
    """Whether an uncertainty gets smaller by these lines, and none of them says how far
    off the instrument itself is."""
    calibrated = any(row["name"] == "calibration" for row in rows)
    smaller = was_nm is not None and judged_nm(combined(rows)) < was_nm
    return smaller and not calibrated


def standard(row: dict) -> float:
    """Standard uncertainty of one line, mm."""
    size = to_mm(row["value_nm"])
    kind = row["kind"]
    if kind == "resolution":
        return budget.from_resolution(size)
    if kind == "expanded":
        return budget.from_expanded(size, row["k_e3"] / MILLI)
    if kind == "half_width":
        return budget.from_half_width(size)
    if kind in ("repeats", "sd"):
        return size
    raise TypeError(f"a line of a budget has no kind {kind}")
