"""A joint out of a drawing, and back into one."""

import csv
import io
import math
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from ezdxf.enums import TextEntityAlignment
from hypothesis import given
from hypothesis import strategies as st

from qa.actions.joints import StationDraft
from qa.files import drawing
from qa.files.columns import FileComplaints
from qa.forms.drawings import stations_text
from qa.numeric.geometry.seam import Curve, gap_directions, join
from tests.qa.making import make_joint, make_stations


def dxf(draw, *, units=4) -> bytes:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = units
    draw(document.modelspace(), document)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def rounded_rectangle(space, _document, width=600.0, height=400.0, radius=60.0):
    """Four lines and four arcs, in no order, some drawn the other way round."""
    a, b, r = width / 2, height / 2, radius
    space.add_arc((a - r, b - r), r, 0, 90)
    space.add_line((-a, b - r), (-a, r - b))
    space.add_arc((r - a, r - b), r, 180, 270)
    space.add_line((a - r, b), (r - a, b))
    space.add_arc((a - r, r - b), r, 270, 360)
    space.add_line((a, b - r), (a, r - b))
    space.add_arc((r - a, b - r), r, 90, 180)
    space.add_line((a - r, -b), (r - a, -b))


# Length of the outline and distance of a point from it, by their plain formulas.
def outline_length(width=600.0, height=400.0, radius=60.0):
    return 2 * (width + height) - 8 * radius + 2 * math.pi * radius


def off_the_outline(x, y, width=600.0, height=400.0, radius=60.0):
    from_x, from_y = abs(x) - width / 2 + radius, abs(y) - height / 2 + radius
    outside = math.hypot(max(from_x, 0), max(from_y, 0))
    return abs(outside + min(max(from_x, from_y), 0) - radius)


def complaint(data: bytes, **said) -> str:
    with pytest.raises(FileComplaints) as refused:
        drawing.read(data, **said)
    return str(refused.value)


def test_lines_and_arcs_in_any_order_become_one_seam_within_the_tolerance():
    found = drawing.read(dxf(rounded_rectangle))
    assert found.curve.closed and found.unit == "mm" and found.marks == ()
    assert found.curve.length == pytest.approx(outline_length(), abs=0.05)
    # The vertices lie on what is drawn; between them it is left by 0.002 mm at most.
    points = found.curve.points
    between = (points + np.roll(points, -1, axis=0)) / 2
    assert max(off_the_outline(*p) for p in points) < 1e-6
    assert max(off_the_outline(*p) for p in between) <= drawing.WITHIN_MM


@pytest.mark.parametrize(
    ("units", "mm"), [(1, 25.4), (2, 304.8), (4, 1), (5, 10), (6, 1000)]
)
def test_the_unit_of_the_header_counts(units, mm):
    # $INSUNITS 1 inches, 2 feet, 4 mm, 5 cm, 6 m: DXF reference, header variables.
    found = drawing.read(dxf(lambda s, _d: s.add_circle((0, 0), 2), units=units))
    assert found.curve.length == pytest.approx(2 * math.pi * 2 * mm, rel=1e-3)


def test_a_header_without_a_unit_takes_the_one_that_is_typed():
    data = dxf(lambda space, _d: space.add_circle((0, 0), 2), units=0)
    found = drawing.read(data, unit="in")
    assert found.unit == "" and np.ptp(found.curve.points[:, 0]) == pytest.approx(
        101.6, abs=0.01
    )


def test_an_ellipse_and_a_spline_inside_of_turned_blocks_are_followed():
    def draw(space, document):
        block = document.blocks.new("HATCH_EDGE")
        block.add_ellipse((0, 0), major_axis=(150, 0), ratio=0.5)
        space.add_blockref("HATCH_EDGE", (10, 20), dxfattribs={"rotation": 90})

    points = drawing.read(dxf(draw)).curve.points - (10, 20)
    assert np.abs((points[:, 0] / 75) ** 2 + (points[:, 1] / 150) ** 2 - 1).max() < 1e-6

    def parabola(space, _document):  # a Bezier curve of degree 2
        space.add_open_spline([(0, 0), (50, 100), (100, 0)], degree=2)

    def bulged(space, _document):  # a bulge of 1 is half a circle
        space.add_lwpolyline([(0, 0, 0, 0, 1), (100, 0), (50, 80)], close=True)

    length = math.pi * 50 + 2 * math.hypot(50, 80)
    assert drawing.read(dxf(bulged)).curve.length == pytest.approx(length, abs=0.02)
    open_seam = drawing.read(dxf(parabola)).curve
    t = open_seam.points[:, 0] / 100
    assert not open_seam.closed
    assert np.abs(open_seam.points[:, 1] - 200 * t * (1 - t)).max() < 1e-6


