"""Bad input ends `check_fit` with 3: place and reason on standard error, no more."""

import math

import pytest

from qa.management.commands.check_fit import Command

JOINT = """station,x_mm,y_mm,normal_x,normal_y,\
gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm
1,0,-100,0,-1,1.5,3.0,-0.5,0.5
2,100,0,1,0,1.5,3.0,-0.5,0.5
3,0,100,0,1,1.5,3.0,-0.5,0.5
4,-100,0,-1,0,1.5,3.0,-0.5,0.5
"""
READINGS = """station,gap_mm,flush_mm
1,2.2,0.1
2,2.2,0.1
3,2.2,0.1
4,2.2,0.1
"""


@pytest.fixture
def refused(tmp_path, capsys, monkeypatch):
    """Run the command in an empty folder; its lines on standard error, once it ended
    with 3, said nothing else and wrote nothing."""
    monkeypatch.chdir(tmp_path)

    def run(*options, joint=JOINT, readings=READINGS):
        files = {"joint.csv": joint, "readings.csv": readings}
        for name, content in files.items():
            data = content if isinstance(content, bytes) else content.encode()
            (tmp_path / name).write_bytes(data)
        argv = ["manage.py", "check_fit", *files, "--pdf", "out.pdf", *options]
        with pytest.raises(SystemExit) as ended:
            Command().run_from_argv(argv)
        told = capsys.readouterr()
        assert ended.value.code == 3
        assert told.out == ""
        assert sorted(path.name for path in tmp_path.iterdir()) == sorted(files)
        return told.err.splitlines()

    return run


def changed(text, line, column, value):
    """A file with one cell changed; line counts from 1, column by its name."""
    rows = [row.split(",") for row in text.splitlines()]
    rows[line - 1][rows[0].index(column)] = value
    return "\n".join(",".join(row) for row in rows) + "\n"


def without(text, column):
    """A file with one column taken out."""
    rows = [row.split(",") for row in text.splitlines()]
    index = rows[0].index(column)
    return "\n".join(",".join(r[:index] + r[index + 1 :]) for r in rows) + "\n"


@pytest.mark.parametrize(
    ("column", "named"),
    [
        ("station", "station"),
        ("x_mm", "x_mm or x_in"),
        ("y_mm", "y_mm or y_in"),
        ("normal_x", "normal_x"),
        ("normal_y", "normal_y"),
    ],
)
def test_a_column_missing_from_the_joint(refused, column, named):
    told = refused(joint=without(JOINT, column))
    assert len(told) == 1
    assert told[0].startswith(f"joint.csv:1: {named}: the column is missing")


@pytest.mark.parametrize("column", ["station", "gap_mm", "flush_mm"])
def test_a_column_missing_from_the_readings(refused, column):
    told = refused(readings=without(READINGS, column))
    assert len(told) == 1
    assert told[0].startswith(f"readings.csv:1: {column}")
    assert told[0].endswith("the column is missing")


@pytest.mark.parametrize("column", ["gap_cm", "gap_inch", "gap_", "gap_MM2"])
def test_an_unknown_unit(refused, column):
    told = refused(readings=READINGS.replace("gap_mm", column))
    name = column.lower().rstrip("_")
    assert told[0].startswith(f"readings.csv:1: {name}: ")
    assert "use gap_mm or gap_in" in told[0] or "Head it gap_mm or gap_in" in told[0]
    assert len(told) == 1


def test_an_unknown_unit_of_a_limit(refused):
    told = refused(joint=JOINT.replace("gap_min_mm", "gap_min_cm"))
    assert told == [
        "joint.csv:1: gap_min_cm: unit 'cm' is not known; use gap_min_mm or gap_min_in"
    ]


def test_both_units_of_one_quantity(refused):
    readings = READINGS.replace("flush_mm", "gap_in").replace(",0.1", ",")
    told = refused(readings=readings)
    assert "readings.csv:1: gap_in: gap is there twice; it was gap_mm before" in told


def test_an_unknown_column(refused):
    told = refused(joint=JOINT.replace("gap_max_mm", "gap_mox_mm"))
    assert told[0].startswith("joint.csv:1: gap_mox_mm: the column is not known")
    assert "did you mean gap_max_mm?" in told[0]


def test_a_station_that_is_there_twice_in_the_joint(refused):
    told = refused(joint=changed(JOINT, 4, "station", "2"))
    assert told == ["joint.csv:4: station: station 2 is there twice"]


