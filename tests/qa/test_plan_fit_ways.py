"""`plan_fit --ways` as it is run: what could be done, the least work first."""

import json

import pytest

from tests.qa.test_plan_fit import FITS, TIGHT, run
from tests.qa.test_plan_fit_adjusters import BOLTS
from tests.qa.test_plan_fit_adjusters import run as run_with

GOOD = "station,gap_mm,flush_mm\nR,1.9,0\nT,2,0\nL,2.1,0\nB,2,0\n"
KEYS = {
    *("way", "conforms", "probability", "trim_area_mm2", "trim_length_mm"),
    *("stations_cut", "adjusters_changed", "worst"),
}


@pytest.mark.parametrize(
    ("readings", "first"), [(GOOD, "leave"), (FITS, "leave"), (TIGHT, "trim")]
)
def test_four_ways_are_told_in_the_order_recommended(tmp_path, readings, first):
    _, out, err = run(tmp_path, readings, "--json", "--ways")
    ways = json.loads(out)["ways"]
    assert not err and {way["way"] for way in ways} == {"leave", "set", "trim", "both"}
    assert ways[0]["way"] == first and ways[0]["conforms"] is True
    for way in ways:
        assert set(way) >= KEYS
        assert way["probability"] is None
    _, out, _ = run(tmp_path, readings, "--ways")
    assert "the least work that is enough first" in out


def test_settings_are_a_way(tmp_path):
    displaced = "station,gap_mm,flush_mm\nR,0.7,0\nT,2,0\nL,3.3,0\nB,2,0\n"
    _, out, _ = run_with(tmp_path, displaced, BOLTS, "--json", "--ways")
    ways = json.loads(out)["ways"]
    assert ways[0]["way"] == "set" and ways[0]["adjusters_changed"] == 2
    assert ways[0]["worst"] == 0 and ways[0]["stations_cut"] == 0


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        (("--wish", "0.9"), "needs --uncertainty-mm"),
        (("--wish", "2", "--uncertainty-mm", "0.1"), "between 0 and 1"),
    ],
)
def test_a_wish_that_cannot_be_ends_with_3(tmp_path, options, reason):
    code, out, err = run(tmp_path, GOOD, *options)
    assert (code, out) == (3, "") and reason in err
