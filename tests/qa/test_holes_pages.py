"""Hole patterns on the site: required, measured, judged, two serials together.

Position 2 sqrt(dx^2 + dy^2) and the maximum-material bonus are of ASME Y14.5; the
numbers here are worked by hand beside each check.
"""

import io
import math
import re

import ezdxf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from ezdxf.enums import TextEntityAlignment

from qa.actions import holes as acts
from qa.actions import raising
from qa.actions.holes import HoleDraft, MeasuredHole, PatternHead
from qa.files import hole_drawing
from qa.models import HoleCheck, HolePattern, HoleReading
from qa.queries import holes as queries
from shop.ledger import Refused, verify
from tests.qa.making import fresh, make_part, mm
from tests.shop.making import make_placement

pytestmark = pytest.mark.django_db

TABLE = (
    "hole,x_mm,y_mm,zone_mm,mmc_mm,hole_max_mm,fastener_mm,edge_mm\n"
    "1,0,0,0.3,4.1,4.2,4,12\n2,20,0,0.3,4.1,4.2,4,12\n3,40,0,0.3,4.1,4.2,4,12\n"
)


@pytest.fixture
def engineer(people):
    return people["engineer"]


def drafts(count=3, pitch=20.0):
    return [
        HoleDraft(
            str(n + 1), mm(pitch * n), 0, mm(0.3), mm(4.1), mm(4.2), mm(4), mm(12)
        )
        for n in range(count)
    ]


def a_pattern(by, holes=None, **says):
    row = acts.define_pattern(
        by=by,
        number=fresh("HP"),
        name="Hinge to frame",
        holes=holes or drafts(),
        says=PatternHead(**{"spacing_rule": "composite_advisory", **says}),
    )
    return HolePattern.objects.select_related("current").get(pk=row.pk)


def measured(by, pattern, *places, size="4.10", part=None, instrument=None):
    return acts.record_holes(
        by=by,
        revision=pattern.current,
        part=part or make_part(by),
        instrument=instrument,
        measured=[
            MeasuredHole(str(n + 1), x, y, size) for n, (x, y) in enumerate(places)
        ],
    )


def view_of(check, unit="mm", **more):
    row = HoleCheck.objects.select_related(*queries.RELATED).get(pk=check.pk)
    return queries.hole_view(row, unit, **more)


def test_a_hole_whose_size_has_limits_and_was_not_measured_never_conforms(
    engineer, client_of
):
    pattern = a_pattern(engineer)
    places = (("0", "0"), ("20", "0"), ("40", "0.5"))
    view = view_of(measured(engineer, pattern, *places, size=""))
    told = [(row.verdict, row.faults) for row in view.rows]
    assert told == [(None, "size"), (None, "size"), ("does_not_conform", "position")]
    assert (view.conforms, view.not_measured, view.failing) == (0, 2, 1)
    measured(engineer, pattern, *places[:2], size="")
    measured(engineer, pattern, *places[:2])  # One of the three was not measured.
    measured(engineer, pattern, *places[:2], ("40", "0"))
    checks = queries.pattern_view(pattern, pattern.current, "mm").checks
    found = [(one.failing, one.unsized, one.count, one.wanted) for one in checks]
    assert found == [(0, 0, 3, 3), (0, 0, 2, 3), (0, 2, 2, 3), (1, 3, 3, 3)]
    (row,) = queries.patterns(pattern.number)
    assert (row.hole_count, row.check_count) == (3, 4)
    assert "DISTINCT" not in str(queries.patterns().query)
    page = client_of("builder").get(f"/holes/{pattern.pk}/").content.decode()
    verdicts = re.findall(r"does not conform|not measured|conforms", page)
    assert verdicts == ["conforms", "not measured", "not measured", "does not conform"]


