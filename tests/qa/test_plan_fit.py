"""`plan_fit` as it is run: two files in, a plan and an exit code out, no database."""

import io
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from django.core.management import call_command

from tests.numeric import exactly

HEADER = (
    "station,x_mm,y_mm,normal_x,normal_y,"
    "gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm"
)
JOINT = f"""{HEADER}
R,100,0,1,0,1,3,-0.5,0.5
T,0,100,0,1,1,3,-0.5,0.5
L,-100,0,-1,0,1,3,-0.5,0.5
B,0,-100,0,-1,1,3,-0.5,0.5
"""
FITS = "station,gap_mm,flush_mm\nR,1.2,0\nT,2,0\nL,2.8,0\nB,2,0\n"
TIGHT = "station,gap_mm,flush_mm\nR,0.6,0\nT,2,0\nL,0.6,0\nB,2,0\n"
STEP = "station,gap_mm,flush_mm\nR,2,2\nT,2,-2\nL,2,2\nB,2,-2\n"
HINGE = {"name": "swing", "rotation": [0, 0, 2], "origin": [-100, 0, 0]}


def run(tmp_path, readings, *options, joint=JOINT):
    """(exit code, standard output, standard error)"""
    paths = []
    for name, text in (("joint", joint), ("readings", readings)):
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("plan_fit", *map(str, paths), *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def planned(tmp_path, readings, *options, **files):
    code, out, err = run(tmp_path, readings, "--json", *options, **files)
    assert not err
    return code, json.loads(out)


def test_a_part_that_fits_by_a_move_ends_with_0(tmp_path):
    code, plan = planned(tmp_path, FITS)
    assert code == 0
    seat = plan["seat"]
    assert set(seat) >= {"x_mm", "y_mm", "turn_deg"}
    # Right 1.2 - x, left 2.8 + x are both 2 at x = -0.8.
    assert seat["x_mm"] == pytest.approx(-0.8, abs=1e-6)
    assert seat["worst_before"] == pytest.approx(0.8)
    assert seat["worst_after"] == pytest.approx(0, abs=1e-6)
    assert seat["conforms"] is True
    assert plan["level"]["conforms"] is True
    assert set(plan["level"]) >= {"z_mm", "tilt_x_deg", "tilt_y_deg"}
    assert plan["held"] == ["turn"]
    assert plan["probability"] is None
    assert plan["trim"]["needed"] is False and plan["trim"]["possible"] is True


def test_a_part_that_must_be_cut_ends_with_1(tmp_path):
    code, plan = planned(tmp_path, TIGHT, "--uncertainty-mm", "0.1")
    assert code == 1
    trim = plan["trim"]
    # 0.8 in all must come off; length weights are 141.421356.
    assert trim["area_mm2"] == pytest.approx(0.8 * 141.421356, rel=1e-6)
    assert trim["needed"] and trim["possible"]
    assert trim["build_up_mm2"] == trim["unresolved_mm2"] == 0
    assert set(trim["stations"][0]) == {
        *("station", "gap_now_mm", "trim_mm", "build_up_mm"),
        *("gap_after_mm", "unresolved_mm", "next_bite_mm"),
    }
    assert [s["station"] for s in trim["stations"]] == list("RTLB")
    # Both cut sides end on the limit: one half each, the others never fail.
    assert plan["probability"] == pytest.approx(0.25, abs=1e-4)


def test_a_part_that_cannot_fit_as_allowed_ends_with_2(tmp_path):
    code, plan = planned(tmp_path, TIGHT, "--trim", "none")
    assert code == 2
    assert plan["trim"]["possible"] is False
    assert plan["trim"]["unresolved_mm2"] == pytest.approx(0.8 * 141.421356, rel=1e-6)
    assert plan["trim"]["area_mm2"] == 0


def test_a_step_that_leveling_cannot_cure_ends_with_2(tmp_path):
    code, plan = planned(tmp_path, STEP)
    assert code == 2
    assert plan["seat"]["conforms"] and not plan["level"]["conforms"]


def test_what_was_not_measured_is_null_and_nothing_is_said_of_it(tmp_path):
    code, plan = planned(tmp_path, "station,gap_mm,flush_mm\nR,,0.1\nT,,0\n")
    assert code == 2
    assert plan["seat"] is None and plan["trim"] is None
    code, plan = planned(tmp_path, "station,gap_mm,flush_mm\nR,1.5,\nL,2,\n")
    assert code == 2
    assert plan["level"] is None
    assert [s["station"] for s in plan["trim"]["stations"]] == ["R", "L"]


def test_one_of_eight_measured_does_not_make_it_fit(tmp_path):
    one = "station,gap_mm,flush_mm\nR,2,\n"
    code, plan = planned(tmp_path, one, "--uncertainty-mm", "0.01")
    assert code == 2
    judged = plan["judged"]
    assert (judged["with_limits"], judged["measured"]) == (8, 1)
    assert judged["complete"] is False
    told = " ".join(plan["notes"])
    assert "gap not measured at T, L, B: outcome and probability say nothing" in told
    assert "flushness not measured at R, T, L, B" in told
    code, out, _ = run(tmp_path, one, "--uncertainty-mm", "0.01")
    assert code == 2
    assert "Probability that what was measured conforms after this: 1.000." in out
    assert "What was measured fits" in out and "It fits" not in out
    assert "Not everything was measured." in out


def test_cuts_that_would_do_what_was_measured_end_with_2_too(tmp_path):
    code, plan = planned(tmp_path, "station,gap_mm,flush_mm\nR,0.6,\nL,0.6,\n")
    assert (code, plan["outcome"]) == (2, "trim")


def test_motions_from_a_file_are_reported_by_name(tmp_path):
    path = tmp_path / "motions.json"
    path.write_text(json.dumps({"motions": [HINGE | {"min": -1, "max": 1}]}))
    code, plan = planned(tmp_path, FITS, "--motions", str(path))
    assert set(plan["motion"]) == {"swing"}
    assert plan["seat"]["motion"] == plan["motion"] or plan["trim"]["needed"]
    assert code in (0, 1, 2)


@pytest.mark.parametrize(
    ("motion", "reason"),
    [
        ({"name": "a", "min": 0, "max": 1}, "neither moves nor turns"),
        (HINGE | {"min": 2, "max": 1}, "above max"),
        (HINGE | {"min": "x", "max": 1}, "must be a finite number"),
        (HINGE | {"min": 0, "max": 1, "speed": 3}, "is not known"),
        (HINGE | {"min": 0, "max": 90}, "within 45 degrees"),
        (HINGE | {"min": 0, "max": 1, "origin": [1, 2]}, "list of three numbers"),
        ({"min": 0, "max": 1}, "plain characters"),
        ("swing", "must be an object"),
    ],
)
def test_motions_that_cannot_be_end_with_3(tmp_path, motion, reason):
    path = tmp_path / "motions.json"
    path.write_text(json.dumps({"motions": [motion]}))
    code, out, err = run(tmp_path, FITS, "--motions", str(path))
    assert (code, out) == (3, "")
    assert reason in err and str(path) in err


@pytest.mark.parametrize(
    "text", ["{", "[]", '{"motions": 3}', "\xff\xfe", "[" + "9" * 5000 + "]"]
)
def test_a_motions_file_that_is_none_ends_with_3(tmp_path, text):
    path = tmp_path / "motions.json"
    path.write_bytes(text.encode("latin-1"))
    code, out, err = run(tmp_path, FITS, "--motions", str(path))
    assert (code, out) == (3, "")
    assert f"{path}:1: " in err


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('{"motions": [], "motions": []}', "motions"),
        ('[{"name": "a", "min": 0, "max": 1, "max": 5}]', "max"),
    ],
)
def test_a_key_that_a_motions_file_states_twice_is_named(tmp_path, text, key):
    path = tmp_path / "motions.json"
    path.write_text(text)
    code, out, err = run(tmp_path, FITS, "--motions", str(path))
    assert (code, out) == (3, "")
    assert err.startswith(f"{path}: {key}: is there twice in one object, as ")


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        (("--rule", "guarded"), "--uncertainty-mm"),
        (("--rule", "guarded", "--uncertainty-mm", "0.9"), "too narrow"),
        (("--max-move-mm", "-1"), "below 0"),
        (("--max-turn-deg", "nan"), "not a number"),
        (("--max-tilt-deg", "60"), "at most 45"),
        (("--bite", "1.5"), "at most 1"),
        (("--trim", "all"), "invalid choice"),
        (("--paper", "a3"), "invalid choice"),
        (("--motions", "nowhere.json"), "cannot be read"),
    ],
)
def test_options_that_cannot_be_end_with_3(tmp_path, options, reason):
    joint, readings = tmp_path / "joint.csv", tmp_path / "readings.csv"
    joint.write_text(JOINT)
    readings.write_text(FITS)
    command = [sys.executable, "manage.py", "plan_fit", joint, readings, *options]
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (3, "")
    assert reason in done.stderr


