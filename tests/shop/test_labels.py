"""Labels: exact geometry, codes that a camera reads, one road from code to thing."""

import io
from datetime import UTC, datetime

import pypdfium2
import pytest
import zxingcpp
from django.urls import reverse

from shop import identifiers
from shop.numeric.label_sheets import SHEETS
from shop.numeric.paper_sizes import MM
from shop.paper.labels import Label, labels

from .making import make_part
from .making_floor import make_lot, make_mold, make_pull

WHEN = datetime(2026, 3, 1, tzinfo=UTC)
DPI = 150
LONG = "http://192.168.178.120:8000/t/PZZZZ"


def pages(content: bytes, dpi=DPI):
    document = pypdfium2.PdfDocument(content)
    return [page.render(scale=dpi / 72).to_pil().convert("L") for page in document]


def made(count, sheet, **more):
    items = [
        Label(
            f"{LONG}{n}",
            f"PZZZZ{n}",
            f"MG-1210-{n:03d}",
            ("MG-1210 A", "Door left, outer skin with its stiffeners"),
            "part",
        )
        for n in range(count)
    ]
    return labels(items, SHEETS[sheet], issued_at=WHEN, owner="Test shop", **more)


@pytest.mark.parametrize("key", SHEETS)
def test_labels_lie_within_the_page_and_never_on_each_other(key):
    sheet = SHEETS[key]
    wide, high = sheet.paper.width / MM, sheet.paper.height / MM
    corners = [sheet.place(number) for number in range(sheet.count)]
    for x, y in corners:
        assert x >= -1e-9
        assert y >= -1e-9
        assert x + sheet.width <= wide + 1e-9
        assert y + sheet.height <= high + 1e-9
    for n, (x, y) in enumerate(corners):
        for other_x, other_y in corners[n + 1 :]:
            apart_x = abs(x - other_x) >= sheet.width - 1e-9
            assert apart_x or abs(y - other_y) >= sheet.height - 1e-9


@pytest.mark.parametrize("key", SHEETS)
def test_a_sheet_is_centered_on_its_page(key):
    """The margins left and right are the same, and those above and below."""
    sheet = SHEETS[key]
    first, last = sheet.place(0), sheet.place(sheet.count - 1)
    right = sheet.paper.width / MM - last[0] - sheet.width
    top = sheet.paper.height / MM - first[1] - sheet.height
    assert first[0] == pytest.approx(right, abs=0.01)
    assert top == pytest.approx(last[1], abs=0.01)


def test_the_common_sizes_are_exact():
    a4, letter = SHEETS["a4-24"], SHEETS["letter-30"]
    assert (a4.width, a4.height, a4.count) == (70, 37, 24)
    assert a4.place(0) == pytest.approx((0, 297 - 0.5 - 37))
    assert a4.place(23) == pytest.approx((140, 0.5))
    assert (letter.width, letter.height) == (2.625 * 25.4, 25.4)
    assert letter.place(1)[0] - letter.place(0)[0] == pytest.approx(2.75 * 25.4)
    assert letter.place(0)[1] == pytest.approx(11 * 25.4 - 0.5 * 25.4 - 25.4)
    assert letter.place(29)[1] == pytest.approx(0.5 * 25.4)


@pytest.mark.parametrize("key", SHEETS)
def test_every_code_of_a_full_sheet_is_read_at_150_dpi(key):
    count = SHEETS[key].count
    (page,) = pages(made(count, key))
    read = {one.text for one in zxingcpp.read_barcodes(page)}
    assert read == {f"{LONG}{n}" for n in range(count)}


@pytest.mark.parametrize("key", SHEETS)
def test_the_code_itself_is_16_mm_and_more(key):
    (page,) = pages(made(1, key), dpi=300)
    (found,) = zxingcpp.read_barcodes(page)
    corners = found.position
    side = corners.top_right.x - corners.top_left.x
    assert side / 300 * 25.4 >= 16


@pytest.mark.parametrize("key", ["a4-24", "a4-21", "letter-30", "single-50"])
def test_no_ink_comes_nearer_to_the_cut_than_a_millimeter(key):
    sheet = SHEETS[key]
    (page,) = pages(made(sheet.count, key))
    px = DPI / 25.4
    ink = page.point(lambda value: 255 if value < 200 else 0)
    for number in range(sheet.count):
        x, y = sheet.place(number)
        top = sheet.paper.height / MM - y - sheet.height
        box = [v * px for v in (x, top, x + sheet.width, top + sheet.height)]
        left, upper, right, lower = ink.crop([round(v) for v in box]).getbbox()
        assert left >= 1 * px
        assert upper >= 1 * px - 1
        assert right <= (sheet.width - 1) * px
        assert lower <= (sheet.height - 1) * px + 1
    for number in range(sheet.count):
        x, y = sheet.place(number)
        top = sheet.paper.height / MM - y - sheet.height
        box = [v * px for v in (x, top, x + sheet.width, top + sheet.height)]
        ink.paste(0, [round(v) for v in box])
    assert ink.getbbox() is None, "ink between the labels"


def test_printing_starts_at_the_label_that_is_still_there():
    sheet = SHEETS["a4-24"]
    first, second = pages(made(3, "a4-24", first=23))
    px = DPI / 25.4
    boxes = {one.text: one.position for one in zxingcpp.read_barcodes(first)}
    assert set(boxes) == {f"{LONG}0", f"{LONG}1"}
    x, y = sheet.place(22)
    middle = boxes[f"{LONG}0"].top_left
    assert x * px < middle.x < (x + sheet.width) * px
    assert (297 - y - sheet.height) * px < middle.y < (297 - y) * px
    assert [one.text for one in zxingcpp.read_barcodes(second)] == [f"{LONG}2"]


