"""`check_fit` end to end: verdicts, grouping, exit codes, both kinds of output.

Expected values are worked by hand from the files in the test; no published source.
"""

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest

from qa.management.commands import check_fit, plan_fit

ROOT = Path(__file__).resolve().parents[2]
COMMANDS = {"check_fit": check_fit.Command, "plan_fit": plan_fit.Command}
HEADER = "station,x_mm,y_mm,gap_min_mm,gap_max_mm,flush_min_mm,flush_max_mm"


def hatch(limits="1.5,3.0,-0.5,0.5", count=24):
    """A round hatch, the part inside, closed."""
    angles = [2 * math.pi * k / count for k in range(count)]
    rows = [
        f"{k + 1},{300 * math.cos(a):.6f},{300 * math.sin(a):.6f},{limits}"
        for k, a in enumerate(angles)
    ]
    return "\n".join([HEADER, *rows]) + "\n"


def readings(gaps=None, flushes=None, count=24):
    """Every station at 2.2 and 0.1 but those given by number."""
    gaps, flushes = gaps or {}, flushes or {}
    rows = [
        f"{k},{gaps.get(k, '2.2')},{flushes.get(k, '0.1')}" for k in range(1, count + 1)
    ]
    return "\n".join(["station,gap_mm,flush_mm", *rows]) + "\n"


@pytest.fixture
def check(tmp_path, capsys):
    """Write both files, run the command in this process: (exit code, out, err)."""

    def run(joint, read, *options, command="check_fit"):
        paths = [tmp_path / "joint.csv", tmp_path / "readings.csv"]
        for path, text in zip(paths, (joint, read), strict=True):
            path.write_bytes(text if isinstance(text, bytes) else text.encode())
        argv = ["manage.py", command, *map(str, paths), *options]
        try:
            COMMANDS[command]().run_from_argv(argv)
            code = 0
        except SystemExit as ended:
            code = ended.code
        told = capsys.readouterr()
        return code, told.out, told.err

    return run


def test_a_joint_that_conforms_ends_with_0(check):
    code, out, err = check(hatch(), readings())
    assert (code, err) == (0, "")
    assert "48 conforms, 0 does not conform, 0 not proven, 0 not measured." in out
    assert "Every characteristic with limits was measured and conforms." in out


def test_what_does_not_conform_is_grouped_and_ends_with_1(check):
    gaps = {4: "1.4", 5: "0.88", 6: "1.2", 7: "1.49", 23: "3.1", 24: "3.3", 1: "3.2"}
    code, out, err = check(hatch(), readings(gaps, {10: "0.9", 12: "-0.75"}))
    assert (code, err) == (1, "")
    assert "  gap tight, stations 4-7, worst 0.62 under at 5\n" in out
    assert "  gap wide, stations 23-24, 1, worst 0.30 over at 24\n" in out
    assert "  flush proud, station 10, worst 0.40 over at 10\n" in out
    assert "  flush low, station 12, worst 0.25 under at 12\n" in out
    assert "The joint does not conform." in out


def test_a_run_does_not_wrap_round_on_an_open_seam(check):
    rows = [f"{k},{50 * k},0,1.5,3.0,," for k in range(1, 7)]
    joint = "\n".join([HEADER, *rows])
    read = readings({1: "1", 6: "1"}, count=6)
    code, out, _ = check(joint, read, "--open")
    assert code == 1
    assert "gap tight, station 1," in out and "gap tight, station 6," in out


def test_a_reading_that_is_missing_ends_with_2(check):
    code, out, _ = check(hatch(), readings({3: ""}, {8: ""}))
    assert code == 2
    assert "Not measured:\n  gap at 3\n  flush at 8\n" in out
    missing_row = readings().replace("\n7,2.2,0.1\n", "\n")
    code, out, _ = check(hatch(), missing_row)
    assert code == 2
    assert "46 conforms, 0 does not conform, 0 not proven, 2 not measured." in out


def test_what_fails_counts_more_than_what_is_missing(check):
    assert check(hatch(), readings({3: "", 4: "9"}))[0] == 1


def test_a_result_that_is_not_proven_ends_with_2(check):
    # Guard 1.6449 x 0.05 = 0.0822...; 3.05 is above 3.0 but below 3.0823.
    options = ("--rule", "guarded", "--uncertainty-mm", "0.05")
    code, out, _ = check(hatch(), readings({3: "3.05", 4: "1.55"}), *options)
    assert code == 2
    assert "Not proven, measure again:\n  gap at 3, 4\n" in out
    assert "guarded acceptance (ISO 14253-1:2017); standard uncertainty 0.05 mm" in out
    code, out, _ = check(hatch(), readings({3: "3.09"}), *options)
    assert code == 1


def test_the_1998_edition_guards_with_twice_the_uncertainty(check):
    options = ("--rule", "guarded", "--uncertainty-mm", "0.05")
    read = readings({3: "1.59"})  # 1.5 + 0.0823 < 1.59 < 1.5 + 0.1
    assert check(hatch(), read, *options)[0] == 0
    assert check(hatch(), read, *options, "--edition", "1998")[0] == 2