def test_what_cannot_be_one_flat_seam_is_refused_in_words():
    def two(space, _document):
        space.add_circle((0, 0), 50, dxfattribs={"layer": "DOOR"})
        space.add_circle((0, 0), 60, dxfattribs={"layer": "FRAME"})

    both = dxf(two)
    assert "2 curves are drawn" in complaint(both) and "layer FRAME" in complaint(both)
    assert np.ptp(drawing.read(both, layer="frame").curve.points[:, 0]) > 119.9
    assert "layers: DOOR, FRAME" in complaint(both, layer="HINGE")

    def fork(space, _document):
        for end in ((10, 0), (0, 10), (-10, 0)):
            space.add_line((0, 0), end)

    def nowhere(space, _document):  # from a place to the same place
        space.add_line((5, 5), (5, 5))

    assert "does not fork" in complaint(dxf(fork))
    assert "no line or curve" in complaint(dxf(nowhere))
    assert "no line or curve" in complaint(dxf(lambda space, _d: None))
    assert "$INSUNITS 14" in complaint(dxf(rounded_rectangle, units=14))
    assert "no drawing that can be read" in complaint(b"station,x_mm,y_mm\n1,0,0\n")

    def itself(space, document):
        block = document.blocks.new("A")
        block.add_circle((0, 0), 5)
        block.add_blockref("A", (1, 0))
        space.add_blockref("A", (0, 0))

    assert complaint(dxf(itself))

    def many(space, document):
        space.add_blockref("B", (0, 0)).grid((9999, 9999), (5, 5))
        document.blocks.new("B").add_circle((0, 0), 1)

    assert "more than" in complaint(dxf(many))


def test_odd_things_of_a_drawing_are_refused_or_passed_over_never_a_crash():
    def doubled(space, _document):
        space.add_line((0, 0), (100, 0))
        space.add_line((0, 0), (100, 0))

    def mesh(space, _document):
        space.add_polymesh((2, 2))

    def no_way(space, _document):
        space.add_circle((0, 0), 50)
        space.add_line((50, 0), (50, 0, 9), dxfattribs={"layer": "gap_directions"})

    def two_heights(space, _document):
        space.add_line((0, 0, 0), (100, 0, 0))
        space.add_line((100, 0, 50), (150, 0, 50))

    def crowd(space, _document):
        for n in range(drawing.MOST_PIECES + 1):
            space.add_line((n, 0), (n, 1))

    assert "no area" in complaint(dxf(doubled))
    assert "cannot be read" in complaint(dxf(mesh))
    assert "no direction" in complaint(dxf(no_way))
    assert "2 curves are drawn" in complaint(dxf(two_heights))
    assert "name the layer" in complaint(dxf(crowd))

    def beside(space, document):
        rounded_rectangle(space, document)
        space.add_point((0, -300), dxfattribs={"layer": "Defpoints"})

    assert drawing.read(dxf(beside)).marks == ()

    def two_spellings(space, _document):
        space.add_line((0, 0), (100, 0), dxfattribs={"layer": "SEAM"})
        space.add_line((100, 0), (150, 0), dxfattribs={"layer": "Seam"})

    assert drawing.read(dxf(two_spellings), layer="seam").curve.length == 150


@pytest.mark.parametrize("turned", [False, True])
def test_which_way_an_open_seam_was_drawn_does_not_turn_the_gap(turned):
    """The surround is on the right of the stations in their order, here below."""
    ends = [(0, 0), (100, 0)]

    def line(space, _document):
        space.add_line(*(ends[::-1] if turned else ends))
        for x in (20, 50, 80):
            space.add_point((x, 0))

    def named(space, document):
        line(space, document)
        for x, name in ((20, "A"), (50, "B"), (80, "C")):
            space.add_text(name, dxfattribs={"insert": (x, 0)})

    def arrow(space, document):
        line(space, document)
        space.add_line((50, 0), (50, -9), dxfattribs={"layer": "GAP_DIRECTIONS"})

    for draw in (named, arrow):
        text = stations_text(drawing.read(dxf(draw)), part_inside=True)
        rows = list(csv.DictReader(io.StringIO(text)))
        assert [row["normal_y"] for row in rows] == ["-1"] * 3
        assert [float(row["x_mm"]) for row in rows] == [20, 50, 80]
    with pytest.raises(FileComplaints, match="on which side"):
        stations_text(drawing.read(dxf(line)), part_inside=True)


