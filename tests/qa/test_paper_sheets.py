"""Sheets as an inspector gets them: whole, legible, findable, the same every time.

Sources: ISO 216 and ANSI Y14.1 for paper sizes, PDF 1.7 (ISO 32000-1) 7.11.4 for
embedded files; QR codes are read back by a decoder that is not ours (zxing-cpp).
"""

import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import zxingcpp

from qa.paper import blank_sheet, check_sheet, nonconformance_list, work_order
from shop.numeric.paper_sizes import PAPERS
from shop.paper import TitleBlock, heading, qr, sheets, text
from shop.paper.flow import Block, gap, paginate, paragraph
from shop.paper.page import pdf
from shop.paper.tables import Column, table
from tests.qa import drawn

TREE = Path(__file__).resolve().parents[2]
SIZES = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
SHEETS = {
    "check": lambda paper: check_sheet.render(drawn.check_sheet(), paper),
    "check of 60": lambda paper: check_sheet.render(drawn.check_sheet(60), paper),
    "blank": lambda paper: blank_sheet.render(drawn.blank_sheet(), paper),
    "list": lambda paper: nonconformance_list.render(
        drawn.nonconformance_list(), paper
    ),
    "work order": lambda paper: work_order.render(drawn.work_order(), paper),
}


def read(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data), strict=True)


def words(data: bytes) -> list[str]:
    return [page.extract_text() for page in read(data).pages]


@pytest.fixture(scope="module")
def made():
    cache = {}

    def make(name: str, paper: str) -> bytes:
        if (name, paper) not in cache:
            cache[name, paper] = SHEETS[name](paper)
        return cache[name, paper]

    return make


every_sheet = pytest.mark.parametrize("name", SHEETS)
both_papers = pytest.mark.parametrize("paper", SIZES)


@every_sheet
@both_papers
def test_pages_have_the_size_asked_for(made, name, paper):
    for page in read(made(name, paper)).pages:
        assert [float(v) for v in page.mediabox[2:]] == pytest.approx(
            SIZES[paper], abs=0.01
        )


@every_sheet
@both_papers
def test_every_font_is_embedded(made, name, paper):
    fonts = {
        str(font.get_object()["/BaseFont"]): font.get_object()
        for page in read(made(name, paper)).pages
        for font in page["/Resources"]["/Font"].values()
    }
    assert fonts
    for base, font in fonts.items():
        assert "OpenSans" in base
        assert "/FontFile2" in font["/FontDescriptor"].get_object()


@every_sheet
@both_papers
def test_each_page_says_which_of_how_many_it_is(made, name, paper):
    pages = words(made(name, paper))
    for number, page in enumerate(pages, 1):
        assert f"{number} of {len(pages)}" in page


@every_sheet
@both_papers
def test_nothing_is_written_beyond_the_edge_of_the_paper(made, name, paper):
    width, height = SIZES[paper]
    document = pypdfium2.PdfDocument(made(name, paper))
    for page in document:
        lines = page.get_textpage()
        for i in range(lines.count_rects()):
            left, bottom, right, top = lines.get_rect(i)
            assert left > 20 and right < width - 20
            assert bottom > 10 and top < height - 15


@every_sheet
def test_nothing_stands_in_the_title_block_that_does_not_belong_there(made, name):
    """Every flowing word is above the block, so no table row runs into it."""
    document = pypdfium2.PdfDocument(made(name, "letter"))
    foot = PAPERS["letter"].foot + 3 * 72 / 25.4
    allowed = "Owner Document type Number Title Revision Sheet Created by Approved Date"
    for page in document:
        lines = page.get_textpage()
        inside = lines.get_text_bounded(45, foot, 480, foot + 73)
        known = f"{allowed} {drawn.SHOP} of issue "
        assert "conforms" not in inside and "Station" not in inside
        assert any(word in inside for word in known.split())


@every_sheet
@both_papers
def test_the_code_on_each_page_leads_back_to_the_record(made, name, paper):
    for page in pypdfium2.PdfDocument(made(name, paper)):
        image = page.render(scale=100 / 72).to_pil()
        found = zxingcpp.read_barcodes(image)
        assert [code.text for code in found] == [drawn.URL]


@every_sheet
def test_the_same_record_gives_the_same_bytes(made, name):
    assert SHEETS[name]("a4") == made(name, "a4")


def test_the_bytes_depend_on_neither_hash_seed_nor_time_zone():
    code = (
        "import django, hashlib\n"
        "django.setup()\n"
        "from qa.paper import check_sheet, trim_template, work_order\n"
        "from tests.qa import drawn\n"
        "parts = [check_sheet.render(drawn.check_sheet(40), 'letter'),\n"
        "  trim_template.render(drawn.trim_template()),\n"
        "  work_order.render(drawn.work_order())]\n"
        "import sys\n"
        "sys.stdout.write(hashlib.sha256(b''.join(parts)).hexdigest())\n"
    )
    seen = set()
    for seed, zone in (("1", "UTC"), ("77", "Pacific/Auckland"), ("0", "America/Lima")):
        env = os.environ | {"PYTHONHASHSEED": seed, "TZ": zone}
        env["DJANGO_SETTINGS_MODULE"] = "tests.settings"
        done = subprocess.run(
            [sys.executable, "-c", code],
            env=env, cwd=TREE, capture_output=True, text=True, check=True,
        )  # fmt: skip
        seen.add(done.stdout)
    assert len(seen) == 1 and len(seen.pop()) == 64


