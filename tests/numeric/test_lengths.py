"""Lengths of record. 1 in = 25.4 mm: international yard and pound agreement, 1959."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.numeric.units import LengthError, format_length, parse_length

WHOLE_NM = st.integers(-(10**11), 10**11)


@pytest.mark.parametrize(
    ("text", "unit", "nm"),
    [
        ("1", "in", 25_400_000),
        ("0.00001", "in", 254),
        ("2.35", "mm", 2_350_000),
        ("0.000001", "mm", 1),
        ("-0.5", "mm", -500_000),
        ("\N{MINUS SIGN}0.5", "mm", -500_000),
        ("+0.5", "mm", 500_000),
        (".5", "mm", 500_000),
        ("5.", "mm", 5_000_000),
        (" 2.0 ", "mm", 2_000_000),
        ("-0", "mm", 0),
        ("007", "mm", 7_000_000),
    ],
)
def test_a_typed_length_is_whole_nanometers(text, unit, nm):
    assert parse_length(text, unit) == nm


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no number"),
        (" ", "no number"),
        ("-", "not a number"),
        (".", "not a number"),
        ("abc", "not a number"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("-Infinity", "not a number"),
        ("2 5", "not a number"),
        ("1_000", "not a number"),
        ("--1", "not a number"),
        ("0x10", "not a number"),
        ("\u0663", "not a number"),
        ("1e-3", "without an exponent"),
        ("1.2.3", "more than one decimal point"),
        ("2,5", "decimal point, not a comma"),
        ("0.1234567", "more than 6 decimals"),
        ("1000001", "100 m"),
        ("100000.000001", "100 m"),
        ("1" * 400, "100 m"),
    ],
)
def test_what_is_no_length_is_refused_with_the_reason(text, why):
    with pytest.raises(LengthError, match=why):
        parse_length(text, "mm")


def test_an_inch_carries_five_decimals():
    with pytest.raises(LengthError, match="more than 5 decimals of in"):
        parse_length("0.123456", "in")


def test_an_unknown_unit_is_refused():
    with pytest.raises(LengthError, match="'cm' is not known"):
        parse_length("1", "cm")


def test_a_decimal_comma_is_read_only_where_told():
    assert parse_length("2,5", "mm", comma=True) == 2_500_000
    assert parse_length("2.5", "mm", comma=True) == 2_500_000
    for text in ("1,234.5", "1.234,5", "1,2,3"):
        with pytest.raises(LengthError, match="more than one decimal separator"):
            parse_length(text, "mm", comma=True)


@pytest.mark.parametrize(
    ("nm", "unit", "places", "text"),
    [
        (2_350_000, "mm", None, "2.35"),
        (10_000_000, "mm", None, "10"),
        (254, "in", None, "0.00001"),
        (25_400_000, "in", None, "1"),
        (1_000_000, "in", None, "0.03937"),
        (2_350_000, "mm", 2, "2.35"),
        (2_345_000, "mm", 2, "2.34"),  # halves to even, ISO 80000-1 rule A
        (2_355_000, "mm", 2, "2.36"),
        (2_500_000, "mm", 0, "2"),
        (-400, "mm", 2, "0.00"),
        (-400, "mm", None, "-0.0004"),
        (0, "in", None, "0"),
    ],
)
def test_a_length_is_written_as_asked(nm, unit, places, text):
    assert format_length(nm, unit, places) == text


@given(WHOLE_NM)
def test_millimeters_come_back_exactly(nm):
    assert parse_length(format_length(nm, "mm"), "mm") == nm


@given(st.integers(-3 * 10**8, 3 * 10**8))
def test_inches_come_back_exactly(steps):
    nm = steps * 254  # five decimals of an inch
    assert parse_length(format_length(nm, "in"), "in") == nm


@given(WHOLE_NM, st.integers(0, 6))
def test_rounding_is_within_half_of_the_last_place(nm, places):
    step = 10 ** (6 - places)
    back = parse_length(format_length(nm, "mm", places), "mm", comma=False)
    assert 2 * abs(back - nm) <= step
