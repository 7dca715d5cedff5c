"""How a whole part is off: known shapes are found again, whatever else it does."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.numeric.measuring.modes import Mode, modes

ROUND = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
PLACES = [(400.0 * x, 300.0 * y, 0.0) for x, y in ROUND]
AMOUNT = st.floats(-2, 2)


@given(AMOUNT, AMOUNT, AMOUNT, AMOUNT)
def test_a_twist_is_told_from_a_raise_and_a_tilt(high, tilt_x, tilt_y, twist):
    """Made by hand in x and y about the middle: a saddle is +-twist at the corners."""
    u = np.array([(x - 400) / 400 for x, _, _ in PLACES])
    v = np.array([(y - 300) / 300 for _, y, _ in PLACES])
    flushes = high + tilt_x * u + tilt_y * v + twist * u * v
    found = modes(PLACES, [0.25] * 8, flushes.tolist())
    assert found[Mode.TWISTED] == pytest.approx(twist, abs=1e-9)
    assert found[Mode.HIGH] == pytest.approx(high, abs=1e-9)
    assert found[Mode.SMALL] == pytest.approx(0.25)


def test_what_was_not_read_everywhere_tells_no_mode():
    found = modes(PLACES, [0.1] * 7 + [None], [0.1] * 8)
    assert found[Mode.SMALL] is None
    assert found[Mode.HIGH] == pytest.approx(0.1)
    assert modes(PLACES, [0.1] * 8, [None] * 8)[Mode.HIGH] is None


def test_stations_in_a_line_tell_no_twist():
    line = [(100.0 * n, 0.0, 0.0) for n in range(8)]
    assert modes(line, [0.0] * 8, [0.1] * 8)[Mode.TWISTED] is None
    assert modes(PLACES[:4], [0.0] * 4, [0.1] * 4)[Mode.TWISTED] is None
