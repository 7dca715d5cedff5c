"""`capability`, `gauge_study`, `trend` and `chart` as they are run: a file in, one JSON
object or text and an exit code out."""

import io
import json

import pytest
from django.core.management import call_command, load_command_class
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.numeric import published

COMMANDS = {
    "capability": ("--lower", "73.95", "--upper", "74.05"),
    "gauge_study": (),
    "trend": ("--limit", "178"),
    "chart": (),
}
COLUMNS = {
    "capability": "value,subgroup",
    "gauge_study": "part,person,value",
    "trend": "pull,value,break",
    "chart": "value,subgroup",
}


@pytest.fixture
def run(tmp_path):
    """run(command, text, *options): exit code, what was printed, what was complained
    of. The JSON must be strict: no NaN."""

    def run(command, text, *options):
        path = tmp_path / "file.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        out, err, code = io.StringIO(), io.StringIO(), 0
        try:
            call_command(command, str(path), *options, stdout=out, stderr=err)
        except SystemExit as end:
            code = end.code
        return code, out.getvalue(), err.getvalue()

    return run


@pytest.fixture
def told(run):
    """told(command, text, *options): the JSON object of an answer."""

    def told(command, text, *options):
        code, out, err = run(command, text, *options, "--json")
        assert (code, err) == (0, "")
        return json.loads(out, parse_constant=pytest.fail)

    return told


def table(*columns, rows):
    lines = [",".join(columns), *(",".join(map(str, row)) for row in rows)]
    return "\n".join(lines) + "\n"


def rings():
    groups = published.load("piston_rings_montgomery")["data"]
    rows = [(value, k) for k, group in enumerate(groups, 1) for value in group]
    return table("value", "subgroup", rows=rows)


def manual():
    data = published.load("grr_aiag_10x3x3")["data"]
    rows = [
        (part, person, value)
        for person, trials in data.items()
        for trial in trials
        for part, value in enumerate(trial, 1)
    ]
    return table("part", "person", "value", rows=rows)


def pressures():
    rows = published.load("trend_pressure_temperature")["data"]
    return table("pull", "value", rows=[(row[3], row[4]) for row in rows])


INDICES = ["cp", "cpk", "pp", "ppk"]


def test_capability_tells_the_agreed_keys(told):
    """Values: Montgomery table 6.3 by mean range, as in tests/numeric."""
    found = told("capability", rings(), *COMMANDS["capability"], "--within", "rbar")
    intervals = [f"{name}_interval" for name in INDICES]
    assert list(found) == [
        *("n", "mean", "sd_overall", "sd_within", *INDICES, *intervals),
        *("outside", "outside_seen", "normality", "method", "notes"),
    ]
    assert found["n"] == 125
    assert found["cp"] == pytest.approx(1.668101, abs=1e-4)
    assert found["cpk_interval"][0] < found["cpk"] < found["cpk_interval"][1]
    assert set(found["outside"]) == {"below", "above"}
    assert found["normality"]["test"] == "anderson_darling"
    assert found["method"] == "normal"


def test_gauge_study_tells_the_agreed_keys(told):
    """Values: AIAG MSA 4th ed., as in tests/numeric."""
    found = told("gauge_study", manual(), "--tolerance", "4")
    assert list(found) == [
        *("anova", "sd", "share_of_total", "share_of_tolerance"),
        *("distinct_categories", "intervals", "range_method", "advice", "notes"),
    ]
    sources = ["part", "person", "part_x_person", "repeatability", "total"]
    assert [row["source"] for row in found["anova"]] == sources
    assert list(found["anova"][0]) == ["source", "df", "ss", "ms", "f", "p"]
    assert [row["df"] for row in found["anova"]] == [9, 2, 18, 60, 89]
    assert set(found["sd"]) == {
        *("repeatability", "reproducibility", "person", "part_x_person"),
        *("gauge", "part", "total"),
    }
    assert found["sd"]["gauge"] == pytest.approx(0.302373, abs=2e-6)
    assert found["distinct_categories"] == 4
    ranges = found["range_method"]
    assert list(ranges) == ["sd", "share_of_total", "distinct_categories"]
    assert ranges["distinct_categories"] == 5
    assert ranges["sd"]["gauge"] == pytest.approx(0.30575, abs=1e-4)
    assert "Interaction pooled" in found["advice"]
    without = told("gauge_study", manual())
    assert without["share_of_tolerance"] is None
    assert without["intervals"]["share_of_tolerance"] is None


