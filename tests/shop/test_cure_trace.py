"""Cure traces as loggers write them."""

import pytest

from shop.files.csv_table import FileComplaints
from shop.files.cure_trace import parse

GOOD = """minutes,tc1_c,Lower skin (F),vacuum_kpa
0,20,68,90
10,30.5,,91
20,41,104,
"""


def complaints(text):
    with pytest.raises(FileComplaints) as refused:
        parse(text if isinstance(text, bytes) else text.encode())
    return [one.located("trace.csv") for one in refused.value.complaints]


def test_any_number_of_sensors_in_either_unit_and_the_vacuum_are_read():
    trace = parse(GOOD.encode())
    assert list(trace.sensors) == ["tc1", "lower_skin"]
    assert trace.sensors["tc1"].values == (20, 30.5, 41)
    assert trace.sensors["lower_skin"].minutes == (0, 20)
    assert trace.sensors["lower_skin"].values == pytest.approx((20, 40))
    assert trace.vacuum.values == (90, 91)


@pytest.mark.parametrize(
    ("column", "cells"),
    [
        ("minutes", ("5", "15.5")),
        ("seconds", ("300", "930")),
        ("hours", ("0.5", "0.675")),
        ("time", ("23:55", "00:05:30")),
        ("time", ("2026-11-24 23:55", "2026-11-25 00:05:30")),
        ("time", ("2026-11-24T23:55:00+01:00", "2026-11-25T00:05:30+01:00")),
    ],
)
def test_time_is_counted_from_the_first_row(column, cells):
    rows = "\n".join(f"{cell},20" for cell in cells)
    trace = parse(f"{column},tc1_c\n{rows}\n".encode())
    assert trace.sensors["tc1"].minutes == pytest.approx((0, 10.5))


@pytest.mark.parametrize(
    ("column", "kpa"), [("kpa", 90.0), ("mbar", 9.0), ("inhg", 304.77)]
)
def test_vacuum_in_the_units_of_pumps(column, kpa):
    """1 inHg is 3.386389 kPa (from memory)."""
    trace = parse(f"minutes,a_c,vacuum_{column}\n0,20,90\n".encode())
    assert trace.vacuum.values[0] == pytest.approx(kpa, abs=0.01)


@pytest.mark.parametrize("silent", ["", "-", "OL", "open", "NaN"])
def test_a_sensor_that_said_nothing_is_left_out(silent):
    text = f"minutes;a_c\n0;20\n1;{silent}\n2;22\n"
    assert parse(text.encode()).sensors["a"].minutes == (0, 2)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("tc1_c\n20\n", "trace.csv:1: minutes: a column of time is missing"),
        ("minutes,hours,a_c\n0,0,1\n", "1: hours: a second column of time"),
        ("minutes\n0\n", "there is no temperature"),
        ("minutes,a_k\n0,300\n", "1: a_k: the column is not known"),
        ("minutes,a_c,vacuum_psi\n0,1,1\n", "unit 'psi' is not known"),
        ("minutes,a_c,A (C)\n0,1,1\n", "sensor a is there twice"),
        ("minutes,a_c\n0,20\n0,21\n", "3: minutes: time does not go on"),
        ("minutes,a_c\n5,20\n4,21\n", "3: minutes: time does not go on"),
        ("minutes,a_c\n0,warm\n", "2: a_c: 'warm' is not a number"),
        ("minutes,a_c\n0,9999\n", "2: a_c: 9999 cannot be: is the sensor open?"),
        ("minutes,a_c,b_c\n0,20,\n1,20,\n", "1: b_c: the sensor said nothing at all"),
        ("time,a_c\n25:00,20\n", "2: time: '25:00' is no time of day"),
        ("time,a_c\nnoon,20\n", "2: time: 'noon' is no time"),
        ("minutes,a_c\n", "there are no readings"),
        ("minutes,a_c\n0,20,30\n", "3 cells where the header has 2"),
        (b"\x00\x01", "binary"),
    ],
)
def test_a_trace_that_cannot_be_used_says_where_and_why(text, said):
    assert any(said in line for line in complaints(text))


def test_everything_wrong_is_told_at_once():
    found = complaints("minutes,a_c\n0,warm\nnever,20\n2,9999\n")
    assert len(found) == 3


def test_times_with_and_without_a_zone_cannot_be_mixed():
    text = "time,a_c\n2026-11-25T09:00+01:00,20\n2026-11-25 09:10,21\n"
    assert any("3: time" in line for line in complaints(text))
