"""`plan_fit --adjusters` as it is run: a file of adjusters in, settings out."""

import io
import json

import pytest
from django.core.management import call_command

from tests.qa.test_plan_fit import FITS, JOINT, TIGHT

HEADER = "name,x_mm,y_mm,z_mm,dir_x,dir_y,dir_z,min_mm,max_mm,step_mm,now_mm,set_u_mm"
BOLTS = f"""{HEADER}
upper hinge fore,-100,60,0,1,0,0,-2,2,0.1,0,0.02
lower hinge fore,-100,-60,0,1,0,0,-2,2,0.1,0,
latch up,100,0,0,0,1,0,-2,2,0.25,0,
"""


def run(tmp_path, readings, adjusters, *options):
    """(exit code, standard output, standard error)"""
    paths = []
    for name, text in (("joint", JOINT), ("readings", readings), ("bolts", adjusters)):
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    joint, read, bolts = map(str, paths)
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command(
            *("plan_fit", joint, read, "--adjusters", bolts, *options),
            stdout=out,
            stderr=err,
        )
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def test_settings_and_what_they_do_are_told(tmp_path):
    code, out, err = run(tmp_path, FITS, BOLTS, "--json")
    plan = json.loads(out)
    assert (code, err) == (0, "")
    # Right 1.2, left 2.8: 0.8 to the left, 8 steps at each hinge.
    assert plan["settings"] == [
        {"name": "upper hinge fore", "steps": -8, "change_mm": -0.8},
        {"name": "lower hinge fore", "steps": -8, "change_mm": -0.8},
        {"name": "latch up", "steps": 0, "change_mm": 0.0},
    ]
    assert plan["set"]["conforms"] is True
    assert plan["set"]["worst_after"] == 0
    assert plan["set"]["probability"] is None
    assert [s["gap_after_mm"] for s in plan["set"]["stations"]] == [2.0] * 4
    code, out, _ = run(tmp_path, FITS, BOLTS)
    assert "upper hinge fore: -0.8 mm, 8 steps to -0.8 mm" in out
    assert "deg" not in out


def test_what_the_settings_leave_is_cut(tmp_path):
    code, out, _ = run(tmp_path, TIGHT, BOLTS, "--json")
    plan = json.loads(out)
    assert code == 1
    # 0.6 on both sides: wherever it is set along x, 0.8 in all would come off. Turned,
    # it is a little narrower, and the least area counts before the least movement.
    trimmed = [one for one in plan["trim"]["stations"] if one["trim_mm"]]
    assert [one["station"] for one in trimmed] == ["R", "L"]
    assert [one["gap_after_mm"] for one in trimmed] == [1.0, 1.0]
    assert 0.7 < sum(one["trim_mm"] for one in trimmed) <= 0.8
    assert plan["set"]["conforms"] is False
    code, out, _ = run(tmp_path, TIGHT, BOLTS, "--json", "--trim", "none")
    assert code == 2
    assert 1.3 < json.loads(out)["set"]["worst_after"] <= 1.4


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("", "there are no adjusters"),
        ("a,0,0,0,0,0,0,-1,1,0.1,0,", "bolts.csv:2: dir_x: the direction has no"),
        ("a,0,0,0,1,0,0,-1,1,0,0,", "bolts.csv:2: step_mm: the step must be more"),
        ("a,0,0,0,1,0,0,2,1,0.1,0,", "bolts.csv:2: min_mm: the least 2 mm is above"),
        ("a,0,0,0,1,0,0,-1,1,0.1,3,", "bolts.csv:2: now_mm: set to 3 mm now"),
        ("a,0,0,0,1,0,0,-1,1,0.1,0,-1", "bolts.csv:2: set_u_mm: the setting unc"),
        ("a,0,0,0,1,0,0,-1,1,,0,", "bolts.csv:2: step_mm: is empty"),
        ("a,0,0,0,1,x,0,-1,1,0.1,0,", "bolts.csv:2: dir_y: 'x' is not a number"),
        (",0,0,0,1,0,0,-1,1,0.1,0,", "bolts.csv:2: name: the name must be"),
        ("a,0,0,0,1,0,0,-90,90,0.001,0,", "bolts.csv:2: step_mm: more than 10000"),
        (
            "a,0,0,0,1,0,0,-1,1,0.1,0,\na,0,0,0,0,1,0,-1,1,0.1,0,",
            "bolts.csv:3: name: a is there twice (first in line 2)",
        ),
        (
            "\n".join(f"a{k},0,0,0,1,0,0,-1,1,0.1,0," for k in range(13)),
            "bolts.csv:14: 13 adjusters; at most 12",
        ),
    ],
)
def test_adjusters_that_cannot_be_end_with_3_and_one_clear_line(tmp_path, row, reason):
    code, out, err = run(tmp_path, FITS, f"{HEADER}\n{row}\n")
    assert (code, out) == (3, "")
    assert reason in err and len(err.strip().splitlines()) == 1


def test_a_column_that_lacks_is_named(tmp_path):
    code, _, err = run(tmp_path, FITS, BOLTS.replace("step_mm", "stop_mm"))
    assert code == 3 and "stop_mm" in err and len(err.strip().splitlines()) <= 2


def test_adjusters_beside_motions_end_with_3(tmp_path):
    motions = tmp_path / "motions.json"
    motions.write_text(
        '{"motions": [{"name": "x", "translation": [1, 0, 0], "min": -1, "max": 1}]}'
    )
    code, _, err = run(tmp_path, FITS, BOLTS, "--motions", str(motions))
    assert code == 3 and "--adjusters: " in err