def test_a_share_beyond_all_values_is_never_told_as_nothing(told):
    """60 squares of 0 to 59, piled up at 0: none lies below -3,000, none above
    10,000, and nothing was measured there."""
    rows = table("value", rows=[(k * k,) for k in range(60)])
    found = told("capability", rows, "--lower", "-3000", "--upper", "10000")
    assert found["method"] == "percentile"
    assert found["outside"] == {"below": None, "above": None}
    most = 1 - 0.05 ** (1 / 60)
    assert found["outside_seen"]["below"] == {
        **{"count": 0, "share": 0.0, "low": 0.0},
        "high": pytest.approx(most, rel=1e-9),
    }
    assert found["ppk_interval"] is None
    notes = "; ".join(found["notes"])
    assert "no bounds" in notes
    # 1 - 0.05^(1/60), none of 60 (Clopper and Pearson 1934).
    assert "none of 60 values lies below: the share there is less than 1/60" in notes
    assert "below 4.87% with 95 %" in notes
    within = told("capability", rows, "--lower", "100", "--upper", "2500")
    assert all(0 < share < 1 for share in within["outside"].values())
    far = told("capability", rings(), "--lower", "0", "--upper", "74.05")
    assert far["method"] == "normal" and far["outside"]["below"] is None
    assert any("less than can be reckoned" in note for note in far["notes"])


def test_a_gauge_whose_steps_hide_its_spread_has_no_share_and_no_bounds(told):
    cells = [(part, who, part) for part in range(9) for who in "AB" for _ in "12"]
    found = told(
        "gauge_study", table("part", "person", "value", rows=cells), "--tolerance", "4"
    )
    assert found["sd"]["gauge"] == 0
    for where in (found, found["intervals"]):
        assert where["share_of_total"] is where["share_of_tolerance"] is None
    assert found["intervals"]["gauge"] is found["intervals"]["repeatability"] is None
    assert found["range_method"]["share_of_total"] is None
    assert "read the same whoever read it" in found["notes"][0]
    rows = [(p, w, p + (w == "A") / 8) for p, w, _ in cells]
    again = told("gauge_study", table("part", "person", "value", rows=rows))
    assert again["sd"]["gauge"] > 0 and again["share_of_total"] > 0
    assert again["intervals"]["repeatability"] is None
    assert "the same each time" in again["notes"][0]


@pytest.mark.parametrize("command", ["capability", "chart"])
@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("value\n1\n\n3\n4\n5\n", 3),
        ('value\n1\n""\n3\n4\n5\n', 3),
        ("value\r\n1\r\n2\r\n  \r\n4\r\n", 4),
        ('value\n1\n2\n3\n""\n', 5),
        ("value,subgroup\n1,a\n\n2,a\n,\n3,b\n4,b\n,\n", 5),
    ],
)
def test_an_empty_line_among_values_is_a_missing_cell(run, command, text, line):
    code, out, err = run(command, text, *COMMANDS[command], "--json")
    assert (code, out) == (3, "")
    assert f":{line}: value: is empty; leave the row out" in err


def test_empty_lines_at_the_end_are_no_cells(run):
    whole = run("chart", "value\n1\n2\n4\n3\n", "--json")
    assert whole[0] == 0
    assert run("chart", "value\n1\n2\n4\n3\n\n  \n\n", "--json") == whole


