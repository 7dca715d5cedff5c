"""Every list comes as a file too: the same rows, all of them; nothing runs in it."""

import csv
import io
import tempfile
import zipfile
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import OperationalError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from shop.actions.people import change_role
from shop.files import list_tables
from shop.files.list_tables import Table, write_csv, write_workbook
from shop.models import Person, Tool, ToolKind
from shop.queries import paging
from shop.queries.paging import AT_ONCE, SIZE
from shop.views import list_files
from tests.shop.making_floor import make_tool

# fmt: off
LISTS = [
    "tooling", "airframes", "designs", "parts", "pulls", "holds", "lots", "materials",
    "laminates", "to_weigh", "signatures", "people", "joints", "checks", "packs",
    "nonconformances", "offers", "characteristics", "instruments", "gauge_studies",
    "temporary_items", "hole_patterns", "pairs", "tablets", "audit", "devices",
    "release_products", "recipes", "repeats", "most_often", "defect_kinds",
    "shim_stock", "machines", "routes",
]
# fmt: on
# Columns that are empty in all rows of the demo.
NEVER = {
    ("/devices/", "Last seen"),
    ("/materials/lots/", "What is past"),
    ("/offers/", "Since then"),
    ("/tablets/", "Last seen"),
    ("/tablets/", "Revoked"),
}
DANGEROUS = [
    "=1+1",
    "＝1+1",
    "@SUM(A1)",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "\t=1",
    "\r=1",
    "=\n1",
]


def written(write, table: Table) -> bytes:
    file = io.BytesIO()
    write(table, file)
    return file.getvalue()


def read_book(data: bytes):
    return load_workbook(io.BytesIO(data))


def read_csv(data: bytes) -> list[list[str]]:
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


# PostgreSQL weighs every order in which the tables of a statement can be joined: 120 ms
# for a row of nonconformances where these were eight, 60 to 130 for a whole page. Those
# of the tests is told not to (tests/around.py), so it is counted here.
MOST_JOINS = 12


def refuse_wide(address: str, seen) -> None:
    for sql in (one["sql"] for one in seen):
        assert sql.count(" JOIN ") <= MOST_JOINS, f"{address} joins too much: {sql}"


@pytest.mark.either_database
def test_every_list_has_its_rows_in_a_workbook_and_in_csv(demo_db):
    client = Client()
    client.force_login(Person.objects.get(username="lena"))
    empty, counts_as_text = set(), set()
    for address in map(reverse, LISTS):
        with CaptureQueriesContext(connection) as seen:
            page = client.get(address, {"which": "all"}).context["page"]
        refuse_wide(address, seen)
        assert page.paginator.count, address
        asked = [{"which": "all", "as": kind} for kind in ("csv", "xlsx")]
        text, book = (client.get(address, said) for said in asked)
        table = read_csv(text.content)
        sheet, about = read_book(book.content).worksheets
        assert len(table) == sheet.max_row == page.paginator.count + 1, address
        assert table[0] == [cell.value for cell in sheet[1]], address
        assert address in about["B3"].value
        for answer in (text, book):
            assert answer["Content-Disposition"].startswith("attachment; filename=")
        for heading, *cells in zip(*table, strict=True):
            if not any(cells):
                empty.add((address, heading))
        for heading, *cells in sheet.iter_cols(values_only=True):
            cells = [cell for cell in cells if cell is not None]
            texts = [cell.rstrip(" %") for cell in cells if isinstance(cell, str)]
            if texts and len(texts) == len(cells) and all(map(is_number, texts)):
                counts_as_text.add((address, heading))
    assert empty == NEVER
    assert counts_as_text == set()


def test_the_longest_lists_leave_in_the_ledger_what_acts_said(demo_db):
    """Most of an entry is what was said, and a row shows only by whom."""
    client = Client()
    client.force_login(Person.objects.get(username="lena"))
    for address in map(reverse, ("checks", "nonconformances")):
        with CaptureQueriesContext(connection) as seen:
            assert client.get(address).context["page"].paginator.count
        asked = [one["sql"].partition(" FROM ") for one in seen]
        tables = [there for what, _from, there in asked if '"."body"' in what]
        own = ('"qa_check" ', '"qa_nonconformance', '"shop_entry" ')
        assert not [there for there in tables if there.startswith(own)]


def test_a_file_holds_all_pages_of_a_filtered_list_in_its_order(people, client_of):
    lead = people["lead"]
    for n in range(SIZE + 5):
        make_tool(lead, code=f"M-{n:03}", kind=ToolKind.MOLD)
    make_tool(lead, code="P-1", kind=ToolKind.PLUG)
    data = client_of("lead").get(
        "/tooling/", {"kind": "mold", "as": "csv", "page": "2"}
    )
    codes = [row[0] for row in read_csv(data.content)[1:]]
    assert codes == sorted(codes) and len(codes) == SIZE + 5 and AT_ONCE > SIZE
    assert Tool.objects.count() == SIZE + 6


