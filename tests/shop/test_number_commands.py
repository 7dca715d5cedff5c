"""Commands that work out one number from options: asked for as a user would.

Published values stand with the functions below them (tests/numeric: milling, laminate,
thermal, holes); here are values that differ from those, worked out by hand.
"""

import json
import math
from io import StringIO

import pytest
from django.core.management import call_command


def answer(command: str, *options: str) -> dict:
    out = StringIO()
    call_command(command, *options, "--json", stdout=out, stderr=StringIO())
    return json.loads(out.getvalue())


def test_a_stepover_is_found_for_a_scallop_and_leaves_it():
    found = answer("mill_finish", "--radius", "5", "--scallop", "0.1", "--play", "0.2")
    assert found["stepover_mm"] == pytest.approx(2 * math.sqrt(5**2 - 4.9**2))
    assert found["scallop_mm"] == pytest.approx(0.1)
    assert found["striation_governs_from_deg"] == pytest.approx(30)  # sin 30 = 0.1/0.2
    same = answer("mill_finish", "--radius", "5", "--stepover", "1.98997487")
    assert same["scallop_mm"] == pytest.approx(0.1, rel=1e-6)
    assert same["striation_governs_from_deg"] is None


def test_a_coupon_is_weighed_in_air_and_in_water():
    weighed = ("coupon", "--in-air", "20", "--immersed", "8")
    found = answer(*weighed)
    assert found["density_g_cm3"] == pytest.approx(0.9975 * 20 / 12)
    assert (found["void_percent"], found["fiber_volume_fraction"]) == (None, None)
    # A third resin of 1.2 by mass, fiber of 2.4: 1 / (1/3.6 + 2/7.2) = 1.8 g/cm3.
    densities = ("--resin-g-cm3", "1.2", "--fiber-g-cm3", "2.4")
    found = answer(*weighed, "--resin-fraction", "0.3333333333333", *densities)
    assert found["void_percent"] == pytest.approx(100 * (1.8 - 1.6625) / 1.8)
    thick = ("--plies", "10", "--fiber-g-m2", "240", "--thickness-mm", "2")
    found = answer(*weighed, *densities, *thick)
    assert found["fiber_volume_fraction"] == pytest.approx(10 * 0.1 / 2)


def test_a_tool_is_shorter_and_a_corner_closes_where_a_part_sets_warm():
    asked = ("--length", "1000", "--part-expansion", "0", "--set-above", "50")
    found = answer("mold_size", *asked, "--tool-expansion", "20")
    assert found["tool_mm"] == pytest.approx(1000 / 1.001)
    assert found["corner_closes_deg"] is None
    corner = ("--corner", "90", "--through-expansion", "40")
    found = answer("mold_size", *asked, "--tool-expansion", "0", *corner)
    assert found["longer_than_part_mm"] == 0
    assert found["corner_closes_deg"] == pytest.approx(90 * 40e-6 * 50)


def test_a_hole_for_a_tolerance_and_the_tolerance_of_a_hole_agree():
    sized = answer("fastener_hole", "--fastener", "5", "--tolerance", "0.3")
    assert sized == {"free": pytest.approx(5.3), "held": pytest.approx(5.6)}
    for way in ("free", "held"):
        back = answer("fastener_hole", "--fastener", "5", "--hole", str(sized[way]))
        assert back[way] == pytest.approx(0.3)
    leaning = ("--held-tolerance", "0.1", "--through", "10", "--held-depth", "5")
    found = answer("fastener_hole", "--fastener", "5", "--tolerance", "0.3", *leaning)
    assert found["held"] == pytest.approx(5 + 0.3 + 0.1 * (1 + 2 * 10 / 5))


@pytest.mark.parametrize(
    ("edge", "flush", "facing"),
    [
        ("upstream", "0.3", "forward"),
        ("upstream", "-0.3", "aft"),
        ("downstream", "0.3", "aft"),
        ("streamwise", "0.3", "none"),
    ],
)
def test_a_measured_step_is_judged_by_the_way_it_faces(edge, flush, facing):
    asked = ("allowable_step", "--speed-kt", "90", "--edge", edge, "--flush-mm", flush)
    step = answer(*asked)["step"]
    assert (step["facing"], step["mm"]) == (facing, 0.3)
    assert step["allowed"] == (facing == "none")  # 0.284 mm at 900
    assert answer(*asked, "--sharp-step", "1800")["step"]["allowed"]


@pytest.mark.parametrize(
    "options",
    [
        ("mill_finish", "--radius", "0", "--stepover", "1"),
        ("mill_finish", "--radius", "5", "--stepover", "11"),
        ("mill_finish", "--radius", "5", "--stepover", "1", "--slopes", "90"),
        ("coupon", "--in-air", "1", "--immersed", "2"),
        ("coupon", "--in-air", "nan", "--immersed", "2"),
        ("mold_size", "--length", "9", "--part-expansion", "0", "--set-above", "1e3"),
        ("fastener_hole", "--fastener", "6", "--hole", "5"),
        ("fastener_hole", "--fastener", "6", "--tolerance", "1", "--through", "3"),
        ("allowable_step", "--speed-kt", "90", "--edge", "upstream"),
    ],
)
def test_what_cannot_be_ends_with_3(options):
    with pytest.raises(SystemExit) as ended:
        answer(*options)
    assert ended.value.code == 3
