"""Joint and readings files as people's programs write them. Formats of our own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.files import joint as joint_file
from qa.files import readings
from qa.files.columns import FileComplaints, length_nm
from qa.numeric.geometry.joint import Limits
from qa.numeric.verdict.report import StationLimits, StationReading

JOINT = """station,x_mm,y_mm,normal_x,normal_y,\
gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm
1,0,-100,0,-1,1.5,3.0,-0.5,0.5
2,100,0,1,0,1.5,,-0.5,0.5
3,0,100,0,1,,3.0,,
4,-100,0,-1,0,1.5,3.0,-0.5,0.5
"""
LABELS = ["1", "2", "3", "4"]


def parse(text, **options):
    return joint_file.parse(text.encode(), **options)


def complaints(text, **options):
    with pytest.raises(FileComplaints) as refused:
        parse(text, **options)
    return [(c.line, c.column) for c in refused.value.complaints]


def test_a_joint_file_gives_geometry_and_exact_limits():
    found = parse(JOINT)
    assert found.labels == LABELS
    assert found.joint.closed and found.joint.part_inside and found.joint.flat
    assert found.joint.stations[1].gap == Limits(1.5, None)
    assert found.limits[0] == StationLimits(1_500_000, 3_000_000, -500_000, 500_000)
    assert found.limits[2] == StationLimits(None, 3_000_000, None, None)
    assert found.lines == (2, 3, 4, 5)
    assert found.columns["gap_min"] == "gap_min_mm"


FLAVORS = {
    "semicolons": lambda text: text.replace(",", ";"),
    "tabs": lambda text: text.replace(",", "\t"),
    "CRLF": lambda text: text.replace("\n", "\r\n"),
    "CR": lambda text: text.replace("\n", "\r"),
    "BOM": lambda text: "\ufeff" + text,
    "BOM, CRLF and semicolons": lambda text: (
        "\ufeff" + text.replace("\n", "\r\n").replace(",", ";")
    ),
    "no last line end": lambda text: text.rstrip("\n"),
    "blank lines": lambda text: "\n" + text.replace("\n3,", "\n\n  \n3,") + "\n\n\n",
    "rows of empty cells": lambda text: text + ",,,,,,,,\n",
    "an empty last column": lambda text: text.replace("\n", ",\n"),
    "spaces": lambda text: text.replace(",", " , "),
    "capitals and spaces": lambda text: text.replace("gap_min_mm", "Gap min (mm)"),
    "all quoted": lambda text: "\n".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) for line in text.splitlines()
    ),
    "quoted after spaces": lambda text: text.replace(
        "station,x_mm", '"station", "x_mm"'
    ),
    "signs": lambda text: text.replace(",100,", ",+100,").replace(
        ",-100,", ",\N{MINUS SIGN}100,"
    ),
    "exponents": lambda text: text.replace(",100,", ",1.0e+02,").replace(
        ",-0.5,", ",-5E-1,"
    ),
    "trailing zeros": lambda text: text.replace(",1.5,", ",1.50000000000,"),
    "floats of a program": lambda text: text.replace(",0.5", ",0.50000000000000004"),
    "other units": lambda text: (
        text.replace(",x_mm,", ",x_in,")
        .replace("2,100,0,", "2,3.937007874015748,0,")
        .replace("4,-100,0,", "4,-3.937007874015748,0,")
    ),
}


@pytest.mark.parametrize("flavor", FLAVORS)
def test_a_joint_reads_the_same_in_every_flavor(flavor):
    plain, found = parse(JOINT), parse(FLAVORS[flavor](JOINT))
    assert found.joint == plain.joint
    assert found.limits == plain.limits


def test_columns_may_come_in_any_order():
    rows = [line.split(",")[::-1] for line in JOINT.splitlines()]
    assert parse("\n".join(map(",".join, rows))).joint == parse(JOINT).joint


def test_labels_may_hold_anything_printable():
    named = JOINT.replace("\n1,", '\n"front, left ""A""",').replace("\n2,", "\nÄ-2,")
    assert parse(named).labels == ['front, left "A"', "Ä-2", "3", "4"]


def test_a_label_with_a_line_end_is_refused_at_the_line_where_its_row_starts():
    assert complaints(JOINT.replace("\n2,", '\n"2\nb",')) == [(3, "station")]


def test_limits_in_inches_are_exact():
    found = parse(JOINT.replace("gap_min_mm", "gap_min_in").replace(",1.5,", ",0.05,"))
    assert found.limits[0].gap_low_nm == 1_270_000