@pytest.mark.parametrize("address", ["/tooling/", "/people/door/"])
def test_a_long_file_is_made_by_so_many_statements_and_sent_in_pieces(
    people, client_of, monkeypatch, address
):
    """Nothing is asked for again from its beginning: as many statements for each so
    many rows; and no more in memory than these."""
    lead, client = people["lead"], client_of("lead")
    monkeypatch.setattr(paging, "AT_ONCE", 10)
    monkeypatch.setattr(list_files, "IN_MEMORY", 500)
    counts, lengths = [], []
    for _ in range(3):
        for n in range(20):
            make_tool(lead)
            role = ("inspector", "builder")[n % 2]
            change_role(by=lead, person=people["builder"], role=role)
        with CaptureQueriesContext(connection) as seen:
            answer = client.get(address, {"as": "csv"})
            rows = read_csv(b"".join(answer.streaming_content))
        assert int(answer["Content-Length"]) > 500 and len(rows) > 20
        counts.append([one["sql"] for one in seen if "OFFSET" in one["sql"]])
        lengths.append((len(rows), len(seen)))
    (few, least), (some, more), (many, most) = lengths
    assert counts == [[], [], []]
    assert most - more == more - least and many - some == some - few == 20


def test_the_second_page_of_open_nonconformances_still_shows_only_open_ones(demo_db):
    client = Client()
    client.force_login(Person.objects.get(username="lena"))
    first = client.get(reverse("nonconformances")).context["page"].paginator.count
    second = client.get(reverse("nonconformances"), {"page": "2"})
    assert second.context["page"].paginator.count == first
    rows = read_csv(client.get(reverse("nonconformances"), {"as": "csv"}).content)
    assert len(rows) == first + 1


def test_numbers_dates_and_times_are_such_in_a_workbook():
    at = datetime(2026, 3, 1, 14, 5).astimezone()
    row = [7, Decimal("1.250"), date(2026, 3, 1), at, timedelta(hours=36), None, "=A1"]
    heads = [str(n) for n in range(len(row))]
    sheet = read_book(written(write_workbook, Table("Lots: [a/b]", heads, [row])))[
        "Lots   a b"
    ]
    cells = sheet[2]
    assert [cell.value for cell in cells[:2]] == [7, 1.25]
    assert cells[2].is_date and cells[2].value == datetime(2026, 3, 1)
    assert cells[3].is_date and cells[3].value == at.replace(tzinfo=None)
    assert cells[4].value == 1.5 and cells[5].value is None
    assert cells[6].value == "=A1" and cells[6].data_type != "f"
    plain = read_csv(written(write_csv, Table("x", heads, [row])))[1]
    assert plain[1] == "1.250" and plain[3] == at.isoformat(" ", "minutes")


def is_number(text: str) -> bool:
    try:
        return text.isascii() and float(text) is not None
    except ValueError:
        return False


def test_a_workbook_that_cannot_be_written_leaves_nothing_on_the_disk(
    people, client_of, monkeypatch, tmp_path
):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))

    def until_it_fails():
        yield [1]
        raise OperationalError("the connection is lost")

    with pytest.raises(OperationalError):
        written(write_workbook, Table("x", ["n"], until_it_fails()))
    sampled = ([n] if n < 2 * list_tables.SAMPLE else [1, object()] for n in range(999))
    assert written(write_workbook, Table("x", ["n"], sampled))
    assert list(tmp_path.iterdir()) == []
    # Of too many rows a person is told; another fault is not taken for that.
    monkeypatch.setattr(list_tables, "MOST_ROWS", 1)
    for _ in range(2):
        make_tool(people["lead"])
    client = client_of("lead")
    answer = client.get("/tooling/", {"as": "xlsx"})
    assert (answer.status_code, answer.content) == (
        413,
        b"A sheet holds 1 rows; take CSV.",
    )

    def broken(table, file):
        raise ValueError("a cell that nobody can write")

    monkeypatch.setitem(list_files.WRITERS, "csv", (broken, "text/csv"))
    with pytest.raises(ValueError, match="nobody can write"):
        client.get("/tooling/", {"as": "csv"})
    assert list(tmp_path.iterdir()) == []


@given(st.lists(st.text(max_size=12) | st.sampled_from(DANGEROUS), min_size=1))
def test_no_text_of_a_list_is_a_formula_in_a_file(texts):
    table = Table("x", ["text"], [[text] for text in texts])
    with zipfile.ZipFile(io.BytesIO(written(write_workbook, table))) as book:
        assert b"<f>" not in book.read("xl/worksheets/sheet1.xml")
    for [cell] in read_csv(written(write_csv, table))[1:]:
        assert not cell.startswith(tuple("=+-@\t\r＝＋－＠")) or is_number(cell)