def test_what_is_read_again_without_its_size_reads_alike_wherever_it_is_told(
    engineer, client_of
):
    """The rows of its page, the line that says what to raise, the list, the item."""
    pattern, part = a_pattern(engineer), make_placement(engineer).part
    first = measured(engineer, pattern, ("0", "0"), size="4.30", part=part)
    again = measured(engineer, pattern, ("0.01", "0"), size="", part=part)
    other = measured(engineer, pattern, ("0.01", "0"), size="")
    view = view_of(again)
    assert view.rows[0].verdict == "does_not_conform"
    assert (view.failing, view.conforms, view.not_measured) == (1, 0, 2)
    assert view.raise_words.startswith("Hole 1 does not conform")
    # Of another serial nobody knows its size.
    assert view_of(other).rows[0].verdict is None and not view_of(other).raise_words
    page = client_of("builder").get(reverse("hole_check", args=[again.entry_id]))
    assert f"4.300 ({first.label})" in " ".join(page.content.decode().split())
    checks = queries.pattern_view(pattern, pattern.current, "mm").checks
    assert [check.failing for check in checks] == [0, 1, 1]
    item = raising.raise_holes(by=engineer, check=HoleCheck.objects.get(pk=again.pk))
    assert "4.300 mm" in item.found
    # Once its size was found right, the page of that day still tells what it told.
    measured(engineer, pattern, ("0.01", "0"), size="4.10", part=part)
    assert view_of(again).rows[0].verdict == "does_not_conform"
    assert view_of(again).raise_words == ""


def test_position_is_judged_with_the_bonus_of_a_larger_hole(engineer):
    check = measured(
        engineer,
        a_pattern(engineer),
        ("0.09", "0.12"),  # 2 sqrt(0.0081 + 0.0144) = 0.30: on the zone, conforms
        ("20.09", "0.13"),
        ("40.000", "0"),
    )
    rows = {row.label: row for row in view_of(check).rows}
    assert (rows["1"].position, rows["1"].verdict) == ("0.300", "conforms")
    assert rows["2"].verdict == "does_not_conform" and rows["2"].faults == "position"
    again = measured(
        engineer, a_pattern(engineer), ("0", "0"), ("20.09", "0.13"), size="4.12"
    )
    row = view_of(again).rows[1]
    assert (row.allowed, row.verdict) == ("0.320", "conforms")  # 0.30 + 0.02


def test_the_bonus_never_exceeds_the_size_tolerance_and_size_is_judged(engineer):
    check = measured(engineer, a_pattern(engineer), ("0", "0"), size="4.30")
    row = view_of(check).rows[0]
    assert row.allowed == "0.400"  # 0.30 + (4.20 - 4.10), not 0.20
    assert row.faults == "size"


def test_holes_not_measured_are_told_apart(engineer):
    view = view_of(measured(engineer, a_pattern(engineer), ("0", "0")))
    assert (view.conforms, view.failing, view.not_measured) == (1, 0, 2)


def test_edge_and_pitch_stand_against_the_rule_with_its_source(engineer, client_of):
    pattern = a_pattern(engineer, drafts(pitch=15.0))
    part = make_part(engineer)
    check = acts.record_holes(
        by=engineer,
        revision=pattern.current,
        part=part,
        measured=[
            MeasuredHole("1", "0", "0", "4.1", "10"),
            MeasuredHole("2", "15", "0", "4.1"),
        ],
    )
    view = view_of(check)
    # 10 / 4 = 2.5 D against 3 D; 15 / 4 = 3.75 D against 4 D; hole 2 by its drawing.
    assert view.short == [
        "hole 1: edge distance 2.50 D, 3 D wanted",
        "least pitch 3.75 D between 1 and 2: 4 D wanted",
    ]
    page = client_of("visitor").get(f"/holes/checks/{check.entry_id}/")
    text = page.content.decode()
    assert "MIL-HDBK-17-3F" in text and "from memory, unverified" in text


def test_the_best_fit_takes_out_a_shift_of_all_holes(engineer):
    check = measured(
        engineer,
        a_pattern(engineer),
        ("0.2", "-0.1"),
        ("20.2", "-0.1"),
        ("40.2", "-0.1"),
    )
    for _word, text in view_of(check).fits:
        assert "x −0.200, y 0.100 mm" in text and "0.000 mm left" in text


