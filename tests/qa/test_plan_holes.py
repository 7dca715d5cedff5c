"""`plan_holes` as it is run: files in, text or JSON and an exit code out."""

import io
import json

import pytest
from django.core.management import call_command

HEADER = "hole,x_mm,y_mm,measured_x_mm,measured_y_mm,zone_mm"
SIZES = ",hole_mm,mmc_mm,hole_max_mm,edge_mm,fastener_mm"
GOOD = f"""{HEADER}{SIZES}
A,0,0,0.003,0.004,0.010,,,,6,3
B,50,0,50.05,-0.12,0.2,3.08,3.0,3.1,7.5,3
C,50,40,50.02,40.01,0.2,3.05,3.0,3.1,,3.2
"""


def run(tmp_path, text, *options):
    """(exit code, standard output, standard error)"""
    path = tmp_path / "holes.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("plan_holes", str(path), *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def test_a_pattern_that_conforms_ends_with_zero_and_the_documented_keys(tmp_path):
    code, out, err = run(tmp_path, GOOD, "--json")
    plan = json.loads(out)
    assert (code, err) == (0, "")
    assert list(plan) == ["holes", "best_fit", "pitch"]
    assert plan["holes"][0] == {
        "hole": "A",
        "position_mm": pytest.approx(0.010),
        "allowed_mm": 0.010,
        "conforms": True,
        "edge_ratio": 2.0,
    }
    assert plan["holes"][1]["position_mm"] == pytest.approx(0.26)
    assert plan["holes"][1]["allowed_mm"] == pytest.approx(0.28)
    assert plan["holes"][2]["edge_ratio"] is None
    assert set(plan["best_fit"]["least_squares"]) == {
        "x_mm",
        "y_mm",
        "turn_deg",
        "rms_mm",
    }
    assert set(plan["best_fit"]["minimax"]) == {"x_mm", "y_mm", "turn_deg", "worst_mm"}
    assert plan["pitch"]["pair"] == ["B", "C"]
    assert plan["pitch"]["least_ratio"] == pytest.approx(40.13 / 3.2, abs=1e-3)


def test_the_best_fit_moves_measured_onto_nominal(tmp_path):
    """By hand: every hole measured 0.2 right and 0.1 down of nominal."""
    rows = ["A,0,0,0.2,-0.1,1", "B,60,0,60.2,-0.1,1", "C,0,60,0.2,59.9,1"]
    _, out, _ = run(tmp_path, "\n".join([HEADER, *rows]), "--json")
    for fit in json.loads(out)["best_fit"].values():
        assert fit["x_mm"] == pytest.approx(-0.2, abs=1e-9)
        assert fit["y_mm"] == pytest.approx(0.1, abs=1e-9)
        assert fit["turn_deg"] == pytest.approx(0.0, abs=1e-9)


def test_a_hole_out_of_place_ends_with_one_and_is_named(tmp_path):
    code, out, _ = run(tmp_path, f"{HEADER}\nA,0,0,0.2,0,0.1\n")
    assert code == 1
    assert "does not conform: position" in out
    assert "1 of 1 do not conform" in out


def test_a_hole_out_of_size_ends_with_one(tmp_path):
    row = "A,0,0,0,0,0.1,5.12,5,5.1,,"
    code, out, _ = run(tmp_path, f"{HEADER}{SIZES}\n{row}\n")
    assert code == 1
    assert "does not conform: size" in out


@pytest.mark.parametrize("limits", ["5,5.1", "5,", ",5.1"])
def test_a_hole_whose_size_has_limits_and_was_not_measured_is_not_said_to_conform(
    tmp_path, limits
):
    row = f"A,0,0,0,0,0.1,,{limits},,"
    code, out, _ = run(tmp_path, f"{HEADER}{SIZES}\n{row}\n")
    assert code == 2
    assert "not measured: size" in out and "no size of A" in out
    code, out, _ = run(tmp_path, f"{HEADER}{SIZES}\n{row}\n", "--json")
    assert (code, json.loads(out)["holes"][0]["conforms"]) == (2, None)


def test_inches_semicolons_and_a_byte_order_mark_are_read(tmp_path):
    text = (
        "\ufeffhole;x_in;y_in;measured_x_in;measured_y_in;zone_in\r\n"
        "A;1;1;1.0015;1.002;0.005\r\n"
    )
    code, out, _ = run(tmp_path, text, "--json")
    hole = json.loads(out)["holes"][0]
    assert code == 0
    assert hole["position_mm"] == pytest.approx(0.005 * 25.4)
    assert hole["allowed_mm"] == pytest.approx(0.127)
    assert hole["conforms"]


def test_a_pattern_without_fasteners_has_no_pitch(tmp_path):
    _, out, _ = run(tmp_path, f"{HEADER}\nA,0,0,0,0,0.1\n", "--json")
    assert json.loads(out)["pitch"] == {"least_ratio": None, "pair": None}


@pytest.mark.parametrize(
    ("text", "place", "why"),
    [
        ("hole,x_mm,y_mm\nA,0,0\n", "measured_x_mm", "column is missing"),
        (f"{HEADER.replace('hole', 'name', 1)}\nA,0,0,0,0,1\n", ":1:", "not known"),
        (f"{HEADER},hole_cm\nA,0,0,0,0,1,5\n", "hole_cm", "unit 'cm' is not known"),
        (f"{HEADER}\nA,0,0,nan,0,1\n", ":2: measured_x_mm", "not a number"),
        (f"{HEADER}\nA,0,0,0,0,\n", ":2: zone_mm", "is empty"),
        (f"{HEADER}\nA,0,0,0,0,-1\n", ":2: zone_mm", "0 or more"),
        (f"{HEADER}\nA,0,0,0,0,1\nA,0,0,0,0,1\n", ":3: hole", "there twice"),
        (f"{HEADER}\n,0,0,0,0,1\n", ":2: hole", "plain characters"),
        (f"{HEADER}\n", ":1", "no holes"),
        (
            f"{HEADER}{SIZES}\nA,0,0,0,0,1,5,5.1,5,,\n",
            ":2: mmc_mm",
            "above the largest",
        ),
        (f"{HEADER}{SIZES}\nA,0,0,0,0,1,,,,5,0\n", ":2: fastener_mm", "more than 0"),
        (b"\x00\x01\x02", ":1", "binary"),
        ("", ":1", "empty"),
    ],
)
def test_bad_input_ends_with_three_and_says_where_and_why(tmp_path, text, place, why):
    code, out, err = run(tmp_path, text)
    assert (code, out) == (3, "")
    assert "holes.csv" in err
    assert place in err
    assert why in err


def test_a_file_that_is_not_there_is_bad_input(tmp_path):
    err = io.StringIO()
    with pytest.raises(SystemExit) as end:
        call_command("plan_holes", str(tmp_path / "none.csv"), stderr=err)
    assert end.value.code == 3
    assert "cannot be read" in err.getvalue()


def test_a_missing_argument_ends_with_three(capsys):
    from django.core.management import load_command_class

    parser = load_command_class("qa", "plan_holes").create_parser(
        "manage.py", "plan_holes"
    )
    with pytest.raises(SystemExit) as end:
        parser.parse_args([])
    assert end.value.code == 3
    assert "HOLES.csv" in capsys.readouterr().err