def test_the_only_time_in_the_file_is_that_of_the_record(made):
    information = read(made("check", "a4")).metadata
    assert information["/CreationDate"] == information["/ModDate"]
    assert information["/CreationDate"].startswith("D:20261124153000")


def test_a_time_without_a_zone_is_refused():
    naive = drawn.NOW.replace(tzinfo=None)
    with pytest.raises(ValueError, match="time zone"):
        pdf([], paper=PAPERS["a4"], issued_at=naive, title="x")


def test_a_paper_we_do_not_have_is_refused():
    with pytest.raises(ValueError, match="a4 or letter, not 'legal'"):
        check_sheet.render(drawn.check_sheet(), "legal")


def test_the_sheet_says_who_what_where_how_and_what_came_of_it(made):
    pages = "\n".join(words(made("check", "a4")))
    sheet = drawn.check_sheet()
    for said in (
        sheet.shop, sheet.number, sheet.joint_name, "J-012 rev C", sheet.fitted,
        sheet.surround, sheet.fit_up, sheet.done_by, sheet.done_at, "8 clecos",
        "21.5 °C", "does not conform", "Gap not proven at station 6.", "NC-0012",
        "gap wide, stations 4-7, worst 0.62", "Inspected by", "safety data sheets",
        "ab12" * 16, "1093 9f3c",
    ):  # fmt: skip
        assert said in pages, said


def test_every_result_is_in_the_table(made):
    pages = "\n".join(words(made("check of 60", "letter")))
    for row in drawn.check_sheet(60).rows:
        if row.millimeters:
            assert row.millimeters in pages
    assert pages.count("conforms") > 60


@both_papers
@pytest.mark.parametrize("note", ["", "bridge +0.35 mm", "measured again after lunch"])
def test_no_figure_of_a_full_table_is_shortened(paper, note):
    rows = [
        replace(row, typed="-0.46 mm", by="Bea Lindqvist", note=note)
        for row in drawn.check_sheet().rows
    ]
    pages = words(check_sheet.render(drawn.check_sheet(rows=tuple(rows)), paper))
    table_pages = "".join(pages).partition("Every characteristic")[2]
    assert table_pages.count("-0.46 mm") == len(rows)
    assert "…" not in table_pages


def test_a_station_is_not_torn_between_two_pages(made):
    """The first row of a page names its station: gap and flushness stay together."""
    for page in words(made("check of 60", "letter"))[2:]:
        if "flushness" in page:
            assert page.index("gap") < page.index("flushness")


def test_the_data_travels_inside(made):
    reader = read(made("check", "a4"))
    assert list(reader.attachments) == ["check.json"]
    assert json.loads(reader.attachments["check.json"][0]) == {"check": "FC-0047"}


def test_a_long_name_is_shortened_where_one_can_see_it():
    name = "Canopy frame door R1 to fuselage, right-hand side, " * 6
    pages = words(check_sheet.render(drawn.check_sheet(joint_name=name), "a4"))
    assert "…" in pages[0]


def test_names_are_never_read_as_markup():
    name = "<b>Door</b> & <para>"
    pages = words(check_sheet.render(drawn.check_sheet(joint_name=name), "a4"))
    assert name in pages[0]


def test_a_work_order_of_24_stations_is_one_page(made):
    for paper in SIZES:
        assert len(words(made("work order", paper))) == 1


def test_an_empty_list_says_so():
    pages = words(nonconformance_list.render(drawn.nonconformance_list(0), "a4"))
    assert "Nothing listed under this filter." in pages[0]


# text


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("a\u0301", "á"),
        ("door\nR1\t2", "door R1 2"),
        ("x\u202eabc\x07", "xabc"),
        ("⌀ 3.2 ✓ ▲", "⌀ 3.2 ✓ ▲"),
        ("字 1", "? 1"),
        (" 2.35 ", "2.35"),
        (None, "None"),
    ],
)
def test_text_is_made_printable(typed, shown):
    assert text.clean(typed) == shown


def test_text_that_fits_is_left_alone_and_what_does_not_is_cut_visibly():
    assert text.fit("Door R1", 100) == "Door R1"
    cut = text.fit("Door R1 to fuselage", 40)
    assert cut.endswith("…") and text.width(cut) <= 40
    assert text.fit("Door", 0) == "…"


def test_wrapped_lines_fit_and_lose_nothing():
    said = "Cut the edge along stations 6 to 11 and Donaudampfschifffahrtsgesellschaft."
    lines = text.wrap(said, 90)
    assert all(text.width(line) <= 90 for line in lines)
    assert "".join(lines).replace(" ", "") == said.replace(" ", "")
    short = text.wrap(said, 90, most=2)
    assert len(short) == 2 and short[1].endswith("…")