def test_a_station_that_is_there_twice_in_the_readings(refused):
    told = refused(readings=READINGS + "2,2.3,0\n")
    assert told == [
        "readings.csv:6: station: station 2 is there twice (first in line 3)"
    ]


def test_a_reading_of_a_station_that_the_joint_lacks(refused):
    told = refused(readings=READINGS + "17,2.3,0\n")
    assert told == ["readings.csv:6: station: the joint has no station 17"]


def test_a_reading_without_a_station(refused):
    told = refused(readings=changed(READINGS, 3, "station", ""))
    assert told == ["readings.csv:3: station: the station has no name"]


@pytest.mark.parametrize(
    "text",
    ["nan", "NaN", "inf", "-inf", "Infinity", "abc", "2.2mm", "1e", "--1", "0x1"],
)
@pytest.mark.parametrize(
    ("file", "column"),
    [
        ("joint", "x_mm"),
        ("joint", "normal_y"),
        ("joint", "gap_min_mm"),
        ("readings", "gap_mm"),
        ("readings", "flush_mm"),
    ],
)
def test_what_is_not_a_number(refused, file, column, text):
    source = {"joint": JOINT, "readings": READINGS}[file]
    told = refused(**{file: changed(source, 3, column, text)})
    assert told == [f"{file}.csv:3: {column}: {text!r} is not a number"]


def test_a_decimal_comma_in_a_file_with_semicolons(refused):
    readings = READINGS.replace(",", ";").replace("2;2.2", "2;2,2")
    told = refused(readings=readings)
    assert told == ["readings.csv:3: gap_mm: '2,2': use a decimal point, not a comma"]


def test_a_decimal_comma_in_a_file_with_commas(refused):
    told = refused(readings=READINGS.replace("2,2.2", "2,2,2"))
    assert told == [
        "readings.csv:3: 4 cells where the header has 3 (is a decimal comma used?)"
    ]


def test_a_row_that_is_too_short(refused):
    told = refused(joint=JOINT.replace("3,0,100,0,1,1.5,3.0,-0.5,0.5", "3,0,100"))
    assert told == ["joint.csv:4: 3 cells where the header has 9"]


def test_a_length_beyond_reason(refused):
    told = refused(readings=changed(READINGS, 2, "gap_mm", "1e300"))
    assert told == ["readings.csv:2: gap_mm: '1e300' mm is more than 100 m"]


@pytest.mark.parametrize("kind", ["gap", "flush"])
def test_a_minimum_above_the_maximum(refused, kind):
    told = refused(joint=changed(JOINT, 3, f"{kind}_min_mm", "3.5"))
    high = {"gap": "3", "flush": "0.5"}[kind]
    assert told == [
        f"joint.csv:3: {kind}_min_mm: the {kind} minimum 3.5 mm is above the "
        f"maximum {high} mm"
    ]


def test_a_place_that_is_not_stated(refused):
    told = refused(joint=changed(JOINT, 3, "y_mm", ""))
    assert told == ["joint.csv:3: y_mm: is empty; every station needs its place"]


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_fewer_than_three_stations(refused, rows):
    lines = JOINT.splitlines()[: rows + 1]
    told = refused(joint="\n".join(lines), readings="station,gap_mm,flush_mm\n")
    assert told == [
        f"joint.csv:{rows + 1}: station: a joint needs at least 3 stations; "
        f"there are {rows}"
    ]


def test_a_third_row_that_only_closes_the_seam_is_no_station(refused):
    lines = JOINT.splitlines()
    told = refused(joint="\n".join([*lines[:3], lines[1]]))
    assert "there are 2" in told[0]


def test_a_normal_of_zero_length(refused):
    told = refused(joint=changed(JOINT, 3, "normal_x", "0"))
    assert told == ["joint.csv:3: normal_x: the gap direction has zero length"]


def test_half_a_normal(refused):
    told = refused(joint=changed(JOINT, 3, "normal_y", ""))
    assert told == [
        "joint.csv:3: normal_y: is empty, while the rest of the direction is stated"
    ]


def test_normals_that_point_the_wrong_way(refused):
    told = refused(joint=changed(JOINT, 3, "normal_x", "-1"))
    assert told == [
        "joint.csv:3: normal_x: the gap direction points the wrong way: the part is "
        "inside, so that it must point outward to the surround"
    ]
    told = refused("--part", "outside")
    assert len(told) == 4
    assert "the part is outside, so that it must point inward" in told[0]


def test_a_sharp_corner_without_a_normal(refused):
    joint = changed(changed(JOINT, 3, "normal_x", ""), 3, "normal_y", "")
    told = refused(joint=joint)
    assert len(told) == 1
    assert told[0].startswith("joint.csv:3: normal_x: a sharp corner: the seam turns")


