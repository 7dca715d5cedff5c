"""`plan_assembly` as it is run: files in, a plan of several parts out, no database."""

import csv
import io
import json

import numpy as np
import pytest
from django.core.management import call_command

from tests.numeric import assemblies
from tests.numeric.assemblies import LOWER
from tests.qa import test_plan_fit as one_part

PARTS = [{"name": "fuselage", "fixed": True}, {"name": "lower"}, {"name": "upper"}]
TIGHT = one_part.TIGHT
DOOR = [{"name": "door"}, {"name": "frame", "fixed": True}]


def run(folder, assembly, *options, command="plan_assembly"):
    """(exit code, standard output, standard error)"""
    path = folder / "assembly.json"
    text = assembly if isinstance(assembly, str) else json.dumps(assembly)
    path.write_text(text, encoding="utf-8")
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command(command, str(path), *options, stdout=out, stderr=err)
    except SystemExit as end:
        code = end.code
    return code, out.getvalue(), err.getvalue()


def door(folder, readings=one_part.FITS, parts=None, **changes):
    """An assembly of the one door of test_plan_fit in its frame."""
    (folder / "J.csv").write_text(one_part.JOINT, encoding="utf-8")
    (folder / "R.csv").write_text(readings, encoding="utf-8")
    joint = {"joint": "J.csv", "readings": "R.csv", "part": "door", "surround": "frame"}
    return {"parts": parts or DOOR, "joints": [joint | changes]}


def test_a_part_whose_joint_is_missing_is_said_to_be_at_none(tmp_path):
    parts = [*DOOR, {"name": "hatch"}]
    out = run(tmp_path, door(tmp_path, parts=parts))[1]
    assert "hatch: at none of these joints: nothing is told of it" in out
    assert out.count("at none of these joints") == 1 and "stays" not in out


def cowl(folder, noise=0.1, shy=0.0, count=6, unread=()):
    """The assembly of a cowl in two halves, its files written: (assembly, joints, what
    was read)."""
    random = np.random.default_rng(5)
    joints = assemblies.cowl(count)
    moves = {LOWER: (np.array([0.2, 0.1, -0.3]), np.zeros(3))}
    read = assemblies.readings(joints, moves, random, noise, shy)
    entries = []
    for number, ((joint, part, surround), values) in enumerate(
        zip(joints, read, strict=True)
    ):
        _write_joint(folder / f"J{number}.csv", joint)
        _write_readings(folder / f"R{number}.csv", *values, number in unread)
        entries.append(
            {"joint": f"J{number}.csv", "readings": f"R{number}.csv", "open": True}
            | {"part": PARTS[part]["name"], "surround": PARTS[surround]["name"]}
        )
    return {"parts": PARTS, "joints": entries}, joints, read


def _write_joint(path, joint):
    heads = ["station"]
    heads += [f"{n}_{a}" for n in ("normal", "face") for a in "xyz"]
    heads += ["x_mm", "y_mm", "z_mm"]
    heads += ["gap_min_mm", "gap_max_mm", "flush_min_mm", "flush_max_mm"]
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(heads)
        for one in joint.stations:
            vectors = [*one.gap_direction, *one.face]
            limits = one.gap.low, one.gap.high, one.flush.low, one.flush.high
            rows.writerow(
                [one.label, *(f"{v:.12f}" for v in vectors), *one.place, *limits]
            )


def _write_readings(path, gaps, flushes, empty):
    lines = ["station,gap_mm,flush_mm"]
    for number, (gap, flush) in enumerate(zip(gaps, flushes, strict=True), start=1):
        lines.append(f"{number},," if empty else f"{number},{gap},{flush}")
    path.write_text("\n".join(lines), encoding="utf-8")


@pytest.mark.parametrize("readings", [one_part.FITS, TIGHT, one_part.STEP])
@pytest.mark.parametrize(
    "options",
    [(), ("--uncertainty-mm", "0.05", "--common-u-mm", "0.03", "--aim-mm", "0.15"),
     ("--trim", "none")],
)  # fmt: skip
def test_one_part_in_its_surround_is_told_as_plan_fit_tells_it(
    tmp_path, readings, options
):
    code, out, err = run(tmp_path, door(tmp_path, readings), "--json", *options)
    alone = one_part.run(tmp_path, readings, "--json", *options)
    assert (code, err) == (alone[0], alone[2])
    told, plan = json.loads(out)["joints"][0], json.loads(alone[1])
    for key in ("method", "outcome", "probability", "judged", "held", "settled"):
        assert told[key] == plan[key], key
    for key in ("seat", "level", "trim", "flush", "move"):
        assert alike(told[key], plan[key]), key
    # Motions are named in plan_fit by what moves, here by both sides of the joint.
    known = {**plan["known"], "hardly_seen": []}
    assert alike(told["known"], known)
    (part, frame), moves = json.loads(out)["parts"], plan["known"]["moves"]
    if options and "--trim" not in options:
        assert alike(part["known"], {"moves": moves, "settings": []})
        assert frame["known"] == {"moves": [], "settings": []}
    assert json.loads(out)["outcome"] == plan["outcome"]