def test_digits_have_one_width_so_that_columns_line_up():
    assert len({text.width(digit, size=10) for digit in "0123456789"}) == 1


# flow


def _block(height, **kinds):
    return Block(height, lambda *_: None, **kinds)


def test_a_heading_stays_with_what_it_heads():
    pages = paginate([_block(80), _block(15, keep=True), _block(20)], 100)
    assert [[b.height for b in page] for page in pages] == [[80], [15, 20]]


def test_a_table_that_runs_on_repeats_its_head():
    columns = [nonconformance_list.COLUMNS[0]]
    blocks = table(columns, [[str(i)] for i in range(50)], 100)
    pages = paginate(blocks, 200)
    assert len(pages) > 2
    for page in pages[1:]:
        assert page[0].height == blocks[0].height


def test_of_a_whole_table_a_mark_before_a_text_leaves_no_word_out(tmp_path):
    """Of every width of the text: the mark takes room on its line."""
    column = Column("Verdict", 1, mark=12)
    said = [f"not not not not {'i' * length}{length}." for length in range(1, 20)]
    rows, taken = [[line] for line in said], {"marks": lambda *_cell: column.mark}
    blocks = table([column], rows, 90, whole=True, **taken)
    heights = {block.height for block in blocks[1:]}
    assert len(heights) > 1  # some fit on one line, some do not
    path = tmp_path / "told.pdf"
    when = datetime(2026, 1, 1, tzinfo=UTC)
    path.write_bytes(sheets(blocks, TitleBlock("S", "T", "1", "T"), issued_at=when))
    told = " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)
    for line in said:
        assert line in " ".join(told.split())


def test_a_table_is_read_aloud_cell_by_cell_and_its_head_once(tmp_path):
    """Tags after PDF 1.7, 14.8.4.3.4, as poppler reads them."""
    columns = [Column("Station", 1), Column("Found", 1, lines=3), Column("Note", 1)]
    cells = [(str(row), "gap and flushness as read here", "") for row in range(90)]
    blocks = [heading("Every one"), *table(columns, cells, 150)]
    blocks += paragraph("what goes on over several lines " * 9, 300)
    path = tmp_path / "told.pdf"
    when = datetime(2026, 1, 1, tzinfo=UTC)
    path.write_bytes(
        sheets(blocks, TitleBlock("S", "T", "1", "T"), issued_at=when, archive=True)
    )
    assert len(pypdf.PdfReader(path).pages) > 1
    told = subprocess.run(
        ["pdfinfo", "-struct-text", path], capture_output=True, text=True, check=True
    ).stdout
    lines = [line.strip() for line in told.splitlines()]
    tags = [line.partition(" (")[0].rstrip(":") for line in lines if line[:1] != '"']
    row = ["TR", *["TD"] * 3]
    head = ["TR", *["TH", "/Scope /Column"] * 3]
    assert tags == ["Document", "H3", "Table", *head, *row * 90, "P"]
    spoken = [line.strip('"').split() for line in lines if line[:1] == '"']
    assert spoken[:3] == [["Every", "one"], ["Station"], ["Found"]]
    assert spoken[4:6] == [["0"], ["gap", "and", "flushness", "as", "read", "here"]]
    last = [word for line in spoken[4 + 2 * 90 :] for word in line]
    assert last == ("what goes on over several lines " * 9).split()


def test_no_page_begins_with_empty_space():
    last = _block(30)
    pages = paginate([_block(95), gap(3), gap(1, keep=True), last], 100)
    assert pages[1] == [last]


def test_a_section_follows_where_all_of_it_has_room_and_else_begins_a_page():
    def section(*heights):
        first = replace(gap(0, keep=True), height=8, fresh=True)
        return [first, *map(_block, heights)]

    blocks = [*section(40), *section(30), *section(15), *section(60, 40), *section(50)]
    pages = paginate(blocks, 100)
    told = [[b.height for b in page] for page in pages]
    # The third would need 101 of 100 points; the fourth fills a page but for its space.
    assert told == [[40, 8, 30], [15], [60, 40], [50]]
    assert paginate(blocks, 101)[0] == blocks[1:6]


def test_a_block_taller_than_a_page_is_refused():
    with pytest.raises(ValueError, match="does not fit"):
        paginate([_block(500)], 400)


def test_a_code_is_the_one_an_independent_reader_reads():
    modules = qr.matrix("http://shop.example/x")
    size = len(modules)
    assert size == len(modules[0]) and (size - 17) % 4 == 0
    assert all(modules[0][:7]) and not any(modules[1][1:6])  # a finder pattern


def test_an_address_too_long_for_a_code_is_printed_only():
    long = "http://shop.example/list?" + "x" * 400
    data = check_sheet.render(drawn.check_sheet(url=long), "a4")
    assert "address below" in words(data)[0] and "xxx" in words(data)[0]
    image = pypdfium2.PdfDocument(data)[0].render(scale=100 / 72).to_pil()
    assert zxingcpp.read_barcodes(image) == []