def test_an_outline_that_crosses_itself(refused):
    lines = JOINT.splitlines()
    lines[2], lines[3] = lines[3], lines[2]
    told = refused(joint="\n".join(lines))
    assert told == [
        "joint.csv:2: x_mm: the outline crosses itself: 1 to 3 meets 2 to 4"
    ]


@pytest.mark.parametrize("file", ["joint", "readings"])
def test_a_file_of_50_mb_is_refused_before_it_is_read(refused, file):
    line = b"1,2.2,0.1\n"
    told = refused(**{file: b"station,gap_mm,flush_mm\n" + line * 5_000_000})
    assert told == [f"{file}.csv: the file is too large: 50.0 MB; at most 5 MB"]


@pytest.mark.parametrize("file", ["joint", "readings"])
@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not UTF-8 text"),
        (b"PK\x03\x04\x14\x00\x06\x00", "binary file"),
        (b"station,x_mm\n1,\x00\n", "binary file"),
        ("station,x_mm,y_mm".encode("utf-16"), "not UTF-8 text"),
        ("station,x_mm,y_mm\nä,0,0".encode("latin-1"), "not UTF-8 text"),
        (bytes(range(256)) * 50, "binary file"),
    ],
)
def test_a_binary_file(refused, file, data, why):
    told = refused(**{file: data})
    assert len(told) == 1
    assert told[0].startswith(f"{file}.csv:")
    assert why in told[0] or "binary" in told[0]


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\xef\xbb\xbf", b" , ,\n"])
def test_an_empty_file(refused, data):
    assert refused(readings=data) == ["readings.csv:1: the file is empty"]


def test_quotes_that_do_not_match(refused):
    told = refused(readings=READINGS + '"5,2.2,0.1\n')
    assert told[0].startswith("readings.csv:6: the quotes do not match")


def test_a_file_that_is_not_there(refused, tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        Command().run_from_argv(["manage.py", "check_fit", "none.csv", str(tmp_path)])
    assert ended.value.code == 3
    assert capsys.readouterr().err.startswith("none.csv: cannot be read: No such file")


def test_limits_too_narrow_for_guarded_acceptance(refused):
    # Flush limits are 1.0 apart: 1.0 / 0.26 = 3.846 standard uncertainties.
    told = refused("--rule", "guarded", "--uncertainty-mm", "0.26")
    assert len(told) == 4
    assert told[0] == (
        "joint.csv:2: flush_min_mm: too narrow for guarded acceptance: the limits are "
        "only 3.846 standard uncertainties apart; under 3.92 no value can be proven to "
        "conform with 95 %"
    )


def test_guarded_acceptance_without_an_uncertainty(refused):
    assert refused("--rule", "guarded") == ["--rule guarded needs --uncertainty-mm"]


@pytest.mark.parametrize("text", ["0", "-0.1", "nan", "inf", "x", "1e-9", ""])
def test_an_uncertainty_that_is_none(refused, text):
    told = refused(f"--uncertainty-mm={text}")
    assert "argument --uncertainty-mm:" in told[-1]


@pytest.mark.parametrize(
    "options", [("--rule", "strict"), ("--frob",), ("--part", "left"), ("more.csv",)]
)
def test_options_that_do_not_exist(refused, options):
    assert refused(*options)[-1].startswith("check_fit: ")


def test_everything_wrong_with_a_file_is_told_at_once(refused):
    joint = changed(JOINT, 2, "x_mm", "east")
    joint = changed(joint, 3, "gap_min_mm", "9")
    joint = changed(joint, 4, "station", "2")
    joint = changed(joint, 5, "normal_x", "0")
    told = refused(joint=joint)
    places = [line.split(": ")[0] for line in told]
    assert places == [f"joint.csv:{line}" for line in (2, 3, 4, 5)]


def test_a_very_long_list_of_complaints_is_cut_short(refused):
    rows = "".join(f"{k},bad,bad\n" for k in range(2000))
    told = refused(readings="station,gap_mm,flush_mm\n" + rows)
    assert len(told) == 101
    assert told[-1].startswith("readings.csv: and ")


def test_too_many_stations(refused):
    rows = [
        f"{k},{math.cos(k / 1600):.6f},{math.sin(k / 1600):.6f}" for k in range(10_001)
    ]
    told = refused(joint="\n".join(["station,x_mm,y_mm", *rows]))
    assert told == ["joint.csv:10002: 10001 stations; at most 10000"]
