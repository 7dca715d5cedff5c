"""`correct_tool` as it is run: files in, advice on the mold and an exit code out."""

import io
import json

import pytest
from django.core.management import call_command

from qa.management.commands.correct_tool import Command

JOINT = """station,x_mm,y_mm,normal_x,normal_y,\
gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm
1,100,0,1,0,1.0,3.0,-0.5,0.5
2,0,100,0,1,1.0,3.0,-0.5,0.5
3,-100,0,-1,0,1.0,3.0,-0.5,0.5
4,0,-100,0,-1,1.0,3.0,-0.5,0.5
"""
# Held parts. Gap 1 as pulled: 0.7 - 0 and 1.2 - 0.5, so that the mold makes it 1.3
# tight; flushness 2 is proud by 0.4. All else is on target but for 0.02.
READINGS = """part,station,gap_mm,flush_mm,cut_mm
D1,1,0.7,0.02,
D1,2,2.02,0.42,0
D1,3,1.98,0.02,
D1,4,2.02,-0.02,
D2,1,1.2,-0.02,0.5
D2,2,1.98,0.38,0
D2,3,2.02,-0.02,
D2,4,1.98,0.02,
"""
HELD = ("--freedom", "none")
NUMBERS = ["tool_mm", "standard_error_mm", "low_mm", "high_mm", "correction_mm"]


