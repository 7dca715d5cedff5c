"""The server's half of the vectors that tests/browser/js holds the tablet to."""

import json
from pathlib import Path

import pytest

from qa.numeric.verdict.acceptance import acceptance, judge
from qa.wording import lengths
from shop.numeric.units import LengthError, format_length, parse_length

VECTORS = Path(__file__).parent / "vectors"
LENGTHS = json.loads((VECTORS / "lengths.json").read_text())
CASES = json.loads((VECTORS / "verdicts.json").read_text())["cases"]


@pytest.mark.parametrize(
    "case", LENGTHS["parse"], ids=lambda c: f"{c['text']}-{c['unit']}"
)
def test_the_server_reads_a_typed_length_as_the_vectors_say(case):
    if case["nm"] is None:
        with pytest.raises(LengthError):
            parse_length(case["text"], case["unit"], comma=True)
    else:
        assert parse_length(case["text"], case["unit"], comma=True) == case["nm"]


@pytest.mark.parametrize(
    "case", LENGTHS["format"], ids=lambda c: f"{c['nm']}-{c['unit']}"
)
def test_the_server_writes_a_length_as_the_vectors_say(case):
    assert format_length(case["nm"], case["unit"], case["places"]) == case["text"]


@pytest.mark.parametrize("case", LENGTHS["limits"])
def test_the_server_tells_the_limits_that_govern_as_the_vectors_say(case):
    limits, unit = case["limits"], case["unit"]
    required = limits["low_nm"], limits["high_nm"]
    inside = limits["accept_low_nm"], limits["accept_high_nm"]
    told = lengths.limits(*required, unit)
    if accepted := lengths.accepted(required, inside, unit):
        told = f"accepted {accepted}, required {told}"
    assert told == case["text"]


@pytest.mark.parametrize("case", CASES)
def test_the_server_draws_in_the_limits_as_the_vectors_say(case):
    limits = case["limits"]
    drawn = acceptance(limits["low_nm"], limits["high_nm"], case["u_nm"], case["rule"])
    assert drawn.guard_nm == case["guard_nm"]
    assert [drawn.low_in, drawn.high_in, drawn.low_out, drawn.high_out] == [
        limits[key]
        for key in (
            "accept_low_nm",
            "accept_high_nm",
            "reject_low_nm",
            "reject_high_nm",
        )
    ]


@pytest.mark.parametrize("case", CASES)
def test_the_server_judges_as_the_vectors_say(case):
    limits = case["limits"]
    for reading in case["readings"]:
        judged = judge(
            reading["x_nm"],
            limits["low_nm"],
            limits["high_nm"],
            case["u_nm"],
            case["rule"],
        )
        assert (str(judged.verdict), judged.deviation_nm) == (
            reading["verdict"],
            reading["deviation_nm"],
        )
