"""`plan_shims` as it is run: three files in, stacks and an exit code out."""

import io
import json

import pytest
from django.core.management import call_command

JOINT = """station,x_mm,y_mm,normal_x,normal_y,flush_min_mm,flush_max_mm
1,-100,-50,-1,-1,-0.3,0.3
2,100,-50,1,-1,-0.3,0.3
3,100,50,1,1,-0.3,0.3
4,-100,50,-1,1,-0.3,0.3
"""
READINGS = """station,gap_mm,flush_mm
1,,0
2,,-1
3,,-1
4,,0
"""
POINTS = """point,x_mm,y_mm,shim_mm
A,-100,-50,0.25
B,100,-50,0.25
C,100,50,0.25
D,-100,50,0.25
"""


def run(tmp_path, *options, joint=JOINT, readings=READINGS, points=POINTS):
    """(exit code, standard output, standard error)"""
    paths = []
    for name, text in (("joint", joint), ("readings", readings), ("points", points)):
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    options = options or ("--stock", "0.25,0.5,1.0", "--most", "3")
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("plan_shims", *map(str, paths), *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


STOCK = ("--stock", "0.25,0.5,1.0", "--most", "3")


def test_a_tilted_part_is_leveled_and_the_keys_are_those_documented(tmp_path):
    """By hand: the right side is 1 mm low and gets 1 mm more than its 0.25."""
    code, out, err = run(tmp_path, *STOCK, "--json")
    plan = json.loads(out)
    assert (code, err) == (0, "")
    assert list(plan) == [
        "points",
        "worst_before",
        "worst_after",
        "conforms",
        "shims_used",
        "judged",
    ]
    assert plan["points"][1] == {
        "point": "B",
        "shim_now_mm": 0.25,
        "shim_mm": 1.25,
        "stack": [1.0, 0.25],
        "loose_mm": 0.0,
    }
    assert [point["shim_mm"] for point in plan["points"]] == [0.25, 1.25, 1.25, 0.25]
    assert plan["worst_before"] == pytest.approx(1 / 0.3)
    assert plan["worst_after"] == pytest.approx(0, abs=1e-6)
    assert plan["conforms"] is True
    assert plan["shims_used"] == 6
    # All four stacks lie in one plane, so that every three of them make it.
    assert len(plan["judged"]["rests_on"]) == 4
    assert plan["judged"]["governing"] in plan["judged"]["rests_on"]
    assert plan["judged"]["all_choices_tried"] is True


def test_the_text_says_what_to_fetch(tmp_path):
    code, out, _ = run(tmp_path)
    assert code == 0
    assert "To fetch: 4 x 0.25, 2 x 1 (mm)." in out
    assert "conforms with these stacks" in out


def test_a_step_that_shims_cannot_cure_ends_with_one_and_says_so(tmp_path):
    twisted = "station,gap_mm,flush_mm\n1,,0.5\n2,,-0.5\n3,,0.5\n4,,-0.5\n"
    code, out, _ = run(tmp_path, readings=twisted)
    assert code == 1
    assert "Shims cannot cure that" in out


def test_a_stock_that_is_too_coarse_ends_with_one_and_says_so(tmp_path):
    code, out, _ = run(tmp_path, "--stock", "0.25", "--most", "2")
    assert code == 1
    assert "with this stock" in out


def test_a_part_that_rocks_is_told_with_the_points_it_rests_on(tmp_path):
    """By hand: with nothing thinner than 5 mm all stacks go, and A falls by 0.65, the
    others by 0.25: the part rests on B, D and either C or A, which rock."""
    flat = READINGS.replace("-1", "0")
    odd = POINTS.replace("A,-100,-50,0.25", "A,-100,-50,0.65")
    code, out, _ = run(tmp_path, "--stock", "5", points=odd, readings=flat)
    assert code == 1
    assert "the worst of 2 ways" in out
    assert "do not draw it down" in out


def test_a_guarded_rule_draws_the_limits_in(tmp_path):
    """By hand: u 0.05 takes 1.6449 x 0.05 from 0.3 on both sides (T/u is 12)."""
    options = (*STOCK, "--json", "--rule", "guarded", "--uncertainty-mm", "0.05")
    _, out, _ = run(tmp_path, *options)
    half = 0.3 - 1.6448536 * 0.05
    assert json.loads(out)["worst_before"] == pytest.approx(1 / half, abs=1e-4)


def test_a_station_without_a_flushness_reading_takes_no_part(tmp_path):
    """By hand: the three measured corners are flush, so nothing is to be done."""
    some = "station,gap_mm,flush_mm\n1,,0\n2,,0\n3,1.0,\n4,,0\n"
    code, out, _ = run(tmp_path, *STOCK, "--json", readings=some)
    assert code == 0
    assert [p["shim_mm"] for p in json.loads(out)["points"]] == [0.25] * 4


BARE = READINGS.replace(",-1", ",").replace(",0", ",")


@pytest.mark.parametrize(
    ("files", "options", "why"),
    [
        (
            {"points": "point,x_mm,y_mm\nA,0,0\n"},
            STOCK,
            "shim_mm or shim_in: the column",
        ),
        (
            {"points": POINTS + "A,0,0,0\n"},
            STOCK,
            "points.csv:6: point: point A is there",
        ),
        ({"points": POINTS + "E,0,,0\n"}, STOCK, "points.csv:6: y_mm: is empty"),
        ({"points": POINTS + "E,0,0,-1\n"}, STOCK, "shim_mm: a stack of shims cannot"),
        ({"points": POINTS + "E,0,x,0\n"}, STOCK, "y_mm: 'x' is not a number"),
        (
            {"points": "point,x_mm,y_mm,shim_mm\nA,0,0,0\nB,9,0,0\n"},
            STOCK,
            "2 attach points",
        ),
        (
            {"points": "point,x_mm,y_mm,shim_mm\nA,0,0,0\nB,9,0,0\nC,20,0,0\n"},
            STOCK,
            "in a line",
        ),
        ({"readings": BARE}, STOCK, "no station has both"),
        ({"joint": "station,x_mm\n1,0\n"}, STOCK, "joint.csv:1: y_mm"),
        ({}, ("--stock", "0.25", "--most", "0"), "must be 1 to"),
        ({}, (*STOCK, "--rule", "guarded"), "needs --uncertainty-mm"),
        (
            {},
            (*STOCK, "--rule", "guarded", "--uncertainty-mm", "0.2"),
            "too narrow for guarded",
        ),
    ],
)
def test_bad_input_ends_with_three_and_says_where_and_why(
    tmp_path, files, options, why
):
    code, out, err = run(tmp_path, *options, **files)
    assert (code, out) == (3, "")
    assert why in err


@pytest.mark.parametrize("text", ["", "0.25,,1", "0.25,thick", "nan"])
def test_a_stock_that_is_no_list_of_thicknesses_ends_with_three(text, capsys):
    from django.core.management import load_command_class

    parser = load_command_class("qa", "plan_shims").create_parser(
        "manage.py", "plan_shims"
    )
    with pytest.raises(SystemExit) as end:
        parser.parse_args(["a.csv", "b.csv", "c.csv", "--stock", text])
    assert end.value.code == 3
    assert "--stock" in capsys.readouterr().err