def test_names_in_blocks_in_blocks_are_read_on_the_layer_where_they_are_inserted():
    def nested(space, document):
        outline = document.blocks.new("OUTLINE")
        outline.add_lwpolyline([(0, 0), (10, 0), (10, 5), (0, 5)], close=True)
        outline.add_point((5, 0))
        outline.add_mtext("{\\fArial|b0;S1}", dxfattribs={"insert": (5, 0)})
        outline.add_point((10, 2))
        centered = outline.add_text("S2")
        centered.set_placement((10, 2), align=TextEntityAlignment.MIDDLE_CENTER)
        turned = {"xscale": 2, "yscale": 2, "rotation": 90}
        document.blocks.new("SHEET").add_blockref("OUTLINE", (0, 0), dxfattribs=turned)
        space.add_blockref("SHEET", (100, 0), dxfattribs={"layer": "DOOR"})
        space.add_line((0, 0), (300, 0), dxfattribs={"layer": "FLOOR"})

    read = drawing.read(dxf(nested), layer="door")
    assert read.curve.closed and read.curve.length == pytest.approx(60)
    places = {mark.name: mark.place for mark in read.marks}
    assert places["S1"] == pytest.approx((100, 10))
    assert places["S2"] == pytest.approx((96, 20))


def test_a_drawing_that_was_cut_off_or_is_of_another_kind_says_so():
    whole = dxf(rounded_rectangle)
    assert drawing.read(whole.replace(b"\n", b"\r\n") + b"\x1a").curve.closed
    cut_off = whole[: whole.index(b"OBJECTS")]
    assert "it was cut off" in complaint(cut_off)
    assert "the file is empty" in complaint(b"\r\n")
    assert "save the drawing as DXF" in complaint(b"AC1032" + bytes(200))
    assert "in text" in complaint(b"AutoCAD Binary DXF\r\n\x1a\0" + bytes(99))
    assert complaint(bytes(range(256))).isprintable()


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_no_bytes_break_the_reading_of_a_drawing(data):
    with pytest.raises(FileComplaints):
        drawing.read(b"0\nSECTION\n2\nENTITIES\n" + data + b"\n0\nENDSEC\n0\nEOF\n")


@given(
    st.floats(0, 2 * math.pi),
    st.booleans(),
    st.floats(20, 900),
    st.integers(24, 400),
)
def test_beside_a_circle_the_gap_points_from_its_middle(at, clockwise, radius, sides):
    """Drawn as a polygon of `sides`; the angle is known to the square of its step."""
    angles = np.linspace(0, 2 * math.pi, sides, endpoint=False)
    points = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    curve = Curve(points[::-1] if clockwise else points, True)
    place = radius * np.array([[math.cos(at), math.sin(at)]])
    for inside, sign in ((True, 1), (False, -1)):
        [way], [away] = gap_directions(curve, place, part_inside=inside)
        off = math.degrees(math.acos(min(1, sign * way @ place[0] / radius)))
        assert off < 45 * (2 * math.pi / sides) ** 2
        assert away <= radius * (1 - math.cos(math.pi / sides)) + 1e-9


def test_pieces_that_do_not_meet_stay_apart():
    pieces = [np.array([(0.0, 0), (1, 0)]), np.array([(1.02, 0), (2, 0)])]
    assert [curve.closed for curve in join(pieces, 0.01)] == [False, False]
    assert len(join(pieces, 0.05)) == 1


def test_a_joint_comes_back_from_its_own_drawing(client_of, people):
    joint = make_joint(people["engineer"])
    client = client_of("engineer")
    address = reverse("joint_dxf", args=[joint.pk, joint.current.number])
    answer = client.get(address)
    assert answer["Content-Type"] == "image/vnd.dxf"
    found = drawing.read(answer.content)
    stations = list(joint.current.stations.all())
    assert [mark.name for mark in found.marks] == [one.label for one in stations]
    page = client.post(
        reverse("new_joint"),
        {"do": "read", "file": SimpleUploadedFile("door.dxf", answer.content)},
    )
    drafts = page.context["form"].drafts
    for draft, station in zip(drafts, stations, strict=True):
        place = (station.x_nm, station.y_nm, 0)
        assert (draft.label, draft.place_nm) == (station.label, place)
        assert abs(draft.gap_e9[0] - station.gap_x_e9) <= 2
    assert page.context["form"].closed_seam == joint.current.closed