def test_json_has_the_shape_that_was_promised(check):
    joint = "\n".join(
        [
            HEADER,
            "A,0,-300,1.5,3.0,-0.5,0.5",
            "B,300,0,1.5,,,",
            "C,0,300,,,-0.5,0.5",
            "D,-300,0,1.5,3.0,,",
        ]
    ).replace("gap_min", "normal_x,normal_y,gap_min", 1)
    for label, normal in zip("ABCD", ("0,-1", "1,0", "0,1", "-1,0"), strict=True):
        joint = "\n".join(
            ",".join([*line.split(",")[:3], normal, *line.split(",")[3:]])
            if line.startswith(label)
            else line
            for line in joint.split("\n")
        )
    read = "station,gap_mm,flush_mm\nA,0.9,-0.6\nB,1.4,3\nC,7,\nD,,\n"
    code, out, err = check(joint, read, "--json")
    assert (code, err) == (1, "")
    nothing = {"probability": None}
    assert json.loads(out) == {
        "method": "verdict/1",
        "rule": "simple",
        "stations": [
            {
                "station": "A",
                "gap": {
                    "value_mm": 0.9,
                    "verdict": "does_not_conform",
                    "deviation_mm": -0.6,
                    **nothing,
                },
                "flush": {
                    "value_mm": -0.6,
                    "verdict": "does_not_conform",
                    "deviation_mm": -0.1,
                    **nothing,
                },
            },
            {
                "station": "B",
                "gap": {
                    "value_mm": 1.4,
                    "verdict": "does_not_conform",
                    "deviation_mm": -0.1,
                    **nothing,
                },
                "flush": None,
            },
            {"station": "C", "gap": None, "flush": None},
            {"station": "D", "gap": None, "flush": None},
        ],
        "nonconformances": [
            {
                "kind": "gap_tight",
                "stations": ["A", "B"],
                "worst_station": "A",
                "worst_by_mm": 0.6,
            },
            {
                "kind": "flush_low",
                "stations": ["A"],
                "worst_station": "A",
                "worst_by_mm": 0.1,
            },
        ],
        "counts": {
            "conforms": 0,
            "does_not_conform": 3,
            "not_proven": 0,
            "not_measured": 2,
        },
    }


def test_json_tells_the_probability_when_the_uncertainty_is_known(check):
    code, out, _ = check(
        hatch(), readings({1: "3.0"}), "--json", "--uncertainty-mm", "0.1"
    )
    assert code == 0
    first = json.loads(out)["stations"][0]["gap"]
    assert first["probability"] == pytest.approx(0.5)
    assert first["verdict"] == "conforms"


def test_a_reading_on_the_limit_conforms_in_either_unit(check):
    joint = hatch("1.27,2.54,-0.254,0.254")
    read = readings({1: "0.05", 2: "0.1"}, {1: "-0.01", 2: "0.01"})
    read = read.replace(",2.2,0.1", ",0.07,0").replace("_mm", "_in")
    assert check(joint, read)[0] == 0
    assert check(joint, read.replace("2,0.1,", "2,0.10001,"))[0] == 1


def test_a_joint_without_any_limits_leaves_nothing_to_judge(check):
    code, out, _ = check(hatch(",,,"), readings(), "--json")
    told = json.loads(out)
    assert code == 2
    assert set(told["counts"].values()) == {0}
    assert told["stations"][0] == {"station": "1", "gap": None, "flush": None}
    assert "Nothing to judge" in check(hatch(",,,"), readings())[1]
    # One limit in one kind is something.
    assert check(hatch(",3.0,,"), readings())[0] == 0


def test_a_part_that_lies_outside_is_told_by_its_normals(check):
    lines = hatch(count=18).splitlines()
    inward = [lines[0] + ",normal_x,normal_y"]
    for line in lines[1:]:
        _, x, y, *_rest = line.split(",")
        inward.append(f"{line},{-float(x)},{-float(y)}")
    joint, read = "\n".join(inward), readings(count=18)
    assert check(joint, read, "--part", "outside")[0] == 0
    code, _, err = check(joint, read)
    assert code == 3
    assert "joint.csv:2: normal_x: the gap direction points the wrong way" in err


def test_the_side_of_the_part_says_nothing_of_an_open_seam(check):
    rows = [f"{k},{50 * k},0,1.5,3.0,," for k in range(1, 7)]
    joint = "\n".join([HEADER, *rows])
    code, _, err = check(joint, readings(count=6), "--open", "--part", "outside")
    assert code == 0
    assert "--part says nothing of an open seam" in err