def test_a_missing_cell_names_itself_and_the_lines_that_it_belongs_to(run):
    cells = [(part, who, part) for part in (1, 2, 3) for who in "AB" for _ in "12"]
    no_cell = [row for row in cells if row[:2] != (2, "B")]
    _, _, err = run("gauge_study", table("part", "person", "value", rows=no_cell))
    assert "file.csv:7: part 2 by B: 0 of 2 values" in err
    assert "part 2 stands in lines 6 to 7; B stands in lines 4 to 5, 10 to 11" in err
    one_short = table("part", "person", "value", rows=cells[:-1])
    _, _, err = run("gauge_study", one_short)
    assert "file.csv:12: part 3 by B: 1 of 2 values" in err
    assert "it stands in line 12" in err
    code, _, err = run(
        "gauge_study", table("part", "person", "value", rows=[*cells, (1, "A", 1)])
    )
    assert code == 3 and "file.csv:14: part 1 by A: 3 of 2 values" in err
    assert err.count("values;") == 1
    # Parts by people would be 10^8 cells: 100 are named, whatever there is.
    alone = [(f"P{k}", f"W{k}", 1) for k in range(10_000)]
    table_of = table("part", "person", "value", rows=alone)
    code, _, err = run("gauge_study", table_of)
    assert code == 3 and "part P0 by W1: 0 of 1 values" in err


def test_trend_tells_the_agreed_keys(told):
    """Values: NIST e-Handbook 4.5.1, as in tests/numeric."""
    found = told("trend", pressures(), "--limit", "178", "--at", "25,65")
    assert list(found) == [
        *("slope", "slope_se", "intercept", "sd", "r2", "p_slope"),
        *("reaches", "prediction", "breaks"),
    ]
    assert found["reaches"] == {
        "pull": pytest.approx(43.3193, abs=1e-4),
        "low": pytest.approx(41.0756, abs=1e-4),
        "high": pytest.approx(45.5615, abs=1e-4),
    }
    band = {row["pull"]: row for row in found["prediction"]}
    assert band[65] == {
        "pull": 65,
        "value": pytest.approx(263.2081, abs=1e-4),
        "low": pytest.approx(254.1479, abs=1e-4),
        "high": pytest.approx(272.2683, abs=1e-4),
    }
    wide = told("trend", pressures(), "--limit", "178", "--level", "0.99")
    assert wide["reaches"]["high"] > found["reaches"]["high"]


@pytest.mark.parametrize("command", ["capability", "chart"])
def test_a_subgroup_that_comes_back_later_is_refused_and_not_merged(run, command):
    rows = [("1.1", "a"), ("1.2", "b"), ("1.3", "a"), ("1.5", "b"), ("1.0", "c")]
    limits = COMMANDS[command]
    code, out, err = run(command, table("value", "subgroup", rows=rows), *limits)
    assert (code, out) == (3, "")
    assert ":4: subgroup: a goes on after another subgroup began" in err
    assert ":5: subgroup: b goes on" in err and ": c goes on" not in err


def test_chart_tells_the_agreed_keys(told):
    """Values: Montgomery table 6.3; NIST e-Handbook 6.3.2.2."""
    found = told("chart", rings())
    assert list(found) == ["kind", "center", "lower", "upper", "spread", "signals"]
    assert found["kind"] == "mean_range"
    assert (found["lower"], found["upper"]) == pytest.approx((73.988, 74.014), abs=1e-3)
    assert list(found["spread"]) == ["kind", "center", "lower", "upper"]
    assert found["spread"]["upper"] == pytest.approx(0.049, abs=5e-4)
    flow = [*published.load("imr_nist_6_3_2_2")["data"], 62]
    single = told("chart", table("value", rows=[(one,) for one in flow]))
    assert (single["kind"], single["spread"]["kind"]) == ("individuals", "moving_range")
    assert {"at": 11, "rule": "western_electric_1"} in single["signals"]