def test_two_serials_take_their_fasteners_when_the_clearance_is_enough(engineer):
    pattern = a_pattern(engineer)
    one = measured(engineer, pattern, ("0", "0"), ("20", "0"), ("40", "0"))
    # Laid on each other as well as can be, the middle one is 0.075 mm off each way:
    # radial clearance (4.1 - 4) / 2 twice is 0.10 mm.
    fits = measured(engineer, pattern, ("0", "0"), ("20", "0.15"), ("40", "0"))
    told = view_of(one, other=fits).together
    assert told.accepts and "0.025 mm is left" in told.words
    tight = measured(engineer, pattern, ("0", "0"), ("20", "0.30"), ("40", "0"))
    told = view_of(one, other=tight).together
    assert not told.accepts and "0.050 mm too little" in told.words


def test_two_serials_without_diameters_cannot_be_compared(engineer):
    pattern = a_pattern(engineer)
    one = measured(engineer, pattern, ("0", "0"), ("20", "0"), size="")
    other = measured(engineer, pattern, ("0", "0"), ("20", "0"))
    told = view_of(one, other=other).together
    assert not told.accepts and "diameter" in told.words
    assert told.missing == ["1", "2", "3"]


def test_the_grip_of_a_temporary_fastener_is_held_against_the_stack(
    engineer, client_of
):
    check = measured(engineer, a_pattern(engineer), ("0", "0"))
    client = client_of("builder")
    where = f"/holes/checks/{check.entry_id}/"
    text = client.get(where, {"unit": "mm", "stack": "2 + 3"}).content.decode()
    assert "5.00 mm in all: within the grip of 6.35 mm" in text
    text = client.get(where, {"unit": "mm", "stack": "4+3"}).content.decode()
    assert "0.65 mm beyond the grip" in text
    text = client.get(where, {"unit": "mm", "stack": "thick"}).content.decode()
    assert "error" in text


def test_a_pattern_is_defined_from_a_table_and_measured_by_hand(engineer, client_of):
    client = client_of("lead")
    said = {"number": "HP-900", "name": "Hinge", "units": "mm", "table": TABLE}
    answer = client.post("/holes/new/", said)
    assert answer.status_code == 302
    part = make_part(engineer)
    typed = {"part": part.serial, "unit": "mm"}
    for row, (x, y) in enumerate((("0,05", "0.02"), ("20", "0"), ("", ""))):
        typed |= {f"x_{row}": x, f"y_{row}": y, f"size_{row}": "4.15" if x else ""}
    answer = client.post(f"{answer['Location']}measure/", typed)
    assert answer.status_code == 302
    first = HoleReading.objects.get(hole__label="1")
    assert (first.x_nm, first.typed["x"]) == (mm(0.05), "0,05")
    assert HoleReading.objects.count() == 2


def test_a_file_for_plan_holes_can_be_uploaded(engineer, client_of):
    pattern = a_pattern(engineer)
    rows = "hole,x_mm,y_mm,measured_x_mm,measured_y_mm,zone_mm,hole_mm\n"
    good = rows + "1,0,0,0.05,0,0.3,4.15\n2,20,0,20,0,0.3,4.15\n"
    client, part = client_of("builder"), make_part(engineer)

    def send(text):
        file = SimpleUploadedFile("holes.csv", text.encode())
        said = {"part": part.serial, "unit": "in", "upload": file}
        return client.post(f"/holes/{pattern.pk}/measure/", said)

    assert send(good).status_code == 302
    assert HoleReading.objects.get(hole__label="1").x_nm == mm(0.05)
    other = send(rows + "1,0.5,0,0.05,0,0.3,4.15\n").content.decode()
    assert "nominal place or zone is not the pattern" in other
    assert "not in this pattern" in send(rows + "9,0,0,0,0,0.3,4.1\n").content.decode()
    assert "error" in send("hole,x_mm\n1,2\n").content.decode()
    assert HoleCheck.objects.count() == 1


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("hole,x_mm,y_mm\n1,0,0", "zone_mm or zone_in: the column is missing"),
        ("hole,x_mm,y_mm,zone_mm\n1,0,0,", "every hole needs it"),
        ("hole,x_mm,y_mm,zone_mm\n1,0,zero,0.3", "line 2"),
        ("hole,x_mm,y_mm,zone_mm", "there must be 1 to 500"),
        ("hole,x_mm,y_mm,zone_mm\n1,0,0,0.3\n1,9,0,0.3", "the same name"),
        ("hole,x_mm,y_mm,zone_mm\n1,0,0,-1", "the zone must be 0 or more"),
        (
            "hole,x_mm,y_mm,zone_mm,mmc_mm,hole_max_mm\n1,0,0,0.3,5,4",
            "smallest hole",
        ),
    ],
)
def test_a_table_that_cannot_be_is_complained_of(client_of, table, words):
    said = {"number": "HP-1", "name": "Hinge", "units": "mm", "table": table}
    text = client_of("engineer").post("/holes/new/", said).content.decode()
    assert words in text and not HolePattern.objects.exists()