def test_values_finer_than_a_nanometer_go_to_the_nearest():
    assert length_nm("0.30000000000000004", "mm") == 300_000
    assert length_nm("0.0000004", "mm") == 0
    assert length_nm("-0.0000006", "mm") == -1
    assert length_nm("1e-05", "in") == 254


# Closing rows


@pytest.mark.parametrize(
    "closing",
    ["1,0,-100,0,-1,1.5,3.0,-0.5,0.5", "1,0,-100,,,,,,", "5,0,-100,,,,,,"],
)
def test_a_last_row_that_closes_the_seam_is_left_out(closing):
    found = parse(JOINT + closing + "\n")
    assert found.joint == parse(JOINT).joint
    assert found.closing_label == closing[0]
    assert len(found.limits) == len(found.lines) == 4


def test_a_last_row_in_the_first_place_with_limits_of_its_own_is_kept_or_refused():
    other = "{},0,-100,-1,-1,1.0,2.0,,\n"
    assert parse(JOINT + other.format(5)).labels == [*LABELS, "5"]
    assert complaints(JOINT + other.format(1)) == [(6, "station")]


@pytest.mark.parametrize(
    ("said", "closing", "options"),
    [
        ("", "13,{},,1,3", {"rounded": True}),
        ("no", "13,{},no,1,3", {}),
        ("no", "13,{},,1,3", {}),
        ("no", "1,{},,1,3", {}),
        ("no", "13,{},,,", {"rounded": True}),
    ],
)
def test_a_last_row_is_left_out_where_the_first_is_in_a_round(said, closing, options):
    """600 x 400 with rounds of 20 mm: by hand the first looks 45 degrees."""
    right = [(294.142, -194.142), (300, -90), (300, 90), (294.142, 194.142)]
    top = [(150, 200), (-150, 200)]
    around = [*right, *top, *((-x, -y) for x, y in (*right, *top))]
    rows = [
        f"{k},{x},{y},{said if abs(x) == 294.142 else ''},1,3"
        for k, (x, y) in enumerate(around, 1)
    ]
    head = ["station,x_mm,y_mm,corner,gap_min_mm,gap_max_mm", *rows]
    last = closing.format("294.142,-194.142")
    read = joint_file.parse("\n".join([*head, last]).encode(), **options)
    assert read.labels == [str(k) for k in range(1, 13)]
    assert read.closing_label == last.split(",")[0]
    way = read.joint.gap_directions[0]
    assert way == pytest.approx([0.7071, -0.7071, 0], abs=0.01)
    # One that says no more than that it is a corner is its second station.
    marked = "\n".join([*head, "13,294.142,-194.142,yes,,"])
    assert joint_file.parse(marked.encode(), **options).labels[-1] == "13"


def test_an_open_seam_keeps_its_last_row():
    rows = "1,0,0\n2,50,0\n3,100,0\n"
    assert parse(f"station,x_mm,y_mm\n{rows}", closed=False).labels == ["1", "2", "3"]
    assert complaints(f"station,x_mm,y_mm\n{rows}1,0,0\n", closed=False) == [
        (5, "station")
    ]


# Further columns


def test_a_joint_that_is_not_flat_has_its_faces_in_the_file():
    header = "station,x_mm,y_mm,z_mm,normal_x,normal_y,normal_z,face_x,face_y,face_z"
    rows = "1,0,-9,0,0,-1,0,0,0,2\n2,9,0,1,1,0,-.1,0.1,0,1\n3,0,9,0,,,,,,\n4,-9,0,0,"
    text = f"{header}\n{rows}-1,0,0,,,\n".replace("3,0,9,0,,,,,,", "3,0,9,0,0,1,0,,,")
    joint = parse(text).joint
    assert not joint.flat
    assert joint.stations[0].face == (0, 0, 1)
    assert joint.stations[2].face == (0, 0, 1)
    assert joint.stations[1].place == (9, 0, 1)
    assert joint.gap_directions[1] == pytest.approx([0.995037, 0, -0.0995037])


def test_what_may_be_cut_is_read_for_planning():
    text = JOINT.replace("\n", ",part,2.5,1\n").replace(
        ",part,2.5,1\n", ",trim_side,trim_max_mm,land_mm\n", 1
    )
    text = text.replace("0.5,part,2.5,1", "0.5,,,", 1)
    first, second, *_ = parse(text).joint.stations
    assert (first.trim_side, first.trim_max, first.land) == (None, None, None)
    assert (second.trim_side, second.trim_max, second.land) == ("part", 2.5, 1.0)
    assert complaints(text.replace("part", "left", 1)) == [(3, "trim_side")]
    assert complaints(text.replace("2.5", "-2.5", 1)) == [(3, "trim_max_mm")]