def run(tmp_path, *options, joint=JOINT, readings=READINGS, motions=None):
    """(exit code, standard output, standard error)"""
    paths = [tmp_path / "joint.csv", tmp_path / "readings.csv"]
    for path, text in zip(paths, (joint, readings), strict=True):
        path.write_text(text, encoding="utf-8")
    if motions is not None:
        (tmp_path / "motions.json").write_text(motions, encoding="utf-8")
        options = (*options, "--freedom", str(tmp_path / "motions.json"))
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("correct_tool", *map(str, paths), *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def plain(tmp_path, *options, **files):
    """(exit code, what JSON says)"""
    code, out, err = run(tmp_path, *options, "--json", **files)
    assert err == ""
    return code, json.loads(out)


def advice(report, kind):
    return [station[kind]["advice"] for station in report["stations"]]


def test_the_keys_are_those_documented_and_the_numbers_those_by_hand(tmp_path):
    """By hand: every place differs by 0.04 between the parts but gap 1, which reads the
    same; 3 x 0.04^2 / 2 over 4 degrees of freedom, and 4 x 0.04^2 / 2 over 4 for
    flushness: 0.0006 and 0.0008 mm2, their mean 0.0007."""
    code, report = plain(tmp_path, *HELD)
    assert code == 0
    assert list(report) == [
        "parts",
        "stations",
        "between_parts_sd_mm",
        "degrees_of_freedom",
        "conforming_share",
        "notes",
        "openings",
    ]
    assert report["openings"] == []
    assert report["parts"] == 2
    first = report["stations"][0]
    assert list(first) == ["station", "gap", "flush"]
    assert list(first["gap"]) == list(first["flush"]) == [*NUMBERS, "advice"]
    assert first["gap"]["tool_mm"] == pytest.approx(-1.3)
    assert first["gap"]["correction_mm"] == pytest.approx(1.3)
    assert first["gap"]["standard_error_mm"] == pytest.approx((0.0006 / 2) ** 0.5, 1e-4)
    assert report["between_parts_sd_mm"] == pytest.approx(0.0007**0.5, abs=1e-6)
    assert report["degrees_of_freedom"] == 8
    assert advice(report, "gap") == ["in", "leave", "leave", "leave"]
    assert advice(report, "flush") == ["leave", "fill", "leave", "leave"]
    # Now gap 1 is 0.3 beyond its limit; 7 of 8 conform, and all once it is corrected.
    assert report["conforming_share"]["now"] == pytest.approx(7 / 8, abs=0.01)
    assert report["conforming_share"]["after"] > 0.99
    assert all(isinstance(note, str) for note in report["notes"])


def test_a_standard_deviation_that_is_given_is_known(tmp_path):
    """By hand: with 0.1 the standard error of two parts is 0.1 / sqrt(2)."""
    code, report = plain(tmp_path, *HELD, "--between-parts-sd-mm", "0.1")
    assert code == 0
    assert report["between_parts_sd_mm"] == 0.1
    assert report["degrees_of_freedom"] is None
    error = report["stations"][2]["flush"]["standard_error_mm"]
    assert error == pytest.approx(0.1 / 2**0.5, abs=1e-6)
    # All but a few in a million: not told as all.
    code, report = plain(tmp_path, *HELD, "--between-parts-sd-mm", "0.07")
    assert 1 - 5e-7 < report["conforming_share"]["after"] < 1


def test_one_part_tells_nothing_and_ends_with_two(tmp_path):
    one = "".join(READINGS.splitlines(keepends=True)[:5])
    code, report = plain(tmp_path, *HELD, readings=one)
    assert code == 2
    assert advice(report, "gap") + advice(report, "flush") == ["cannot_tell"] * 8
    assert report["between_parts_sd_mm"] is None
    assert report["conforming_share"] == {"now": None, "after": None}
    assert {report["stations"][0]["gap"][name] for name in NUMBERS} == {None}
    assert "one part tells nothing about its mold" in report["notes"][0]


def test_one_part_and_a_known_standard_deviation_are_answered(tmp_path):
    one = "".join(READINGS.splitlines(keepends=True)[:5])
    options = (*HELD, "--between-parts-sd-mm", "0.05")
    code, report = plain(tmp_path, *options, readings=one)
    assert code == 0
    assert advice(report, "gap") == ["in", "leave", "leave", "leave"]


def test_constant_data_tell_nothing_and_end_with_two(tmp_path):
    rows = [f"{part},{k},1.5,0.3" for part in "AB" for k in (1, 2, 3, 4)]
    alike = "part,station,gap_mm,flush_mm\n" + "\n".join(rows) + "\n"
    code, report = plain(tmp_path, *HELD, readings=alike)
    assert code == 2
    assert "read alike to the last digit" in report["notes"][0]


def test_a_header_alone_is_no_file_of_readings_but_empty_cells_tell_nothing(tmp_path):
    code, out, err = run(tmp_path, "--json", readings="part,station,gap_mm,flush_mm\n")
    assert (code, out) == (3, "")
    assert "readings.csv:1: there are no rows" in err
    empty = "part,station,gap_mm,flush_mm\nA,1,,\n"
    code, report = plain(tmp_path, readings=empty)
    assert (code, report["parts"]) == (2, 0)


def test_a_missing_cell_leaves_the_rest_told(tmp_path):
    code, report = plain(
        tmp_path, *HELD, readings=READINGS.replace("1.98,0.38", ",0.38")
    )
    assert code == 0
    assert report["stations"][1]["gap"]["tool_mm"] == pytest.approx(0.02)
    none = READINGS.replace("2.02,0.42", ",0.42").replace("1.98,0.38", ",0.38")
    code, report = plain(tmp_path, *HELD, readings=none)
    assert code == 0
    assert advice(report, "gap")[1] == "cannot_tell"
    assert "Cannot tell gap at 2: no part was measured there" in report["notes"]


def test_what_is_not_worth_correcting_is_left(tmp_path):
    _, report = plain(tmp_path, *HELD, "--worth-mm", "0.5")
    assert advice(report, "flush") == ["leave"] * 4
    assert advice(report, "gap")[0] == "in"


SIDEWAYS = json.dumps(
    {"motions": [{"name": "slide", "translation": [1, 0, 0], "min": -1, "max": 1}]}
)


def test_motions_from_a_file_are_taken_out(tmp_path):
    """By hand: sliding along x moves gaps 1 and 3 against each other, so that of -1.3
    and 0 half the difference is the seat's: -0.65 is left at both."""
    _, report = plain(tmp_path, motions=SIDEWAYS)
    told = [station["gap"]["tool_mm"] for station in report["stations"]]
    assert told == pytest.approx([-0.65, 0.0, -0.65, 0.0], abs=1e-6)


def tried(*pairs):
    """Readings of parts in openings, each place off by a little of its own."""
    lines = ["part,station,gap_mm,flush_mm,surround"]
    for number, (part, surround) in enumerate(pairs):
        for k in (1, 2, 3, 4):
            off = 0.01 * ((7 * number + 3 * k) % 5)
            lines.append(f"{part},{k},{2 + off},{off / 2},{surround}")
    return "\n".join(lines) + "\n"


def test_parts_that_link_their_openings_are_answered(tmp_path):
    linked = tried(("A", "L1"), ("A", "L2"), ("B", "L1"), ("B", "L2"))
    code, report = plain(tmp_path, *HELD, readings=linked)
    assert code == 0
    assert advice(report, "gap") == ["leave"] * 4
    assert any(
        "openings are taken to be right in their mean" in n for n in report["notes"]
    )
    assert any("difference from the mean of the openings" in n for n in report["notes"])
    first, last = report["openings"][0], report["openings"][-1]
    assert (first["surround"], first["station"]) == ("L1", "1")
    assert (last["surround"], last["station"]) == ("L2", "4")
    assert first["gap"]["does"] == last["flush"]["does"] == "alike"
    # By hand: gap 1 reads 2.00 and 2.04 in L1, 2.02 and 2.01 in L2.
    assert first["gap"]["opening_mm"] == pytest.approx((2.02 - 2.015) / 2)


def test_an_opening_that_comes_tight_is_told_by_station(tmp_path):
    rows = tried(("A", "L1"), ("A", "L2"), ("B", "L1"), ("B", "L2"))
    rows = rows.replace("A,3,2.01,0.005,L2", "A,3,1.01,0.005,L2")
    rows = rows.replace("B,3,2.0,0.0,L2", "B,3,1.0,0.0,L2")
    code, report = plain(tmp_path, *HELD, readings=rows)
    does = {(o["surround"], o["station"]): o["gap"]["does"] for o in report["openings"]}
    assert (code, does["L2", "3"], does["L1", "3"]) == (0, "tight", "open")
    alike = tried(("A", "L1"), ("B", "L1"))
    alike += "\n".join(alike.replace("L1", "L2").splitlines()[1:]) + "\n"
    _, report = plain(tmp_path, *HELD, readings=alike)
    assert {o["gap"]["does"] for o in report["openings"]} == {"cannot_tell"}
    assert any("read the same in every opening" in n for n in report["notes"])
    _, out, _ = run(tmp_path, *HELD, readings=rows)
    assert "L2: gap tight at 3 by 0.5" in out


def test_openings_that_nothing_links_end_with_two_and_say_why(tmp_path):
    apart = tried(("A", "L1"), ("B", "L2"))
    code, report = plain(tmp_path, *HELD, readings=apart)
    assert code == 2
    assert advice(report, "gap") == ["cannot_tell"] * 4
    assert "link all of L1, L2" in report["notes"][0]
    assert {each["gap"]["does"] for each in report["openings"]} == {"cannot_tell"}
    assert {each["gap"]["opening_mm"] for each in report["openings"]} == {None}
    out = run(tmp_path, *HELD, readings=apart)[1]
    assert "  cannot be told." in out and "nothing beyond" not in out


def test_where_only_some_openings_are_linked_these_are_told(tmp_path):
    """The tool is that of none (the model has all of them), but how L1 and L2 differ
    is as told without L3."""
    some = tried(("A", "L1"), ("A", "L2"), ("B", "L1"), ("B", "L2"))
    rows = some + tried(("C", "L3")).split("\n", 1)[1]
    code, report = plain(tmp_path, *HELD, readings=rows)
    alone = plain(tmp_path, *HELD, readings=some)[1]["openings"]
    assert code == 2 and advice(report, "gap") == ["cannot_tell"] * 4
    assert report["openings"][: len(alone)] == alone
    rest = report["openings"][len(alone) :]
    assert {(o["surround"], o["gap"]["opening_mm"]) for o in rest} == {("L3", None)}
    assert any("Only L1, L2 hang together" in note for note in report["notes"])
    out = run(tmp_path, *HELD, readings=rows)[1]
    assert "nothing beyond its bounds (16 of 24 can be told)" in out


def test_a_kind_that_was_not_read_in_an_earlier_opening_leaves_the_other_told(tmp_path):
    rows = tried(*((part, place) for place in ("L1", "L2", "L3") for part in "AB"))
    head, *lines = rows.splitlines()
    cells = [line.split(",") for line in lines]
    lines = [",".join((*c[:3], "" if c[4] == "L1" else c[3], c[4])) for c in cells]
    code, report = plain(tmp_path, *HELD, readings="\n".join([head, *lines]) + "\n")
    whole = plain(tmp_path, *HELD, readings=rows)[1]["openings"]
    does = [(one["gap"]["does"], one["flush"]["does"]) for one in report["openings"]]
    assert code == 0 and {flush for _, flush in does} == {"cannot_tell"}
    assert [gap for gap, _ in does] == [one["gap"]["does"] for one in whole]
    _, out, _ = run(tmp_path, *HELD, readings="\n".join([head, *lines]) + "\n")
    assert "  nothing beyond its bounds (12 of 24 can be told)." in out


def test_a_given_standard_deviation_that_the_parts_exceed_is_told(tmp_path):
    options = (*HELD, "--between-parts-sd-mm", "0.002")
    _, report = plain(tmp_path, *options)
    assert any("plainly more than the 0.002 mm given" in n for n in report["notes"])


def test_the_text_says_what_to_do_in_words(tmp_path):
    code, out, _ = run(tmp_path, *HELD)
    assert code == 0
    assert "cut line in 1.30" in out
    assert "fill 0.40" in out
    assert "2 parts, 4 stations." in out
    code, out, _ = run(tmp_path)
    assert "Nothing can be told" not in out


def test_the_same_files_give_the_same_bytes(tmp_path):
    assert run(tmp_path, "--json") == run(tmp_path, "--json")


def test_inches_are_read(tmp_path):
    """By hand: 25.4 mm to the inch."""
    rows = ["part,station,gap_in,flush_in,cut_in"]
    for line in READINGS.splitlines()[1:]:
        part, station, *lengths = line.split(",")
        inches = [f"{float(v) / 25.4:.9f}" if v else "" for v in lengths]
        rows.append(",".join([part, station, *inches]))
    _, report = plain(tmp_path, *HELD, readings="\n".join(rows) + "\n")
    assert report["stations"][0]["gap"]["tool_mm"] == pytest.approx(-1.3, abs=1e-5)


@pytest.fixture
def refused(tmp_path, capsys, monkeypatch):
    """Lines on standard error of a run that ended with 3 and said nothing else."""
    monkeypatch.chdir(tmp_path)

    def refuse(*options, joint=JOINT, readings=READINGS, motions=None):
        files = {"joint.csv": joint, "readings.csv": readings}
        for name, text in {**files, "motions.json": motions or ""}.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(SystemExit) as ended:
            Command().run_from_argv(["manage.py", "correct_tool", *files, *options])
        told = capsys.readouterr()
        assert (ended.value.code, told.out) == (3, "")
        return told.err.splitlines()

    return refuse


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("D1,1,2.0,0,", "station: part D1 has station 1 twice (first in line 2)"),
        ("D3,9,2.0,0,", "station: the joint has no station 9"),
        ("D3,,2.0,0,", "station: the station has no name"),
        (",1,2.0,0,", "part: the part has no name"),
        ("D3,1,nan,0,", "gap_mm: 'nan' is not a number"),
        ("D3,1,2.0,inf,", "flush_mm: 'inf' is not a number"),
        ("D3,1,2.0,0,-0.1", "cut_mm: what was cut is 0 or more"),
        ("D3,1,1e300,0,", "gap_mm: '1e300' mm is more than 100 m"),
        ("D3,1,2.0", "3 cells where the header has 5"),
        (f"{'x' * 41},1,2.0,0,", "part: the name must be up to 40 characters"),
    ],
)
def test_a_wrong_row_is_refused_with_its_place(refused, row, told):
    assert refused(readings=READINGS + row + "\n") == [f"readings.csv:10: {told}"]


def test_a_surround_that_some_rows_do_not_name_is_refused(refused):
    some = tried(("A", "L1"), ("B", ""))
    assert refused(readings=some)[0] == (
        "readings.csv:6: surround: is empty, while other rows name the surround"
    )


def test_a_missing_column_is_refused(refused):
    told = refused(readings="part,station,gap_mm\nA,1,2\n")
    assert told == ["readings.csv:1: flush_mm or flush_in: the column is missing"]


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--between-parts-sd-mm=0",), "a standard deviation is more than 0"),
        (("--between-parts-sd-mm=nan",), "'nan' is not a number"),
        (("--worth-mm=-1",), "is below 0"),
        (("--freedom", "motions.json"), "motions.json:1: this is not JSON"),
        (("--freedom", "loose"), "loose: cannot be read: No such file or directory"),
    ],
)
def test_a_wrong_option_is_refused(refused, options, told):
    assert told in refused(*options)[-1]


def test_a_joint_that_cannot_be_is_refused(refused):
    told = refused(joint=JOINT.replace("1,100,0,1,0,1.0,3.0", "1,100,0,1,0,4.0,3.0"))
    assert told == [
        "joint.csv:2: gap_min_mm: the gap minimum 4 mm is above the maximum 3 mm"
    ]
