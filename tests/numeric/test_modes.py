"""How a whole part is off: known shapes are found again, whatever else it does."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.measuring.modes import Mode, modes

ROUND = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
PLACES = [(400.0 * x, 300.0 * y, 0.0) for x, y in ROUND]
WAYS = [(x - 1.0, y - 1.0, 0.0) for x, y in ROUND]  # outward
WAYS = [tuple(np.array(way) / np.linalg.norm(way)) for way in WAYS]
AMOUNT = st.floats(-2, 2)


@given(AMOUNT, AMOUNT, AMOUNT, AMOUNT)
def test_a_twist_is_told_from_a_raise_and_a_tilt(high, tilt_x, tilt_y, twist):
    """Made by hand in x and y about the middle: a saddle is +-twist at the corners."""
    u = np.array([(x - 400) / 400 for x, _, _ in PLACES])
    v = np.array([(y - 300) / 300 for _, y, _ in PLACES])
    flushes = high + tilt_x * u + tilt_y * v + twist * u * v
    found = modes(PLACES, WAYS, [0.25] * 8, flushes.tolist())
    assert found[Mode.TWISTED].mm == pytest.approx(twist, abs=1e-9)
    assert found[Mode.HIGH].mm == pytest.approx(high, abs=1e-9)
    assert found[Mode.SMALL].mm == pytest.approx(0.25)


@given(AMOUNT, AMOUNT, AMOUNT, AMOUNT, st.sets(st.integers(0, 7), max_size=2))
def test_what_is_left_of_a_part_tells_the_same_of_the_whole(
    high, tilt, small, shift, missing
):
    """A raise and a tilt, a shrinkage and a shift: the mean of all stations is found
    from those that were read, whichever are missing."""
    u = np.array([(x - 400) / 400 for x, _, _ in PLACES])
    flushes, gaps = high + tilt * u, small + shift * np.array(WAYS)[:, 0]
    left = [
        [None if k in missing else value for k, value in enumerate(values)]
        for values in (gaps.tolist(), flushes.tolist())
    ]
    found = modes(PLACES, WAYS, *left)
    assert found[Mode.HIGH].mm == pytest.approx(flushes.mean(), abs=1e-9)
    assert found[Mode.SMALL].mm == pytest.approx(gaps.mean(), abs=1e-9)


def test_what_cannot_be_told_of_a_whole_part_says_why():
    line = [(100.0 * n, 0.0, 0.0) for n in range(8)]

    def why(mode, places, flushes):
        ways = WAYS[: len(places)]
        return modes(places, ways, [0.0] * len(places), flushes)[mode].why.code

    assert why(Mode.TWISTED, line, [0.1] * 8) == "no_saddle"
    assert why(Mode.TWISTED, PLACES[:4], [0.1] * 4) == "few_stations"
    assert why(Mode.HIGH, PLACES, [0.1] * 4 + [None] * 4) == "few_stations"
    edge = [(100.0 * n, 0.0, 0.0) for n in range(5)]
    bent = [*edge, (0.0, 900.0, 0.0), (0.0, 800.0, 0.0), (0.0, 700.0, 0.0)]
    assert why(Mode.HIGH, bent, [0.1] * 5 + [None] * 3) == "stations_alike"
    assert modes(line, WAYS, [0.0] * 8, [0.1] * 7 + [None])[Mode.HIGH].mm == (
        pytest.approx(0.1)
    )
