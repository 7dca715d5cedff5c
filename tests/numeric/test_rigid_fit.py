"""Rigid fits against published data, an independent solver and what must hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.numeric.holes.rigid_fit import (
    FitError,
    least_squares,
    minimax,
    smallest_enclosing,
)

UMEYAMA_SRC = [(0, 0), (1, 0), (0, 2)]
UMEYAMA_DST = [(0, 0), (-1, 0), (0, 2)]

# Constructed: 30 degrees, then (12.5, -4.25).
EXACT_SRC = [(0, 0), (100, 0), (100, 60), (0, 60), (50, 30)]
EXACT_DST = [
    (12.5, -4.25),
    (99.10254037844386, 45.75),
    (69.10254037844386, 97.71152422706632),
    (-17.5, 47.71152422706631),
    (40.80127018922193, 46.73076211353316),
]


def about_origin(fit):
    """Shift of the same move written as R p + t instead of about the centroid."""
    center = np.array(fit.center)
    cosine, sine = math.cos(fit.turn_rad), math.sin(fit.turn_rad)
    turned = np.array(
        [cosine * center[0] - sine * center[1], sine * center[0] + cosine * center[1]]
    )
    return center - turned + [fit.x_mm, fit.y_mm]


def turned(points, angle, shift=(0.0, 0.0)):
    cosine, sine = math.cos(angle), math.sin(angle)
    return np.asarray(points) @ np.array([[cosine, sine], [-sine, cosine]]) + shift


def worst_left(fit, measured, nominal):
    return float(np.max(np.hypot(*(fit.moved(measured) - np.asarray(nominal)).T)))


def test_the_least_squares_turn_is_umeyamas_and_never_a_reflection():
    """Umeyama, IEEE PAMI 13(4), 1991, section V: R 0.832, 0.555 (from memory).

    The patterns are mirror images, so that an unguarded fit would reflect. The rigid
    shift and error are computed, no publication.
    """
    fit = least_squares(UMEYAMA_SRC, UMEYAMA_DST)
    assert math.cos(fit.turn_rad) == pytest.approx(0.832, abs=5e-4)
    assert math.sin(fit.turn_rad) == pytest.approx(-0.555, abs=5e-4)
    assert math.cos(fit.turn_rad) == pytest.approx(0.8320502943, abs=1e-10)
    assert about_origin(fit) == pytest.approx([-0.98048356, 0.29686654], abs=1e-8)
    assert fit.rms_mm**2 == pytest.approx(0.6197549887, abs=1e-9)


@pytest.mark.parametrize("method", [least_squares, minimax])
def test_a_pattern_only_moved_is_put_back_exactly(method):
    """Constructed: five points, 30 degrees, (12.5, -4.25); nothing is left."""
    fit = method(EXACT_SRC, EXACT_DST)
    assert fit.turn_deg == pytest.approx(30.0, abs=1e-9)
    assert about_origin(fit) == pytest.approx([12.5, -4.25], abs=1e-9)
    assert fit.worst_mm < 1e-9
    assert fit.moved(EXACT_SRC) == pytest.approx(np.array(EXACT_DST), abs=1e-9)


def test_the_move_is_about_the_nominal_centroid():
    nominal = np.array([(0, 0), (100, 0), (100, 50), (0, 50)], dtype=float)
    center = nominal.mean(axis=0)
    measured = turned(nominal - center, math.radians(-0.5)) + center - (0.3, -0.2)
    fit = least_squares(measured, nominal)
    assert fit.turn_deg == pytest.approx(0.5, abs=1e-9)
    assert fit.center == pytest.approx((50, 25))
    # measured = c + R'(n - c) - s, so the move back is R(m - c) + R s.
    assert (fit.x_mm, fit.y_mm) == pytest.approx(
        tuple(turned([(0.3, -0.2)], math.radians(0.5))[0]), abs=1e-12
    )


def test_the_smallest_circle_of_four_corners_is_around_their_middle():
    """By hand: a 3 by 4 rectangle has a diagonal of 5."""
    center, radius = smallest_enclosing(np.array([0, 3, 3 + 4j, 4j], dtype=complex))
    assert (center.real, center.imag, radius) == pytest.approx((1.5, 2.0, 2.5))


def test_the_smallest_circle_of_an_obtuse_triangle_rests_on_its_longest_side():
    center, radius = smallest_enclosing(np.array([0, 10, 4 + 1j], dtype=complex))
    assert (center.real, center.imag, radius) == pytest.approx((5.0, 0.0, 5.0))


def test_the_smallest_circle_around_circles_touches_the_outer_rims():
    """By hand: radii 1 and 2, centers 10 apart, so that 13 is the whole width."""
    center, radius = smallest_enclosing(
        np.array([0, 10], dtype=complex), np.array([1.0, 2.0])
    )
    assert (center.real, center.imag, radius) == pytest.approx((5.5, 0.0, 6.5))


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.integers(1, 12), st.booleans())
def test_the_smallest_circle_agrees_with_a_cone_program(seed, count, with_radii):
    """Independent: clarabel on min r with |p - t| + w <= r."""
    import clarabel
    from scipy import sparse

    random = np.random.default_rng(seed)
    points = random.normal(size=(count, 2))
    radii = random.uniform(0, 1, count) if with_radii else np.zeros(count)
    # Variables x, y, r; each cone (r - w, p - t).
    rows, right, cones = [], [], []
    for point, width in zip(points, radii, strict=True):
        rows += [[0, 0, -1], [1, 0, 0], [0, 1, 0]]
        right += [-width, point[0], point[1]]
        cones.append(clarabel.SecondOrderConeT(3))
    options = clarabel.DefaultSettings()
    options.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((3, 3)),
        np.array([0.0, 0.0, 1.0]),
        sparse.csc_matrix(np.array(rows, dtype=float)),
        np.array(right),
        cones,
        options,
    )
    expected = solver.solve().x[2]
    _, radius = smallest_enclosing(points[:, 0] + 1j * points[:, 1], radii)
    assert radius == pytest.approx(expected, abs=1e-6)


def scattered(seed, count, scatter=0.2):
    random = np.random.default_rng(seed)
    nominal = random.uniform(-300, 300, (count, 2))
    angle, shift = random.uniform(-0.02, 0.02), random.uniform(-2, 2, 2)
    measured = turned(nominal, angle, shift) + random.normal(0, scatter, (count, 2))
    return measured, nominal


def brute_minimax(measured, nominal, allowances):
    """Independent: Nelder-Mead on all three unknowns from the least-squares fit."""
    from scipy.optimize import minimize

    center = np.asarray(nominal).mean(axis=0)

    def worst(move):
        moved = turned(measured - center, move[2] / 300) + center + move[:2]
        return np.max(np.hypot(*(nominal - moved).T) - allowances)

    first = least_squares(measured, nominal)
    start = [first.x_mm, first.y_mm, first.turn_rad * 300]
    for _ in range(6):
        found = minimize(
            worst,
            start,
            method="Nelder-Mead",
            options={"xatol": 1e-12, "fatol": 1e-12, "maxiter": 4000},
        )
        start = found.x
    return found.fun


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 2**32 - 1), st.integers(2, 9), st.booleans())
def test_no_search_finds_a_better_minimax(seed, count, with_allowances):
    measured, nominal = scattered(seed, count)
    allowances = (
        np.random.default_rng(seed).uniform(0, 0.3, count)
        if with_allowances
        else np.zeros(count)
    )
    fit = minimax(measured, nominal, allowances)
    left = np.hypot(*(fit.moved(measured) - nominal).T)
    expected = brute_minimax(measured, nominal, allowances)
    assert np.max(left - allowances) <= expected + 1e-9


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.integers(1, 20))
def test_minimax_is_never_worse_at_worst_and_least_squares_never_worse_in_square(
    seed, count
):
    measured, nominal = scattered(seed, count)
    square, worst = least_squares(measured, nominal), minimax(measured, nominal)
    assert worst.worst_mm <= square.worst_mm + 1e-9
    assert square.rms_mm <= worst.rms_mm + 1e-9
    assert worst.worst_mm == pytest.approx(
        worst_left(worst, measured, nominal), abs=1e-9
    )


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.floats(-3, 3), st.integers(3, 12))
def test_turning_the_whole_picture_turns_the_fit(seed, angle, count):
    measured, nominal = scattered(seed, count)
    for method in (least_squares, minimax):
        plain = method(measured, nominal)
        other = method(turned(measured, angle), turned(nominal, angle))
        assert other.turn_rad == pytest.approx(plain.turn_rad, abs=1e-7)
        assert other.worst_mm == pytest.approx(plain.worst_mm, abs=1e-9)
        shift = turned([(plain.x_mm, plain.y_mm)], angle)[0]
        assert (other.x_mm, other.y_mm) == pytest.approx(tuple(shift), abs=1e-5)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.integers(3, 12))
def test_mirroring_the_whole_picture_mirrors_the_fit(seed, count):
    measured, nominal = scattered(seed, count)
    for method in (least_squares, minimax):
        plain = method(measured, nominal)
        other = method(measured * [-1, 1], nominal * [-1, 1])
        assert other.turn_rad == pytest.approx(-plain.turn_rad, abs=1e-7)
        assert other.x_mm == pytest.approx(-plain.x_mm, abs=1e-5)
        assert other.worst_mm == pytest.approx(plain.worst_mm, abs=1e-9)


def test_the_order_of_the_points_does_not_matter():
    measured, nominal = scattered(7, 9)
    order = np.random.default_rng(7).permutation(9)
    plain, other = minimax(measured, nominal), minimax(measured[order], nominal[order])
    assert other.worst_mm == pytest.approx(plain.worst_mm, abs=1e-10)
    assert other.turn_rad == pytest.approx(plain.turn_rad, abs=1e-7)


def test_a_turn_that_one_hole_cannot_show_is_held_at_zero():
    fit = minimax([(10.3, 5.0)], [(10.0, 5.4)])
    assert (fit.x_mm, fit.y_mm, fit.turn_rad) == pytest.approx((-0.3, 0.4, 0.0))
    assert fit.worst_mm == pytest.approx(0.0, abs=1e-12)
    assert least_squares([(1, 1), (1, 1)], [(0, 0), (5, 0)]).turn_rad == 0.0


def test_where_many_turns_are_as_good_the_one_next_to_least_squares_is_taken():
    """Two holes drilled in one place: their nominal distance is the worst, whatever
    the turn, so that only the tie rule decides."""
    measured = [(0.0, 0.0), (0.0, 0.0), (100.0, 0.01)]
    nominal = [(-1.0, 0.0), (1.0, 0.0), (100.0, 0.0)]
    fit, square = minimax(measured, nominal), least_squares(measured, nominal)
    assert fit.worst_mm == pytest.approx(1.0, abs=1e-9)
    assert fit.turn_rad == pytest.approx(square.turn_rad, abs=1e-12)


@pytest.mark.parametrize(
    ("measured", "nominal", "why"),
    [
        ([(0, 0)], [(0, 0), (1, 1)], "1 measured points"),
        ([(0, math.nan)], [(0, 0)], "y of point 1 is nan"),
        ([], [], "at least one"),
        ([(0, 0, 0)], [(0, 0, 0)], "rows of x and y"),
    ],
)
def test_points_that_cannot_be_fitted_are_refused_with_the_reason(
    measured, nominal, why
):
    with pytest.raises(FitError, match=why):
        minimax(measured, nominal)


def test_allowances_must_be_one_finite_number_for_each_point():
    with pytest.raises(FitError, match="each of the 2 points"):
        minimax([(0, 0), (1, 0)], [(0, 0), (1, 0)], [0.1])
