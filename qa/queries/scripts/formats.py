"""How values are listed to a script, and how many rows at a time."""

from dataclasses import dataclass

from django.db.models import QuerySet

from shop.ledger.canonical import stamp
from shop.numeric.units import MILLI, format_length

MM = "mm"


@dataclass(frozen=True)
class Rows:
    """Some rows in the order in which they came on record; next: where to go on."""

    items: list
    next: int | None


def some(rows: QuerySet, after: int | None, most: int) -> tuple[list, int | None]:
    """Return rows that came on record after one, and the last of them if there are
    more: one statement, wherever in the table it is."""
    rows = rows.order_by("pk")
    if after is not None:
        rows = rows.filter(pk__gt=after)
    page = list(rows[: most + 1])
    more = len(page) > most
    return page[:most], page[most - 1].pk if more else None


def listed(rows: QuerySet, after: int | None, most: int, each) -> Rows:
    page, further = some(rows, after, most)
    return Rows([each(row) for row in page], further)


def length(nm: int | None) -> str | None:
    """A length in mm, exactly: the shortest decimal number."""
    return None if nm is None else format_length(nm, MM)


def limits(low_nm: int | None, high_nm: int | None) -> dict:
    return {"min": length(low_nm), "max": length(high_nm), "unit": MM}


def moment(at) -> str | None:
    return stamp(at) if at else None


def thousandths(value: int | None) -> str | None:
    """A whole number of thousandths, as a decimal text of the unit itself."""
    if value is None:
        return None
    whole, part = divmod(abs(value), MILLI)
    text = f"{whole}.{part:03d}".rstrip("0").rstrip(".")
    return f"-{text}" if value < 0 and text != "0" else text


def grams(mg: int | None) -> str | None:
    """A mass in grams: milligrams are their thousandths."""
    return thousandths(mg)