def test_a_check_keeps_the_revision_it_was_judged_by(engineer, client_of):
    pattern = a_pattern(engineer)
    check = measured(engineer, pattern, ("0.09", "0.12"))
    table = TABLE.replace("0.3", "0.1")
    client = client_of("engineer")
    said = {"units": "mm", "table": table, "based_on": "1"}
    assert client.post(f"/holes/{pattern.pk}/revise/", said).status_code == 302
    assert view_of(check).rows[0].verdict == "conforms"
    # Somebody who looked at revision 1 cannot release over revision 2.
    text = client.post(f"/holes/{pattern.pk}/revise/", said).content.decode()
    assert "Revision 2 was released in the meantime" in text
    assert client.get(f"/holes/{pattern.pk}/revision/1/").status_code == 200
    assert client.get(f"/holes/{pattern.pk}/revision/9/").status_code == 404


def test_a_hole_is_measured_once_a_check(engineer):
    pattern = a_pattern(engineer)
    twice = [MeasuredHole("1", "0", "0"), MeasuredHole("1", "0.1", "0")]
    with pytest.raises(Refused, match="there twice"):
        acts.record_holes(
            by=engineer,
            revision=pattern.current,
            part=make_part(engineer),
            measured=twice,
        )
    assert not HoleCheck.objects.exists()


def test_the_ledger_holds_with_holes_in_it(engineer):
    measured(engineer, a_pattern(engineer), ("0.1", "0"), ("20", "0"))
    assert verify.verify().fault == ""


def test_the_pages_need_the_same_statements_for_3_and_30_holes(engineer, client_of):
    client, counts = client_of("builder"), {}
    for number in (3, 30):
        pattern = a_pattern(engineer, drafts(number))
        places = [(f"{20 * n}", "0.01") for n in range(number)]
        check = measured(engineer, pattern, *places)
        for page in (
            f"/holes/{pattern.pk}/",
            f"/holes/checks/{check.entry_id}/",
            "/holes/",
        ):
            with CaptureQueriesContext(connection) as caught:
                assert client.get(page).status_code == 200
            counts.setdefault(page.count("/"), []).append(len(caught))
    assert all(each[0] == each[-1] <= 12 for each in counts.values()), counts


@pytest.mark.parametrize("path", ["new/", "1/revise/"])
def test_a_builder_may_not_say_what_is_required(engineer, client_of, path):
    assert client_of("builder").get(f"/holes/{path}").status_code == 403


def drawn(draw, units=4) -> SimpleUploadedFile:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = units
    draw(document.modelspace(), document)
    text = io.StringIO()
    document.write(text)
    return SimpleUploadedFile("hinge.dxf", text.getvalue().encode())


SAID = {"number": "HP-9", "name": "Hinge", "units": "mm", "table": ""}
ASKED = {"zone": "0.3", "larger": "0.1"}