def test_components_of_a_direction_need_each_other():
    header = "station,x_mm,y_mm,face_x,face_y\n1,0,0,0,0\n"
    assert complaints(header) == [(1, "face_z")]
    assert complaints(header.replace("face_x,face_y", "normal_z,z_mm")) == [
        (1, "normal_x")
    ]


def test_one_end_of_the_limits_may_be_left_out_of_the_header():
    text = "station,x_mm,y_mm,gap_max_mm\n1,0,0,3\n2,9,0,3\n3,20,0,\n"
    limits = parse(text, closed=False).limits
    assert limits[0] == StationLimits(None, 3_000_000, None, None)


# Readings


def test_readings_come_in_the_order_of_the_joint():
    text = "flush_mm;station;gap_in\r\n0.1;4;0.05\r\n;2;\r\n-0.2;1;\r\n"
    found = readings.parse(text.encode(), LABELS)
    assert found.readings == (
        StationReading(None, -200_000),
        StationReading(None, None),
        StationReading(None, None),
        StationReading(1_270_000, 100_000),
    )
    assert found.lines == (4, 3, None, 2)


def test_at_a_sharp_corner_the_last_row_is_its_second_station():
    corners = [(-100, -100), (100, -100), (100, 100), (-100, 100)]
    sides = [(0, -101), (101, 0), (0, 101), (-101, 0)]
    rows = ["1,-100,-100"]
    for k, (side, end) in enumerate(zip(sides, corners[1:] + corners[:1], strict=True)):
        rows += [f"{3 * k + 2},{side[0]},{side[1]}", f"{3 * k + 3},{end[0]},{end[1]}"]
        rows += [f"{3 * k + 4},{end[0]},{end[1]}"] if k < 3 else []
    found = parse("station,x_mm,y_mm\n" + "\n".join(rows) + "\n")
    assert found.labels == [str(n) for n in range(1, 13)]
    assert found.closing_label is None
    # One normal per side: the first station looks down, the last to the left.
    assert found.joint.gap_directions[0][1] < -0.99
    assert found.joint.gap_directions[-1][0] < -0.99


@pytest.mark.parametrize("last", ["1,0,0,yes,,,,", "Z,0,0,yes,,,,"])
def test_a_last_row_that_is_only_the_marked_place_of_the_first_is_left_out(last):
    rows = (
        "station,x_mm,y_mm,corner,normal_x,normal_y,gap_min_mm,gap_max_mm\n"
        "1,0,0,yes,-0.7,-0.7,0.2,1\n2,100,0,yes,0.7,-0.7,0.2,1\n"
        "3,100,100,yes,0.7,0.7,0.2,1\n4,0,100,yes,-0.7,0.7,0.2,1\n"
    )
    found = parse(rows + last + "\n")
    assert (found.labels, found.closing_label) == (["1", "2", "3", "4"], last[0])


def test_a_reading_at_the_closing_row_says_that_it_was_left_out():
    text = b"station,gap_mm,flush_mm\n5,2.0,\n"
    with pytest.raises(FileComplaints, match="only closes the outline"):
        readings.parse(text, LABELS, closing_label="5")


@given(data=st.binary(max_size=200))
def test_whatever_is_in_a_file_it_is_read_or_complained_about(data):
    for read in (
        joint_file.parse,
        lambda raw: readings.parse(raw, LABELS),
        lambda raw: joint_file.parse(b"station,x_mm,y_mm\n" + raw),
        lambda raw: readings.parse(b"station,gap_mm,flush_mm\n" + raw, LABELS),
    ):
        try:
            read(data)
        except FileComplaints as bad:
            assert bad.complaints


CELL = st.sampled_from(
    [
        "1",
        "2",
        "3",
        "",
        "0",
        "-0",
        ".",
        "1e400",
        "9e9",
        "nan",
        "٣",
        '"',
        "2,5",
        "a" * 99,
    ]
)


@given(rows=st.lists(st.lists(CELL, min_size=5, max_size=5), max_size=6))
def test_whatever_is_in_the_cells_it_is_read_or_complained_about(rows):
    header = "station\tx_mm\ty_in\tgap_min_mm\tgap_max_in"
    text = "\n".join([header, *map("\t".join, rows)])
    try:
        found = parse(text, closed=False)
    except FileComplaints as bad:
        assert all(one.line for one in bad.complaints)
    else:
        assert len(found.labels) >= 3
