"""A list as a table that other programs open: CSV, or a workbook (XLSX).

Numbers are numbers, dates are dates. No text of ours runs as a formula: in CSV an
apostrophe goes before it (`plain_cell`), in a workbook its cell is marked as text. Rows
are written as they come, and none is kept. No Django here.
"""

import csv
import io
import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import chain, islice
from typing import BinaryIO

from .csv_table import FORMULA, plain_cell

MOST_ROWS = 1_048_575  # of a sheet, without its head
MOST_LETTERS = 32_767  # of a cell
WIDEST, NARROWEST = 60, 8  # of a column, in letters
SAMPLE = 200  # rows whose letters say how wide the columns are
DAY = timedelta(days=1)


class TooManyRows(ValueError):
    """More rows than a sheet holds, told to people."""


@dataclass(frozen=True)
class Table:
    """`about`: pairs of words that say what this is, from where, made when."""

    title: str
    head: Sequence[str]
    rows: Iterable[Sequence[object]]
    about: Sequence[tuple[str, object]] = ()


def write_csv(table: Table, file: BinaryIO) -> None:
    """UTF-8 with its mark, so that a spreadsheet reads names as they are written."""
    text = io.TextIOWrapper(file, "utf-8-sig", newline="")
    writer = csv.writer(text)
    writer.writerow(map(plain_cell, table.head))
    writer.writerows([plain_cell(_in_words(x)) for x in row] for row in table.rows)
    text.detach()


def _in_words(value: object) -> object:
    """A time with its offset; a duration in days; what is not there is empty."""
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes")
    if isinstance(value, timedelta):
        return round(value / DAY, 1)
    return value


def write_workbook(table: Table, file: BinaryIO) -> None:
    """Write an XLSX file with two sheets: the list, and what it is.

    Raises TooManyRows when there are more than a sheet holds.
    """
    # openpyxl is slow to import, and few pages ask for a workbook.
    from openpyxl import Workbook  # noqa: PLC0415

    book = Workbook(write_only=True)
    try:
        _fill(book, table)
        book.save(file)
    except BaseException:
        _leave_nothing(book)
        raise


def _leave_nothing(book) -> None:
    """Remove the files in which it keeps its sheets until it is saved: it does so only
    when it was."""
    for sheet in book.worksheets:
        writer = sheet._writer
        if writer is None or not os.path.exists(writer.out):
            continue
        with suppress(Exception):
            sheet.close()  # what it holds open; it may be what failed
        writer.cleanup()


def _fill(book, table: Table) -> None:
    sheet = book.create_sheet(_sheet_name(table.title))
    rows = iter(table.rows)
    sample = list(islice(rows, SAMPLE))
    _lay_out(sheet, [[str(x) for x in table.head], *sample])
    sheet.append([_head_cell(sheet, x) for x in table.head])
    written = 0
    for row in chain(sample, rows):
        written += 1
        if written > MOST_ROWS:
            raise TooManyRows(f"A sheet holds {MOST_ROWS} rows; take CSV.")
        sheet.append([_cell(sheet, value) for value in row])
    sheet.auto_filter.ref = f"A1:{_letter(len(table.head))}{written + 1}"
    about = book.create_sheet("About")
    about.column_dimensions["A"].width, about.column_dimensions["B"].width = 16, 80
    for words, value in table.about:
        about.append([_head_cell(about, words), _cell(about, value)])


def _letter(column: int) -> str:
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    return get_column_letter(column)


def _sheet_name(title: str) -> str:
    """31 letters, none of those that a workbook refuses in the name of a sheet."""
    plain = "".join(" " if letter in r"[]:*?/\'" else letter for letter in title)
    return plain[:31].strip() or "List"


def _lay_out(sheet, rows: Sequence[Sequence[object]]) -> None:
    sheet.freeze_panes = "A2"
    for number, column in enumerate(zip(*rows, strict=True), start=1):
        longest = max(len(str(_in_words(value) or "")) for value in column) + 2
        width = min(max(longest, NARROWEST), WIDEST)
        sheet.column_dimensions[_letter(number)].width = width


def _head_cell(sheet, words: object):
    from openpyxl.styles import Font  # noqa: PLC0415

    cell = _cell(sheet, str(words))
    cell.font = Font(bold=True)
    return cell


def _cell(sheet, value: object):
    """A cell of the value's own kind; what is no number, date or truth is text."""
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415

    cell = WriteOnlyCell(sheet)
    match value:
        case None | "":
            pass
        case bool() | int() | float() | Decimal():
            cell.value = value
        case timedelta():
            cell.value = round(value / DAY, 1)
        case datetime():
            # A workbook knows no zones: the sheet "About" names the zone of its times.
            cell.value = value.replace(tzinfo=None, microsecond=0)
            cell.number_format = "yyyy-mm-dd hh:mm"
        case date():
            cell.value = value
            cell.number_format = "yyyy-mm-dd"
        case _:
            _write_text(cell, str(value))
    return cell


def _write_text(cell, text: str) -> None:
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE  # noqa: PLC0415

    text = ILLEGAL_CHARACTERS_RE.sub("", text)
    # What does not fit is said to be left out.
    fits = len(text) <= MOST_LETTERS
    cell.value = text if fits else f"{text[: MOST_LETTERS - 1]}…"
    cell.data_type = "s"  # also where it begins as a formula does
    if text.startswith(FORMULA):
        cell.quotePrefix = True  # and stays text when somebody edits it