def test_holes_out_of_a_drawing_are_looked_at_then_saved_and_come_back(client_of):
    """In inches, in a block turned by 90 degrees: 25.4 mm each, by hand."""

    def hinge(space, document):
        space.add_lwpolyline([(-1, -1), (3, -1), (3, 3)], dxfattribs={"layer": "EDGE"})
        block = document.blocks.new("HINGE")
        for x, name in ((0, "A"), (1, ""), (2, "C")):
            block.add_circle((x, 0), 0.125)
            if name:
                block.add_text(name, dxfattribs={"insert": (x, 0)})
        block.add_point((1, 0))  # the mark in the middle
        block.add_point((2, 1))
        middle = TextEntityAlignment.MIDDLE_CENTER
        block.add_text("D").set_placement((2, 1), align=middle)
        space.add_blockref("HINGE", (10, 0), dxfattribs={"rotation": 90})

    client = client_of("engineer")
    said = {**SAID, **ASKED, "upload": drawn(hinge, units=1)}
    page = client.post("/holes/new/", said)
    table = page.context["form"].data["table"]
    assert table.splitlines()[1:] == [
        "A,254,0,0.3,6.35,6.45",
        "1,254,25.4,0.3,6.35,6.45",
        "C,254,50.8,0.3,6.35,6.45",
        "D,228.6,50.8,0.3,,",
    ]
    assert "nothing is saved yet" in page.text and not HolePattern.objects.exists()
    answer = client.post("/holes/new/", {**SAID, "table": table})
    pattern = HolePattern.objects.get()
    assert answer["Location"] == f"/holes/{pattern.pk}/"
    holes = list(pattern.current.holes.all())
    assert [hole.high_nm for hole in holes] == [6_450_000] * 3 + [None]
    file = client.get(f"/holes/{pattern.pk}/revision/1/holes.dxf")
    upload = SimpleUploadedFile("again.dxf", file.content)
    again = client.post("/holes/new/", {**SAID, **ASKED, "upload": upload})
    assert again.context["form"].data["table"] == table


def test_what_cannot_be_holes_of_a_drawing_is_refused_in_words(client_of):
    client = client_of("engineer")

    def told(draw, field="upload", **more) -> str:
        said = {**SAID, **ASKED, "upload": drawn(draw, more.pop("units", 4)), **more}
        page = client.post("/holes/new/", said)
        assert page.status_code == 200 and not HolePattern.objects.exists()
        return " ".join(page.context["form"].errors.get(field, ()))

    def two_layers(space, _document):
        space.add_circle((0, 0), 2, dxfattribs={"layer": "HOLES"})
        space.add_point((9, 0), dxfattribs={"layer": "STATIONS"})

    def one(space, _document):
        space.add_circle((0, 0), 2)

    def named_twice(space, _document):
        for x in (0, 9):
            space.add_circle((x, 0), 2)
            space.add_text("A", dxfattribs={"insert": (x, 0)})

    def ring(*circles, **attributes):
        def draw(space, _document):
            for middle, radius in circles:
                space.add_circle(middle, radius, dxfattribs=attributes)

        return draw

    assert "several layers: HOLES, STATIONS" in told(two_layers)
    assert told(two_layers, layer="holes") == ""
    assert "layers: HOLES, STATIONS" in told(two_layers, layer="EDGE")
    assert "does not say it" in told(one, "zone", zone="")
    assert "how large" in told(one, "larger", larger="")
    assert told(one, "larger", larger="-1") and told(one, "zone", zone="wide")
    assert 'two holes are named "A"' in told(named_twice)
    assert "two circles" in told(ring(((0, 0), 2), ((0, 0), 4)))
    assert "not in one plane" in told(ring(((0, 0, 0), 2), ((9, 0, 5), 2)))
    assert "does not lie" in told(ring(((0, 0), 2), extrusion=(1, 0, 0)))
    assert "no size" in told(ring(((0, 0), 0)))
    for far in (1e12, math.inf, math.nan):
        assert "100 m away" in told(ring(((far, 0), 2)))
    assert "no circle" in told(lambda space, _d: space.add_line((0, 0), (1, 0)))
    assert "ellipse" in told(lambda space, _d: space.add_ellipse((0, 0), (5, 0, 0)))
    assert "$INSUNITS 14" in told(one, units=14)
    crowd = [((n, 0), 0.1) for n in range(501)]
    assert "more than 500" in told(ring(*crowd))


def test_names_of_a_mirrored_drawing_stay_at_their_holes():
    """A block of the other hand: A is at +10 there, and at -10 here."""

    def hinge(space, document):
        block = document.blocks.new("HINGE")
        for x, name in ((10, "A"), (-10, "B")):
            block.add_circle((x, 0), 2)
            block.add_text(name, dxfattribs={"insert": (x, 0)})
        space.add_blockref("HINGE", (0, 0), dxfattribs={"xscale": -1})

    holes = hole_drawing.read(drawn(hinge).read()).holes
    assert {hole.label: hole.place[0] for hole in holes} == {"A": -10, "B": 10}