def test_it_runs_as_a_command_of_its_own(tmp_path):
    joint, read = tmp_path / "joint.csv", tmp_path / "readings.csv"
    joint.write_text(hatch())
    read.write_text(readings({5: "0.88"}))
    done = subprocess.run(
        [sys.executable, "manage.py", "check_fit", joint, read, "--json"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert (done.returncode, done.stderr) == (1, "")
    assert json.loads(done.stdout)["nonconformances"][0]["worst_by_mm"] == 0.62
    read.write_text("station\n")
    done = subprocess.run(
        [sys.executable, "manage.py", "check_fit", joint, read],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert (done.returncode, done.stdout) == (3, "")
    assert f"{read}:1: gap_mm or gap_in: the column is missing" in done.stderr


@pytest.mark.parametrize("options", [(), ("--json",)])
def test_a_reader_that_has_had_enough_sees_no_traceback(tmp_path, options):
    paths = [tmp_path / "joint.csv", tmp_path / "readings.csv"]
    paths[0].write_text(hatch())
    paths[1].write_text(readings())
    answer = subprocess.Popen(
        [sys.executable, ROOT / "manage.py", "check_fit", *paths, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    answer.stdout.close()
    assert answer.stderr.read() == b""
    assert answer.wait() == 141
    answer.stderr.close()


FULL = Path("/dev/full")  # Linux: whatever is written there finds no room
POINTS = "point,x_mm,y_mm,shim_mm\na,-250,0,1\nb,250,0,1\nc,0,250,1\n"
HOLES = "hole,x_mm,y_mm,measured_x_mm,measured_y_mm,zone_mm\n1,0,0,0,0,1\n2,9,0,9,0,1\n"
LAYERS = "layer,kind,fiber_g_m2,resin_fraction,fiber_g_cm3,resin_g_cm3,count\n"
FROM_FILES = {
    "check_fit": (hatch(), readings()),
    "plan_fit": (hatch(), readings()),
    "plan_shims": (hatch(), readings(), POINTS, "--stock", "0.5,1"),
    "plan_holes": (HOLES,),
    "laminate": (LAYERS + "skin,ply,200,0.45,1.8,1.15,2\n",),
    "chart": ("value\n1\n2\n1\n3\n2\n",),
}


@pytest.mark.skipif(not FULL.exists(), reason="needs a device that is always full")
@pytest.mark.parametrize(
    ("command", "unbuffered"),
    [("check_fit", "1"), *((command, "") for command in FROM_FILES)],
)
def test_an_answer_without_room_ends_with_4_in_one_line(tmp_path, command, unbuffered):
    given = list(FROM_FILES[command])
    for place, text in enumerate(given):
        if "\n" in text:
            given[place] = tmp_path / f"{place}.csv"
            given[place].write_text(text)
    with FULL.open("w") as full:
        told = subprocess.run(
            [sys.executable, ROOT / "manage.py", command, *given],
            env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    why = "No space left on device"
    assert told.stderr == f"manage.py {command}: cannot write: {why}\n"
    assert told.returncode == 4


def test_a_name_that_the_console_lacks_is_still_shown(tmp_path):
    paths = [tmp_path / "joint.csv", tmp_path / "readings.csv"]
    for path, text in zip(paths, (hatch(), readings()), strict=True):
        path.write_text(text.replace("\n1,", "\nΣ1,"), encoding="utf-8")
    told = subprocess.run(
        [sys.executable, ROOT / "manage.py", "check_fit", *paths],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
    )
    assert (told.returncode, told.stderr) == (0, "")
    assert "\\u03a31" in told.stdout


# Two commands, one verdict


def line(limits, count=8):
    """An open straight seam whose gaps nothing may cut, and no move may mend."""
    rows = [f"{k},{50 * k},0,{limits},none" for k in range(1, count + 1)]
    head = "station,x_mm,y_mm,gap_min_mm,gap_max_mm,trim_side"
    return "\n".join([head, *rows]) + "\n"


@pytest.mark.parametrize(
    ("limits", "gaps", "code"),
    [
        ("1.5,3.0", "3.000900", 1),  # 0.9 um over
        ("1.5,3.0", "3.000001", 1),
        ("1.5,3.0", "3.000000", 0),
        ("2.0,2.0", "2.001000", 1),  # limits that meet
        ("2.0,2.0", "2.000000", 0),
        ("-40.0,40.0", "40.000039", 1),  # 39 nm over half a width of 40 mm
        ("-40.0,40.0", "40.000000", 0),
    ],
)
def test_plan_and_check_judge_alike_to_the_nanometer(check, limits, gaps, code):
    file = line(limits)
    read = "\n".join(
        ["station,gap_mm,flush_mm", *(f"{k},{gaps}," for k in range(1, 9))]
    )
    judged = check(file, read, "--open")
    assert judged[0] == code, judged
    still = ("--open", "--max-move-mm", "0", "--max-turn-deg", "0")
    planned = check(file, read, *still, command="plan_fit")
    assert planned[0] == 2 * code, planned
    assert ("It fits" in planned[1]) == (code == 0)