def test_nothing_to_see_any_motion_by_ends_with_3(tmp_path):
    code, out, err = run(tmp_path, "station,gap_mm,flush_mm\nR,,\n")
    assert (code, out) == (3, "")
    assert "nothing was measured that has limits" in err


def bare(columns=""):
    """The joint without limits, `columns` added (heading;cell)."""
    head, cell = columns.split(";") if columns else ("", "")
    lines = [f"station,x_mm,y_mm,normal_x,normal_y{head and ','}{head}"]
    for line in JOINT.split()[1:]:
        lines.append(",".join(line.split(",")[:5]) + (f",{cell}" if head else ""))
    return "\n".join(lines) + "\n"


def test_a_joint_without_any_limits_leaves_nothing_to_judge(tmp_path):
    code, out, err = run(tmp_path, FITS, joint=bare())
    assert (code, err) == (2, "")
    assert out.startswith("Nothing to judge: no station has limits")
    code, plan = planned(tmp_path, FITS, joint=bare())
    assert (code, plan["outcome"]) == (2, "nothing to judge")


def test_an_overlap_that_stays_is_no_fit_even_where_nothing_limits_the_gap(tmp_path):
    # Right and left overlap by 0.3 each: no move mends both, and nothing may be cut.
    joint = JOINT.replace("R,100,0,1,0,1,3,", "R,100,0,1,0,,,")
    joint = joint.replace("L,-100,0,-1,0,1,3,", "L,-100,0,-1,0,,,")
    overlap = "station,gap_mm,flush_mm\nR,-0.3,0\nT,2,0\nL,-0.3,0\nB,2,0\n"
    code, plan = planned(tmp_path, overlap, "--trim", "none", joint=joint)
    assert (code, plan["outcome"]) == (2, "cannot")
    assert any("0.30 mm too tight" in note for note in plan["notes"])
    code, plan = planned(tmp_path, overlap, joint=joint)
    assert code == 1
    trims = {s["station"]: s["trim_mm"] for s in plan["trim"]["stations"]}
    assert trims == {"R": 0.3, "T": 0.0, "L": 0.3, "B": 0.0}
    # The same where only the flushness has limits.
    level = bare("flush_min_mm,flush_max_mm;-0.5,0.5").replace(";", ",")
    code, plan = planned(tmp_path, overlap, "--trim", "none", joint=level)
    assert (code, plan["outcome"]) == (2, "cannot")


