"""How far a turn takes readings from their second derivatives: what bounds boxes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.plan import bending
from qa.numeric.plan.adjusters import Adjuster, Rig

WAYS = np.eye(3).tolist()
RIG = Rig(
    [
        Adjuster(f"A{k}", place, way, -9.0, 9.0, 0.1)
        for k, (place, way) in enumerate(
            [((300.0, 0.0, 0.0), way) for way in WAYS]
            + [((0.0, 200.0, 0.0), WAYS[0]), ((0.0, 200.0, 0.0), WAYS[2])]
            + [((0.0, 0.0, 100.0), WAYS[1])]
        )
    ],
    rho=300.0,
)
SMALL = 1e-9  # mm: roundings


def turned(places, ways, start, angles):
    """(how far readings, and their slopes by each angle (3, m), lie off after a turn
    from what derivatives up to the second make of them, bounds of both)."""
    lines = RIG.lines(np.array(places) + RIG.center, ways)
    at, to = (
        (np.r_[each, 0, 0, 0] * RIG.unit) @ RIG.basis
        for each in (start, start + angles)
    )

    def seen(movements):
        slopes = RIG.rates(np.array(places) + RIG.center, ways, RIG.step(movements))
        return (RIG.features(movements[None]) @ lines)[0], slopes[:, :3].T * RIG.rho

    (values, slopes), (ends, end_slopes) = seen(at), seen(to)
    bends, arms = RIG.bends(at, lines), bending.arms_of(lines, RIG.tilting(at))
    second = np.einsum("i,j,ijm->m", angles, angles, bends) / 2
    off = ends - values - angles @ slopes - second
    off_slopes = end_slopes - slopes - np.einsum("j,ijm->im", angles, bends)
    sizes = np.abs(angles)
    bounds = bending.third(arms, sizes), bending.slopes_off(arms, sizes)
    return np.abs(off), np.abs(off_slopes), *bounds


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 100_000))
def test_a_turn_departs_from_second_derivatives_by_no_more_than_is_said(seed):
    random = np.random.default_rng(seed)
    places = random.normal(0, 300, (20, 3)) * 10.0 ** random.uniform(-3, 0, 3)
    ways = random.normal(size=(20, 3)) * 10.0 ** random.uniform(-3, 0, 3)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    start = random.uniform(-0.2, 0.2, 3)
    angles = random.uniform(-0.1, 0.1, 3) * 10.0 ** random.uniform(-2, 0, 3)
    off, off_slopes, third, slopes_off = turned(places, ways, start, angles)
    assert (off <= third + SMALL).all()
    assert (off_slopes <= slopes_off + SMALL).all()


@pytest.mark.parametrize(
    ("arm", "angles", "share"),
    [
        # What stands on the plane goes only where a tilt has laid it down: by series
        # 3 b g^2 h / 6 beside g^3 y / 6.
        ((0.0, 300.0, 300.0), (0.0, 0.02, -0.05), 0.6),
        ((0.0, 300.0, 0.0), (0.0, 0.0, 0.05), 0.95),
    ],
)
def test_what_is_said_is_little_more_than_what_a_turn_can_do(arm, angles, share):
    off, _, third, _ = turned([arm], np.eye(3)[:1], np.zeros(3), np.array(angles))
    assert share * third <= off <= third + SMALL


def test_a_turn_in_the_plane_leaves_what_stands_out_of_it():
    places = np.random.default_rng(3).normal(0, 300, (20, 3))
    up = np.tile(np.eye(3)[2], (20, 1))
    _, _, third, slopes_off = turned(places, up, np.zeros(3), np.array([0, 0, 0.3]))
    assert (third == 0).all() and (slopes_off == 0).all()