def alike(one, other):
    """The same keys and words, numbers to the nanometer."""
    if isinstance(one, dict):
        return set(one) == set(other) and all(alike(one[k], other[k]) for k in one)
    if isinstance(one, list):
        pairs = zip(one, other, strict=True)
        return all(alike(here, there) for here, there in pairs)
    if isinstance(one, float):
        return one == pytest.approx(other, abs=1e-6)
    return one == other


def test_every_joint_of_a_cowl_ends_where_its_moves_and_cuts_put_it(tmp_path):
    assembly, joints, read = cowl(tmp_path, noise=0.3, shy=0.2)
    code, out, err = run(tmp_path, assembly, "--json")
    assert not err
    found = json.loads(out)
    assert code == {"fits": 0, "trim": 1, "cannot": 2}[found["outcome"]]
    assert found["order"] == ["fuselage", "lower", "upper"]
    moves = {part["name"]: part["move"] for part in found["parts"]}
    for told, (joint, *_), (gaps, flushes) in zip(
        found["joints"], joints, read, strict=True
    ):
        assert told["move"] == moves[told["part"]]
        assert told["surround_move"] == moves[told["surround"]]
        apart = went(told["move"], joint.places) - went(
            told["surround_move"], joint.places
        )
        for row, one in enumerate(told["trim"]["stations"]):
            gap = gaps[row] - joint.gap_directions[row] @ apart[row]
            gap += one["trim_mm"] - one["build_up_mm"]
            assert one["gap_after_mm"] == pytest.approx(gap, abs=2e-6)
        for row, one in enumerate(told["flush"]):
            flush = flushes[row] + joint.faces[row] @ apart[row]
            assert one["flush_after_mm"] == pytest.approx(flush, abs=2e-6)


def went(move, places):
    about, shift = np.array(move["about_mm"]), np.array(move["shift_mm"])
    arms = places - about
    return arms @ np.array(move["rotation"]).T + about + shift - places


def test_check_fit_finds_conforming_what_the_plan_says_will_fit(tmp_path):
    assembly, joints, _ = cowl(tmp_path, noise=0.12)
    code, out, _ = run(tmp_path, assembly, "--json")
    assert code == 0
    for number, told in enumerate(json.loads(out)["joints"]):
        gaps = [one["gap_after_mm"] for one in told["trim"]["stations"]]
        flushes = [one["flush_after_mm"] for one in told["flush"]]
        _write_readings(tmp_path / "after.csv", gaps, flushes, False)
        files = (str(tmp_path / f"J{number}.csv"), str(tmp_path / "after.csv"))
        call_command("check_fit", *files, "--open", stdout=io.StringIO())  # ends with 0


def test_a_joint_that_was_not_measured_is_named_and_ends_with_2(tmp_path):
    assembly, *_ = cowl(tmp_path, unread=(3,))
    code, out, _ = run(tmp_path, assembly, "--json")
    plan = json.loads(out)
    assert code == 2
    assert plan["notes"][0] == "J3.csv: nothing was measured at all"
    assert plan["joints"][3]["judged"]["measured"] == 0
    assert plan["joints"][0]["judged"]["complete"]
    assert any("J3.csv:1" in note for note in plan["notes"])
    assert not any("J0.csv" in note for note in plan["notes"])


def test_where_nothing_is_fixed_it_is_relative_and_says_so(tmp_path):
    assembly = door(tmp_path, parts=[{"name": "door"}, {"name": "frame"}])
    code, out, err = run(tmp_path, assembly)
    assert (code, err) == (0, "")
    assert "what moves several parts alike" in out
    assert "door x -0.400" in out or "x -0.400 mm" in out


def test_motions_of_its_own_hold_a_part_to_them(tmp_path):
    slide = {"name": "slide", "translation": [1, 0, 0], "min": -0.5, "max": 0.5}
    parts = [{"name": "door", "motions": [slide]}, {"name": "frame", "fixed": True}]
    _, out, _ = run(tmp_path, door(tmp_path, parts=parts), "--json")
    door_told = json.loads(out)["parts"][0]
    assert door_told["motion"] == {"slide": -0.5}