def test_limits_below_zero_are_not_met_at_zero(tmp_path):
    joint = JOINT.replace(",1,3,", ",-0.5,-0.1,")
    read = "station,gap_mm,flush_mm\nR,0,0\nT,0,0\nL,0,0\nB,0,0\n"
    code, plan = planned(tmp_path, read, joint=joint)
    assert (code, plan["outcome"]) == (2, "cannot")
    assert plan["trim"]["possible"] is False


def test_no_more_is_cut_off_the_surround_than_its_own_limit_allows(tmp_path):
    lines = JOINT.split()
    joint = "\n".join(
        [f"{lines[0]},trim_max_mm,trim_max_surround_mm,trim_side"]
        + [f"{line},2,0.3,surround" for line in lines[1:]]
    )
    code, plan = planned(tmp_path, TIGHT, joint=joint + "\n")
    assert code == 2
    assert max(s["trim_mm"] for s in plan["trim"]["stations"]) == 0.3
    assert any("more than may still be cut" in note for note in plan["notes"])
    part = joint.replace("surround\n", "part\n").replace(",surround", ",part")
    assert planned(tmp_path, TIGHT, joint=part + "\n")[0] == 1


def test_a_wrong_number_is_told_by_line_and_column(tmp_path):
    code, out, err = run(tmp_path, FITS.replace("2.8", "wide"))
    assert (code, out) == (3, "")
    assert "readings.csv:4: gap_mm: 'wide' is not a number" in err