def over_a_hoop(count=7, radius=400.0) -> list[StationDraft]:
    """An open seam over a fuselage: round it in x and z; its gap lies along y."""
    drafts = []
    for row, draft in enumerate(make_stations(count)):
        at = math.radians(20 + 140 * row / (count - 1))
        out = (math.cos(at), 0.0, math.sin(at))
        place = tuple(round(radius * 1e6 * part) for part in out)
        face = tuple(round(part * 1e9) for part in out)
        said = {"place_nm": place, "face_e9": face, "gap_e9": (0, 10**9, 0)}
        drafts.append(replace(draft, **said))
    return drafts


def test_a_joint_that_is_not_flat_comes_back_from_its_own_drawing(client_of, people):
    joint = make_joint(people["engineer"], over_a_hoop(), closed=False)
    client = client_of("engineer")
    address = reverse("joint_dxf", args=[joint.pk, joint.current.number])
    data = client.get(address).content
    page = client.post(
        reverse("new_joint"), {"do": "read", "file": SimpleUploadedFile("a.dxf", data)}
    )
    drafts = page.context["form"].drafts
    assert len(drafts) == 7
    for draft, station in zip(drafts, joint.current.stations.all(), strict=True):
        for name, kept in (("gap_e9", "gap_{}_e9"), ("face_e9", "face_{}_e9")):
            there = [getattr(station, kept.format(axis)) for axis in "xyz"]
            assert np.abs(np.subtract(getattr(draft, name), there)).max() <= 2
        place = (station.x_nm, station.y_nm, station.z_nm)
        assert (draft.label, draft.place_nm) == (station.label, place)
    assert page.context["form"].closed_seam is False


def test_what_a_seam_that_is_not_flat_lacks_is_told(client_of):
    def told(*parts) -> str:
        def draw(space, _document):
            space.add_line((0, 0, 0), (90, 0, 50))
            for part in parts:
                part(space)

        upload = SimpleUploadedFile("a.dxf", dxf(draw))
        said = {"do": "read", "file": upload}
        page = client_of("engineer").post(reverse("new_joint"), said)
        return " ".join(page.context["form"].errors.get("file", ()))

    def line(layer, end):
        return lambda space: space.add_line(
            (90, 0, 50), end, dxfattribs={"layer": layer}
        )

    point = lambda space: space.add_point((90, 0, 50))  # noqa: E731
    name = lambda space: space.add_text("7", dxfattribs={"insert": (90, 0, 50)})  # noqa: E731
    gap, face = (
        line("GAP_DIRECTIONS", (90, 9, 50)),
        line("Face_Directions", (85, 0, 59)),
    )
    assert "mark its stations" in told()
    assert "has none on GAP_DIRECTIONS" in told(point, face)
    assert "station 7 has none on FACE_DIRECTIONS" in told(point, name, gap)
    assert "name its stations" in told(point, gap, face)
    far = lambda space: space.add_point((0, 0, 40))  # noqa: E731
    assert "has none on GAP_DIRECTIONS" in told(point, name, gap, face, far)
    assert told(point, name, gap, face) == ""


def test_a_seam_without_stations_is_there_to_lay_them_along(client_of):
    client = client_of("engineer")
    upload = SimpleUploadedFile("hatch.DXF", dxf(rounded_rectangle))
    page = client.post(reverse("new_joint"), {"do": "read", "file": upload})
    assert "a closed seam of" in page.text and "It marks no station" in page.text
    layout = page.context["layout"].initial
    laid = client.post(
        reverse("new_joint"),
        {
            "do": "lay",
            "count": "24",
            "spacing": "even",
            "way": "ccw",
            "closed": "closed",
        }
        | {name: layout[name] for name in ("shape", "corners", "unit")},
    )
    drafts = laid.context["form"].drafts
    assert len(drafts) == 24
    for draft in drafts:
        assert off_the_outline(*(nm / 1e6 for nm in draft.place_nm[:2])) < 0.01
    wrong = SimpleUploadedFile("hatch.dxf", b"no drawing")
    page = client.post(reverse("new_joint"), {"do": "read", "file": wrong})
    assert "hatch.dxf: this is no drawing" in page.context["form"].errors["file"][0]