def test_people_are_told_every_part_and_every_joint(tmp_path):
    assembly, *_ = cowl(tmp_path)
    _, out, _ = run(tmp_path, assembly)
    assert out.startswith("Seat the parts in this order:\n  fuselage: fixed\n  lower: ")
    for number, words in enumerate(("lower in fuselage", "upper in fuselage")):
        assert f"J{number}.csv: {words}" in out
    # What moving does before anything is cut: the table is of the whole plan.
    assert "Gaps: worst deviation now " in out and ", by moving alone " in out
    assert out.rstrip().endswith("It fits by the move above, with nothing cut.")


def test_a_reading_at_odds_with_its_joint_is_named_beneath_it_and_no_words_twice(
    tmp_path,
):
    assembly, _, read = cowl(tmp_path, noise=0.03, count=8)
    assembly["parts"] = [{"name": part["name"]} for part in PARTS]
    read[2][0][3] -= 0.9
    _write_readings(tmp_path / "R2.csv", *read[2], False)
    _, out, _ = run(tmp_path, assembly, "--uncertainty-mm", "0.03")
    of_joint = out.split("J2.csv: ")[1].split("J3.csv: ")[0]
    assert "Note: take the gap at station 4 again first" in of_joint
    assert out.count("what moves several parts alike") == 1


JOINT = {"joint": "J.csv", "readings": "R.csv", "part": "door", "surround": "frame"}


@pytest.mark.parametrize(
    ("assembly", "words"),
    [
        ("{", "this is not JSON"),
        ("[]", "an object is needed"),
        ({"parts": DOOR}, "joints: a list of 1 to 60 joints is needed"),
        ({"joints": [JOINT]}, "parts: a list of 1 to 20 parts is needed"),
        ({"parts": DOOR, "joints": [JOINT], "more": 1}, "more: is not known"),
        ({"parts": [*DOOR, DOOR[0]], "joints": [JOINT]}, "'door' is listed twice"),
        ({"parts": [3], "joints": [JOINT]}, "part 1: must be an object"),
        ({"parts": [{"name": ""}], "joints": [JOINT]}, "name: part 1: must be up to"),
        (
            {"parts": [{"name": "a", "fixed": 1}], "joints": [JOINT]},
            "fixed: part 1: must be true or false",
        ),
        (
            {"parts": [{"name": "a", "motions": []}], "joints": [JOINT]},
            "part 1: a list of motions is needed",
        ),
        (
            {"parts": [{"name": "a", "motions": [{"name": "x"}]}], "joints": [JOINT]},
            "part 1: motion 1",
        ),
        (
            {
                "parts": [{"name": "a", "fixed": True, "motions": [1]}],
                "joints": [JOINT],
            },
            "'a' is fixed: it makes no motions",
        ),
        ({"parts": DOOR, "joints": [JOINT | {"part": "hatch"}]}, "'hatch' is not one"),
        ({"parts": DOOR, "joints": [JOINT | {"surround": "door"}]}, "on both sides"),
        ({"parts": DOOR, "joints": [JOINT | {"open": "yes"}]}, "true or false"),
        (
            {"parts": DOOR, "joints": [JOINT | {"side": 1}]},
            "side: joint 1: is not known",
        ),
        ({"parts": DOOR, "joints": [JOINT, JOINT]}, "is listed twice"),
        ({"parts": DOOR, "joints": [{"part": "door"}]}, "must be the name of a file"),
        ({"parts": DOOR, "joints": [JOINT | {"joint": "none.csv"}]}, "none.csv"),
        ({"parts": DOOR, "joints": [JOINT | {"readings": "none.csv"}]}, "none.csv"),
        (
            {"parts": [one | {"fixed": True} for one in DOOR], "joints": [JOINT]},
            "every part is fixed",
        ),
        (
            {
                "parts": [*(one | {"fixed": True} for one in DOOR), {"name": "third"}],
                "joints": [JOINT],
            },
            "joint 1 (J.csv): door and frame are both fixed",
        ),
    ],
)
def test_bad_input_ends_with_3_and_one_clear_line(tmp_path, assembly, words):
    door(tmp_path)
    code, out, err = run(tmp_path, assembly, "--json")
    assert (code, out) == (3, "")
    assert words in err
    assert len(err.strip().splitlines()) == 1
    assert "Traceback" not in err


def test_a_file_that_is_not_there_ends_with_3(tmp_path):
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as end:
        path = str(tmp_path / "none.json")
        call_command("plan_assembly", path, stdout=out, stderr=err)
    assert end.value.code == 3
    assert "none.json" in err.getvalue()