def test_limits_of_unequal_subgroups_are_lists(told):
    """The spread too: the seventh, of one value, has none."""
    rows = [(k % 3 + k / 10, k // 3) for k in range(19)]
    found = told("chart", table("value", "subgroup", rows=rows))
    for name in ("center", "lower", "upper"):
        spread = found["spread"][name]
        assert len(found[name]) == len(spread) == 7
        assert spread[6] is None and None not in spread[:6]


def test_repairs_are_breaks_however_the_mark_is_written(told):
    rows = [
        (k, round(0.1 * k - (0.8 if k > 6 else 0) + k % 2 / 50, 2)) for k in range(13)
    ]
    marked = {"yes": "yes", "1": "1", "word": "new gelcoat"}
    answers = []
    for mark in (*marked.values(), "no"):
        text = table(
            *("pull", "value", "break"),
            rows=[(*row, mark if row[0] == 7 else "") for row in rows],
        )
        answers.append(told("trend", text, "--limit", "1"))
    assert answers[0] == answers[1] == answers[2] != answers[3]
    assert answers[0]["slope"] == pytest.approx(0.1, abs=0.005)
    numbered = [(*row, int(row[0] >= 7)) for row in rows]
    text = table("pull", "value", "break", rows=numbered[::-1])
    assert told("trend", text, "--limit", "1") == answers[0]
    # Marked at two pulls running, and then no more: two repairs.
    twice = [(*row, "x" if row[0] in (7, 8) else "") for row in rows]
    found = told("trend", table("pull", "value", "break", rows=twice), "--limit", "1")
    apart = [(*row, {7: "x", 8: "y"}.get(row[0], "")) for row in rows]
    text = table("pull", "value", "break", rows=apart)
    assert told("trend", text, "--limit", "1") == found != answers[0]
    assert found["breaks"] == [7, 8] and answers[0]["breaks"] == [7]
    # To the end too, where they are no whole numbers, which number stretches there.
    whole = (("1", [11]), ("1.0", [11]), ("01", [11]), ("0.0", []))
    for mark, breaks in (("x", [11, 12]), ("1.5", [11, 12]), *whole):
        ended = [(*row, mark if row[0] > 10 else "") for row in rows]
        text = table("pull", "value", "break", rows=ended)
        assert told("trend", text, "--limit", "1")["breaks"] == breaks, mark
    # Before the first pull nothing is told apart, whatever is marked.
    first = [(*row, "new" if row[0] in (0, 7) else "") for row in rows]
    text = table("pull", "value", "break", rows=first)
    assert told("trend", text, "--limit", "1") == answers[0]


@pytest.mark.parametrize("command", COMMANDS)
def test_people_are_told_the_same_in_words(run, command):
    text = {"gauge_study": manual, "trend": pressures}.get(command, rings)()
    code, out, err = run(command, text, *COMMANDS[command])
    assert (code, err) == (0, "")
    words = {
        "capability": "Cpk",
        "gauge_study": "Good enough for limits of ±9.1",
        "trend": "It reaches the limit at pull 43.3 (41.1 to 45.6).",
        "chart": "Western Electric 1956: no signals",
    }
    assert words[command] in out
    assert "None" not in out


CANNOT_TELL = [
    ("capability", table("value", rows=[(1,), (2,)]), "at least 8"),
    ("capability", table("value", rows=[(74,)] * 20), "no spread"),
    ("gauge_study", table("part", "person", "value", rows=[(1, "a", 2)]), "one part"),
    (
        "gauge_study",
        table("part", "person", "value", rows=[(k // 2, "a", k) for k in range(8)]),
        "one person",
    ),
    (
        "gauge_study",
        table(
            *("part", "person", "value"),
            rows=[(k // 4, "ab"[k % 2], 3) for k in range(12)],
        ),
        "no spread",
    ),
    ("trend", table("pull", "value", rows=[(1, 1), (2, 2)]), "at least 3"),
    ("trend", table("pull", "value", rows=[(k, 5) for k in range(9)]), "do not vary"),
    ("chart", table("value", rows=[(1,), (2,)]), "at least 3"),
    ("chart", table("value", rows=[(1,)] * 9), "no spread"),
    (
        "chart",
        table("value", "subgroup", rows=[(k, "a") for k in range(9)]),
        "one subgroup",
    ),
]


@pytest.mark.parametrize(("command", "text", "why"), CANNOT_TELL)
def test_what_the_file_does_not_tell_ends_with_two_and_nulls(run, command, text, why):
    code, out, err = run(command, text, *COMMANDS[command], "--json")
    assert code == 2
    assert "cannot tell" in err
    assert why in err
    found = json.loads(out, parse_constant=pytest.fail)
    never = {"cpk", "distinct_categories", "slope", "center"} & set(found)
    assert [found[name] for name in never] == [None]
    code, out, err = run(command, text, *COMMANDS[command])
    assert code == 2
    assert why in err


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("", "empty"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("1e200", "out of range"),
        ('"1,5"', "decimal point"),
        ("=1+1", "not a number"),
    ],
)
def test_a_bad_cell_ends_with_three_and_its_place(run, command, cell, why):
    names = COLUMNS[command].split(",")
    rows = [[k if name != "break" else "" for name in names] for k in range(1, 12)]
    rows[3][names.index("value")] = cell
    code, out, err = run(command, table(*names, rows=rows), *COMMANDS[command])
    assert (code, out) == (3, "")
    assert "file.csv:5: value:" in err
    assert why in err


@pytest.mark.parametrize(
    ("command", "text", "options", "why"),
    [
        ("capability", rings(), (), "must be given"),
        ("capability", rings(), ("--lower", "2", "--upper", "1"), "is above"),
        (
            "capability",
            table("value", rows=[(k,) for k in range(20)]),
            ("--upper", "30", "--within", "sbar"),
            "needs subgroups",
        ),
        ("gauge_study", manual().rsplit("\n", 2)[0], (), "part 10 by C: 2 of 3 values"),
        ("gauge_study", manual(), ("--tolerance", "-1"), "more than 0"),
        ("trend", pressures(), ("--limit", "9", "--level", "2"), "level"),
        *((name, f"{COLUMNS[name]}\n", COMMANDS[name], "no rows") for name in COMMANDS),
        ("chart", "", (), "empty"),
        ("chart", b"\x00\x01", (), "binary"),
        ("chart", "value,group\n1,2\n", (), "not known"),
        ("trend", "pull\n1\n", ("--limit", "9"), "value: the column is missing"),
        ("chart", "value,subgroup\n1,\n", (), ":2: subgroup: must be 1 to 60"),
        ("chart", "value\n1\n2,3\n", (), ":3: 2 cells where the header has 1"),
    ],
)
def test_bad_input_ends_with_three_and_says_where_and_why(
    run, command, text, options, why
):
    code, out, err = run(command, text, *options, "--json")
    assert (code, out) == (3, "")
    assert "file.csv" in err
    assert why in err


@pytest.mark.parametrize(
    ("command", "options"),
    [
        ("chart", ["f.csv", "--rules", "of thumb"]),
        ("capability", ["f.csv", "--lower", "nan"]),
        ("trend", ["f.csv"]),
        ("gauge_study", []),
    ],
)
def test_a_bad_option_ends_with_three(capsys, command, options):
    made = load_command_class("qa", command).create_parser("manage.py", command)
    with pytest.raises(SystemExit) as end:
        made.parse_args(options)
    assert end.value.code == 3
    assert command in capsys.readouterr().err


NUMBERS = st.sampled_from(["0", "1", "1.5", "-2", "0.001", "3e28", "-1e-28", "74.01"])
ODD = st.sampled_from(["", "nan", "inf", "1e200", "x", "1 2", "-", "0x10", "1e", "\t"])
CELLS = st.one_of(NUMBERS, NUMBERS, NUMBERS, NUMBERS, NUMBERS, NUMBERS, ODD)


@pytest.mark.parametrize("command", COMMANDS)
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_whatever_the_file_holds_there_is_one_answer(run, command, data):
    """Answered, cannot tell or bad input; strict JSON or none; no traceback."""
    names = COLUMNS[command].split(",")
    cells = data.draw(st.sampled_from([NUMBERS, CELLS]))
    row = st.lists(cells, min_size=len(names), max_size=len(names))
    rows = data.draw(st.lists(row, min_size=0, max_size=14))
    text = table(*names, rows=rows)
    code, out, err = run(command, text, *COMMANDS[command], "--json")
    assert code in (0, 2, 3)
    assert bool(err) == bool(code)
    assert bool(out) == (code != 3)
    if out:
        json.loads(out, parse_constant=pytest.fail)
    assert run(command, text, *COMMANDS[command])[0] == code