def test_the_plan_for_people_says_what_to_do(tmp_path):
    code, out, _ = run(tmp_path, TIGHT)
    assert code == 1
    assert "Trim 113.1 mm2" in out
    assert "It fits with the move and the trim above." in out


def test_the_template_is_written_only_when_something_is_cut(tmp_path):
    path = tmp_path / "template.pdf"
    code, _, _ = run(tmp_path, TIGHT, "--template", str(path), "--paper", "letter")
    assert code == 1
    assert path.read_bytes().startswith(b"%PDF-")


def test_trim_columns_of_the_joint_are_heeded(tmp_path):
    lines = JOINT.split()
    joint = "\n".join(
        [f"{lines[0]},trim_max_in,trim_side,land_mm"]
        + [f"{line},0.01,surround,1" for line in lines[1:]]
    )
    code, plan = planned(tmp_path, TIGHT, joint=joint + "\n")
    assert code == 2  # 0.254 mm a side where 0.4 is needed
    most = max(station["trim_mm"] for station in plan["trim"]["stations"])
    assert most == pytest.approx(0.254, abs=1e-6)


def test_the_same_files_give_the_same_bytes(tmp_path):
    assert run(tmp_path, TIGHT, "--json") == run(tmp_path, TIGHT, "--json")


CURVED_HEADER = (
    "station,x_mm,y_mm,z_mm,normal_x,normal_y,normal_z,face_x,face_y,face_z,"
    "gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm"
)


def as_files(joint, gaps, flushes):
    """The text of both files: places to the nanometer, directions to the last digit."""
    rows = [CURVED_HEADER]
    for one in joint.stations:
        ends = (one.gap.low, one.gap.high, one.flush.low, one.flush.high)
        cells = [one.label, *(f"{v:.6f}" for v in one.place)]
        cells += [f"{v:.15f}" for v in (*one.gap_direction, *one.face)]
        rows.append(",".join([*cells, *(f"{v:.6f}" for v in ends)]))
    read = ["station,gap_mm,flush_mm"]
    read += [
        f"{one.label},{gap:.6f},{flush:.6f}"
        for one, gap, flush in zip(joint.stations, gaps, flushes, strict=True)
    ]
    return "\n".join(rows) + "\n", "\n".join(read) + "\n"


@pytest.mark.parametrize("curve", [0.0, 1e-5, 80.0])
@pytest.mark.parametrize("tight", [0.0, 0.8])
@pytest.mark.parametrize("rule", ["simple", "guarded"])
def test_done_exactly_as_told_check_fit_passes_what_plan_fit_says(
    tmp_path, capsys, curve, tight, rule
):
    random = np.random.default_rng(int(curve) + int(10 * tight))
    joint = exactly.seam(random, 10, curve)
    move = random.uniform(-0.5, 0.5, 3)
    gaps = joint.stations[0].gap.low + 0.75 - tight - joint.gap_directions @ move
    gaps = np.maximum(gaps + random.normal(0, 0.2, 10), 0.02).round(6)
    flushes = (joint.faces @ move + random.normal(0, 0.1, 10)).round(6)
    drawn, read = as_files(joint, gaps, flushes)
    judged_by = ("--rule", rule, "--uncertainty-mm", "0.01")
    code, plan = planned(tmp_path, read, *judged_by, joint=drawn)
    assert code in (0, 1)
    # The move as one rotation about a point and a shift, then what was cut.
    told = plan["move"]
    turn, about = np.array(told["rotation"]), np.array(told["about_mm"])
    ways = (joint.places - about) @ turn.T + about + told["shift_mm"] - joint.places
    cut = [s["trim_mm"] - s["build_up_mm"] for s in plan["trim"]["stations"]]
    gaps = gaps - np.einsum("ij,ij->i", joint.gap_directions, ways) + cut
    flushes = flushes + np.einsum("ij,ij->i", joint.faces, ways)
    assert [s["gap_after_mm"] for s in plan["trim"]["stations"]] == pytest.approx(
        gaps, abs=1.1e-6
    )
    drawn, read = as_files(joint, gaps, flushes)
    paths = []
    for name, text in (("joint", drawn), ("readings", read)):
        paths.append(tmp_path / f"after_{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    call_command("check_fit", *map(str, paths), *judged_by)  # exits but for 0
    assert "was measured and conforms" in capsys.readouterr().out
