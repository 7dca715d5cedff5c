"""`plan_fit` says what is known of its plan: intervals, digits, what to read again."""

import json
import re

from tests.qa.test_plan_fit import TIGHT, run

DISPLACED = "station,gap_mm,flush_mm\nR,0.7,0\nT,2,0\nL,3.3,0\nB,2,0\n"
KNOWN = ("--uncertainty-mm", "0.1")


def test_a_move_is_told_with_its_interval_and_no_digit_that_is_not_known(tmp_path):
    code, out, _ = run(tmp_path, DISPLACED, "--json", *KNOWN)
    known = json.loads(out)["known"]
    (move,) = [one for one in known["moves"] if one["motion"] == "x"]
    assert code == 0 and move["low"] < move["amount"] < move["high"]
    # Two readings of u 0.1 decide, each the other way: 1.96 x 0.1 / sqrt(2).
    assert 0.1 < (move["high"] - move["low"]) / 2 < 0.2
    _, out, _ = run(tmp_path, DISPLACED, *KNOWN)
    assert re.search(r"x [+-]1\.3 mm \(give or take 0\.2\)", out), out
    # What is to be read there stands in the same digits; what was read, as it was.
    assert re.search(r"^R +0\.700 .* 2\.0 +0\.0 ", out, re.M), out
    assert re.search(r"^T +2\.000 .* 2\.000 ", out, re.M), out
    _, out, _ = run(tmp_path, DISPLACED)
    assert re.search(r"x [+-]1\.300 mm[,.]", out), out


def test_cuts_have_intervals_and_nothing_known_has_none(tmp_path):
    still = ("--max-move-mm", "0", "--max-turn-deg", "0")
    code, out, _ = run(tmp_path, TIGHT, "--json", *KNOWN, *still)
    plain = json.loads(out)
    trims = {one["station"]: one["trim_mm"] for one in plain["trim"]["stations"]}
    assert code == 1 and plain["known"]["cuts"]
    for cut in plain["known"]["cuts"]:
        assert cut["trim_mm"] == trims[cut["station"]]
        assert cut["low_mm"] < cut["trim_mm"] < cut["high_mm"]
    _, out, _ = run(tmp_path, TIGHT, "--json", *still)
    assert json.loads(out)["known"]["cuts"] == []


def test_what_conforms_is_left_as_it_is_and_said(tmp_path):
    good = "station,gap_mm,flush_mm\nR,1.9,0\nT,2,0\nL,2.1,0\nB,2,0\n"
    code, out, _ = run(tmp_path, good, *KNOWN)
    assert code == 0 and "stays as it is" in out and "leave it" in out


def test_a_common_part_that_is_no_part_is_refused(tmp_path):
    for more in (("--common-u-mm", "0.1"), ("--common-u-mm", "0.1", *KNOWN)):
        code, _, err = run(tmp_path, TIGHT, *more)
        assert code == 3 and "--common-u-mm" in err and len(err.splitlines()) == 1
