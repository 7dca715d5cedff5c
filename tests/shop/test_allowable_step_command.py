"""`allowable_step`: numbers from files and options alone.

Source of the check: Reynolds number 900 on a height h means h = 900 nu / U; kinematic
viscosity at sea level 1.4607e-5 m2/s (ICAO Doc 7488 / ISO 2533 table, from memory).
"""

import json
from io import StringIO

import pytest
from django.core.management import call_command


def allowable(*options: str) -> str:
    out = StringIO()
    call_command("allowable_step", *options, stdout=out, stderr=StringIO())
    return out.getvalue()


def test_a_sharp_step_at_a_hundred_knots_at_sea_level():
    allowed = json.loads(allowable("--speed-kt", "100", "--json"))
    by_key = {row["what"]: row["mm"] for row in allowed["allowed"]}
    expected = 1000 * 900 * 1.4607e-5 / (100 * 1852 / 3600)
    assert by_key["aft_step"] == pytest.approx(expected, rel=1e-3)
    assert by_key["rounded_step"] == pytest.approx(3 * by_key["aft_step"])
    assert allowed["wave_ratio"] is None


def test_it_says_that_sources_conflict_until_another_number_is_given():
    assert "Sources conflict" in allowable("--speed-m-s", "50")
    given = allowable("--speed-m-s", "50", "--sharp-step", "1800", "--chord-m", "0.7")
    assert "Sources conflict" not in given and "(as given)" in given
    assert "double amplitude over wavelength" in given


@pytest.mark.parametrize(
    "options", [["--speed-kt", "0"], ["--speed-kt", "fast"], [], ["--speed-kt", "-9"]]
)
def test_a_speed_that_cannot_be_ends_with_3(options):
    with pytest.raises(SystemExit) as ended:
        allowable(*options)
    assert ended.value.code == 3
