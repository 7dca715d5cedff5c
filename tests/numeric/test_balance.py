"""Weight and balance against the examples of the FAA handbook."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.numeric.balance import (
    BalanceError,
    Item,
    residual,
    roll_up,
    shift,
)

WHEELS = [
    Item("left main", 830, 128),
    Item("right main", 836, 128),
    Item("nose", 340, 50),
]


def test_the_lever_example():
    """100 lb at 50, 100 at 90, 200 at 150: 44,000 / 400 = 110.0 in (handbook, from
    memory; computed)."""
    items = [Item("a", 100, 50), Item("b", 100, 90), Item("c", 200, 150)]
    total = roll_up(items)
    assert (total.moment, total.mass, total.arm) == (44_000, 400, 110.0)


def test_an_airplane_on_three_scales():
    """230,248 / 2006 = 114.78 in (FAA-H-8083-1 prints 114.8; arms from memory)."""
    total = roll_up(WHEELS)
    assert (total.moment, total.mass) == (230_248, 2006)
    assert total.arm == pytest.approx(114.78, abs=5e-3)


def test_tare_is_taken_off_the_scale():
    assert roll_up([Item("left main", 850, 128, tare=20)]).mass == 830


def test_moving_a_mass_moves_the_center_of_gravity():
    """w d / W; by hand: 20 over 50 in 2000 is 0.5."""
    assert shift(20, 50, 2000) == 0.5


def test_weighed_estimated_and_missing_are_told_apart():
    total = roll_up(
        [
            Item("wing", 80, 100),
            Item("paint", 5, 110, "estimated"),
            Item("seat", None, 90, "missing"),
        ]
    )
    assert (total.weighed, total.estimated, total.missing) == (80, 5, ("seat",))
    assert not total.complete
    assert total.arm == pytest.approx((8000 + 550) / 85)


def test_what_the_items_do_not_explain_is_a_line_of_its_own():
    """By hand: items 85 at 100, weighed 90 at 101: 5 are left, at (9090 - 8500) / 5."""
    total = roll_up([Item("wing", 80, 100), Item("fin", 5, 100)])
    left = residual(total, 90, 101)
    assert (left.mass, left.arm) == (5, pytest.approx(118))
    assert residual(total, 85, 100).arm is None


def test_nothing_has_no_center_of_gravity():
    assert roll_up([]).arm is None


masses = st.lists(
    st.tuples(st.floats(0.1, 500), st.floats(-200, 400)), min_size=1, max_size=12
)


@given(masses)
def test_the_residual_makes_the_items_add_up(pairs):
    total = roll_up(Item(str(k), mass, arm) for k, (mass, arm) in enumerate(pairs))
    left = residual(total, total.mass + 3, 50)
    assert total.mass + left.mass == pytest.approx(total.mass + 3)
    assert total.moment + left.moment == pytest.approx((total.mass + 3) * 50)


@given(masses)
def test_the_center_of_gravity_is_among_its_items(pairs):
    total = roll_up(Item(str(k), mass, arm) for k, (mass, arm) in enumerate(pairs))
    arms = [arm for _, arm in pairs]
    assert min(arms) - 1e-6 <= total.arm <= max(arms) + 1e-6


@pytest.mark.parametrize(
    ("call", "why"),
    [
        (lambda: Item("x", 1, 0, "guessed"), "x: 'guessed'"),
        (lambda: Item("x", None, 0), "x: a mass is missing"),
        (lambda: Item("x", 1, 0, "missing"), "or it is there"),
        (lambda: Item("x", math.nan, 0), "x: mass must be a number"),
        (lambda: Item("x", 1, 0, tare=-1), "x: tare"),
        (lambda: shift(1, 1, 0), "total mass"),
        (lambda: residual(roll_up(WHEELS), 0, 10), "weighed mass"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(call, why):
    with pytest.raises(BalanceError, match=why):
        call()