@pytest.mark.parametrize("first", [0, 25])
def test_a_place_the_sheet_does_not_have_is_refused(first):
    with pytest.raises(ValueError, match="labels 1 to 24"):
        made(1, "a4-24", first=first)


def test_the_same_labels_are_the_same_bytes():
    assert made(5, "a4-21") == made(5, "a4-21")


# ------------------------------------------------------------------ codes


@pytest.mark.parametrize(
    ("number", "text"), [(0, "0"), (31, "Z"), (32, "10"), (42, "1A"), (1023, "ZZ")]
)
def test_numbers_in_base_32(number, text):
    assert identifiers.in_base_32(number) == text
    assert identifiers.from_base_32(text) == number


def test_every_number_comes_back_in_either_case():
    for number in [*range(3000), 2**31, 2**62 + 12345]:
        text = identifiers.in_base_32(number)
        assert identifiers.from_base_32(text) == number
        assert identifiers.from_base_32(text.lower()) == number


def test_letters_that_look_like_digits_are_read_as_digits():
    assert identifiers.from_base_32("IO") == identifiers.from_base_32("10")
    assert identifiers.from_base_32("lo") == identifiers.from_base_32("10")


@pytest.mark.parametrize("text", ["", "U", "1-", "1 ", "٣", "Z" * 14, "Z" * 13])
def test_what_is_no_number_is_none(text):
    assert identifiers.from_base_32(text) is None


def test_each_letter_stands_for_one_kind():
    letters = [kind.letter for kind in identifiers.KINDS.values()]
    assert len(set(letters)) == len(letters)
    with pytest.raises(ValueError, match="stands for"):
        identifiers.register(
            identifiers.Kind("other", "P", "shop.Part", "part", "other")
        )


def test_a_scanned_code_opens_its_thing(people, client_of):
    lead, client = people["lead"], client_of("visitor")
    part, mold, lot = make_part(lead), make_mold(lead), make_lot(lead)
    pull = make_pull(lead, tool=mold)
    for kind, row in (("part", part), ("tool", mold), ("lot", lot), ("pull", pull)):
        code = identifiers.KINDS[kind].code(row.pk)
        for typed in (code, code.lower()):
            answer = client.get(reverse("scan", args=[typed]))
            assert answer.status_code == 302
            assert answer["Location"] == identifiers.KINDS[kind].address(row)


def test_a_code_of_nothing_says_so_kindly(client_of):
    for code in ("PZZZ", "8", "QQ", "P-1", "U"):
        answer = client_of("builder").get(f"/t/{code}")
        assert answer.status_code == 404
        assert "Nothing here has the code" in answer.content.decode()


def test_a_scan_by_somebody_signed_out_leads_on_after_sign_in(client, db):
    answer = client.get("/t/P1")
    assert answer.status_code == 302
    assert answer["Location"].endswith("?next=/t/P1")


def test_labels_are_printed_from_the_page(people, client_of):
    part, lot = make_part(people["lead"]), make_lot(people["lead"])
    codes = " ".join(
        identifiers.KINDS[kind].code(row.pk)
        for kind, row in (("part", part), ("lot", lot))
    )
    client = client_of("visitor")
    page = client.get(reverse("labels"), {"codes": codes})
    assert codes in page.content.decode()
    said = {"codes": codes, "sheet": "a4-24", "first": "1"}
    answer = client.get(reverse("labels"), said)
    assert answer["Content-Type"] == "application/pdf"
    (sheet,) = pages(answer.content)
    read = {one.text for one in zxingcpp.read_barcodes(sheet)}
    assert read == {f"http://testserver/t/{code}" for code in codes.split()}
    text = pypdfium2.PdfDocument(io.BytesIO(answer.content))[0].get_textpage()
    words = text.get_text_range()
    assert part.serial in words
    assert lot.number in words
    newest = client.get(
        reverse("labels"), {"kind": "lot", "newest": 5, "sheet": "a4-8", "first": 1}
    )
    assert newest["Content-Type"] == "application/pdf"


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"codes": "P999"}, "There is no thing P999."),
        ({"codes": ""}, "Say which things."),
        ({"codes": "", "first": "99"}, "This sheet has 24 labels."),
    ],
)
def test_what_cannot_be_printed_is_said(client_of, said, message):
    form = {"sheet": "a4-24", "first": "1", **said}
    answer = client_of("builder").get(reverse("labels"), form)
    assert message in answer.content.decode()


def test_labels_that_only_this_machine_could_open_come_with_a_warning(client_of):
    client = client_of("builder")
    here = client.get(reverse("labels"), headers={"host": "127.0.0.1:8000"})
    there = client.get(reverse("labels"), headers={"host": "192.168.1.20:8000"})
    assert "only this machine can open" in here.content.decode()
    assert "only this machine can open" not in there.content.decode()


def test_a_label_that_leads_nowhere_carries_words_and_no_code(people, client_of):
    part = make_part(people["lead"])
    code = identifiers.KINDS["part"].code(part.pk)
    said = {"codes": code, "sheet": "a4-24", "first": "1"}
    answer = client_of("visitor").get(
        reverse("labels"), said, headers={"host": "127.0.0.1:8000"}
    )
    (sheet,) = pages(answer.content)
    assert zxingcpp.read_barcodes(sheet) == []
    text = pypdfium2.PdfDocument(io.BytesIO(answer.content))[0].get_textpage()
    words = " ".join(text.get_text_range().split())
    assert "No code: printed at an address that others cannot reach" in words
    assert part.serial in words
    assert code in words