def test_joints_without_limits_have_nothing_to_judge(tmp_path):
    assembly = door(tmp_path)
    bare = "station,x_mm,y_mm,normal_x,normal_y\nR,9,0,1,0\nT,0,9,0,1\nL,-9,0,-1,0\n"
    (tmp_path / "J.csv").write_text(bare, encoding="utf-8")
    (tmp_path / "R.csv").write_text("station,gap_mm,flush_mm\nR,1,\n", encoding="utf-8")
    code, out, _ = run(tmp_path, assembly, "--json")
    assert code == 2
    assert json.loads(out)["outcome"] == "nothing to judge"
    # One joint of several is planned along, and nothing is said of its readings.
    assembly, joints, read = cowl(tmp_path)
    path = tmp_path / "J1.csv"
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    bare = "\n".join(",".join(row[:-4]) for row in rows)
    path.write_text(bare, encoding="utf-8")
    code, out, err = run(tmp_path, assembly, "--json", "--uncertainty-mm", "0.05")
    found = json.loads(out)
    assert (code, err) == (0, "")
    assert found["joints"][1]["known"]["measure_again"] is None
    assert found["joints"][0]["known"]["measure_again"] is not None
    assert run(tmp_path, assembly)[0] == 0


# ----------------------------------------------------------------- adjusters

LATCHES = [
    {"name": "upper", "x_mm": -200, "y_mm": 150, "dir_x": 1, "dir_y": 0, "dir_z": 0,
     "min_mm": -2, "max_mm": 2, "step_mm": 0.1},
    {"name": "lower", "x_mm": -200, "y_mm": -150, "dir_x": 1, "dir_y": 0, "dir_z": 0,
     "min_mm": -2, "max_mm": 2, "step_mm": 0.1},
    {"name": "latch", "x_mm": 200, "y_mm": 0, "dir_x": 0, "dir_y": 1, "dir_z": 0,
     "min_mm": -2, "max_mm": 2, "step_mm": "0.1", "set_u_mm": "0.03"},
]  # fmt: skip


def as_csv(rows) -> str:
    text = io.StringIO()
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(text, names)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


@pytest.mark.parametrize("readings", [one_part.FITS, TIGHT])
def test_a_part_that_is_set_is_told_as_plan_fit_tells_it(tmp_path, readings):
    (tmp_path / "A.csv").write_text(as_csv(LATCHES), encoding="utf-8")
    alone = one_part.run(
        tmp_path, readings, "--json", "--adjusters", str(tmp_path / "A.csv")
    )
    for said in (LATCHES, "A.csv"):
        parts = [{"name": "door", "adjusters": said}, DOOR[1]]
        code, out, err = run(tmp_path, door(tmp_path, readings, parts), "--json")
        assert (code, err) == (alone[0], alone[2])
        whole, plan = json.loads(out), json.loads(alone[1])
        assert whole["parts"][0]["settings"] == plan["settings"]
        assert "settings" not in whole["parts"][1]
        assert alike(whole["joints"][0]["trim"], plan["trim"])
    code, out, err = run(tmp_path, door(tmp_path, readings, parts))
    changed = [one for one in plan["settings"] if one["steps"]]
    words = f"door: {changed[0]['name']}: " if changed else "door: leave it"
    assert words in out and not err


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([{"name": "door", "adjusters": 3}], "the name of a file, or a list"),
        ([{"name": "door", "adjusters": []}], "the name of a file, or a list"),
        ([{"name": "door", "adjusters": [1]}], "the name of a file, or a list"),
        ([{"name": "door", "adjusters": [{"name": None}]}], "texts and numbers only"),
        (
            [{"name": "door", "adjusters": [LATCHES[0] | {"min_mm": ""}]}],
            "min_mm: part 1: is empty",
        ),
        ([{"name": "door", "adjusters": ""}], "must be the name of a file"),
        ([{"name": "door", "adjusters": "none.csv"}], "none.csv"),
        (
            [{"name": "door", "adjusters": [LATCHES[0] | {"step_mm": 0}]}],
            "the step must be more than 0",
        ),
        (
            [{"name": "door", "fixed": True, "adjusters": LATCHES}],
            "'door' is fixed: it makes no motions",
        ),
        (
            [{"name": "door", "motions": [], "adjusters": LATCHES}],
            "one of the two says how it goes",
        ),
    ],
)
def test_adjusters_that_cannot_be_are_refused_with_one_clear_line(
    tmp_path, parts, words
):
    parts = [*parts, DOOR[1]][:2]
    code, out, err = run(tmp_path, door(tmp_path, parts=parts))
    assert (code, out) == (3, "")
    assert words in err and err.count("\n") == 1
