"""The best seat and level: published minimax fits, cases worked by hand, recovery."""

import math

import numpy as np
import pytest

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.motions import Motion
from qa.numeric.plan.nearest import nearest_of_hull, nearest_point
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions
from qa.numeric.plan.seat import NoFeasibleMotion
from tests.numeric import doors


def test_a_part_too_far_right_moves_left():
    # Limits 1 to 3, so that d is |gap - 2|. Top 2.4 and bottom 2.0 are best at y = 0.2,
    # both 2.2: worst 0.2. Right 1.2 and left 2.6 become 1.2 - x and 2.6 + x; from
    # x = -0.8 to -0.6 both stay within 0.2 and their deviations sum to the least, 0.2.
    # Of these the least movement is -0.6. No gap sees a turn: each gap direction goes
    # through the mean.
    joint = doors.square()
    plan = plan_fit(joint, [1.2, 2.4, 2.6, 2.0], doors.none(joint))
    seat = plan.seat
    assert (seat.move.x_mm, seat.move.y_mm) == pytest.approx((-0.6, 0.2), abs=1e-6)
    assert seat.worst_before == pytest.approx(0.8)
    assert seat.worst_after == pytest.approx(0.2, abs=1e-6)
    assert seat.conforms and plan.exit_code == 0
    assert plan.held == (("free", "turn"),)
    after = [station.gap_after for station in plan.stations]
    assert after == pytest.approx([1.8, 2.2, 2.0, 2.2], abs=1e-6)


def test_a_move_stays_in_its_bounds():
    joint = doors.square()
    plan = plan_fit(
        joint, [1.2, 2.0, 2.8, 2.0], doors.none(joint), PlanOptions(max_move_mm=0.3)
    )
    assert plan.seat.move.x_mm == pytest.approx(-0.3)
    assert plan.seat.worst_after == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize(
    ("heights", "half_width"),
    [
        # Chebyshev fits of a plane to the corners of a square: the twisted one cannot
        # be improved, one raised corner leaves a quarter of its height (closed forms,
        # check-values section 7).
        ((0.1, -0.1, 0.1, -0.1), 0.1),
        ((0.3, 0.1, 0.1, 0.1), 0.05),
    ],
)
def test_the_level_is_the_minimax_plane(heights, half_width):
    corners = ((100, 100), (-100, 100), (-100, -100), (100, -100))
    joint = build_joint(
        Station(str(k), (x, y, 0.0), (x / 141.4, y / 141.4, 0.0), flush=Limits(-1, 1))
        for k, (x, y) in enumerate(corners)
    )
    plan = plan_fit(joint, doors.none(joint), heights)
    assert plan.seat is None and plan.trim is None
    assert plan.level.worst_after == pytest.approx(half_width, abs=1e-6)


@pytest.mark.parametrize(
    ("points", "half_width"),
    [
        (((0, 0), (1, 1), (2, 0)), 0.5),
        (((0, 0), (1, 1), (2, 1), (3, 3)), 0.5),
    ],
)
def test_along_a_straight_seam_the_level_is_the_minimax_line(points, half_width):
    # Closed forms of check-values section 7, in tenths: 0.1 mm per 100 mm.
    joint = build_joint(
        (
            Station(str(x), (100.0 * x, 0.0, 0.0), flush=Limits(-1, 1))
            for x, _ in points
        ),
        closed=False,
    )
    plan = plan_fit(joint, doors.none(joint), [0.1 * y for _, y in points])
    assert plan.level.worst_after == pytest.approx(0.1 * half_width, abs=1e-6)
    assert ("free", "tilt_x") in plan.held


def test_positive_tilt_x_raises_the_upper_side():
    joint = doors.square(gap=(None, None), flush=(-1, 1))
    plan = plan_fit(joint, doors.none(joint), [0.0, -0.5, 0.0, 0.5])
    assert plan.level.worst_after == pytest.approx(0, abs=1e-6)
    # sin(tilt) * 100 mm = 0.5 mm
    assert plan.level.move.tilt_x_deg == pytest.approx(math.degrees(math.asin(0.005)))


@pytest.mark.parametrize(
    "move", [(0.7, -0.5, 0.4), (-2.1, 1.3, -0.85), (0.0, 0.0, 0.2)]
)
def test_a_part_moved_by_a_known_move_is_put_back(move):
    joint = doors.door(across=6, up=4)
    # It was put off by the inverse, so that the plan is the move itself.
    gaps = (2.0 + doors.turned(joint, *move)).tolist()
    seat = plan_fit(joint, gaps, doors.none(joint)).seat
    x, y, turn = move
    assert seat.move.x_mm == pytest.approx(x, abs=0.005)
    assert seat.move.y_mm == pytest.approx(y, abs=0.005)
    assert seat.move.turn_deg == pytest.approx(turn, abs=0.002)
    assert seat.worst_after == pytest.approx(0, abs=1e-6)


def test_two_parts_of_equal_fit_are_told_apart_by_the_least_movement():
    # Only least gaps are asked for, and all are ample: the part stays where it is.
    joint = doors.door(gap=(1.0, None), flush=(None, None))
    plan = plan_fit(joint, [2.5] * len(joint.stations), doors.none(joint))
    move = plan.seat.move
    assert (move.x_mm, move.y_mm, move.turn_deg) == pytest.approx((0, 0, 0), abs=1e-6)


def test_least_movement_goes_no_further_than_the_limits_ask():
    # One-sided: at 0.25 mm inside the limit d is 0. The right gap is 1.0, limit 1.0, so
    # that x = -0.25 is the least move after which no reading has any deviation.
    joint = doors.square(gap=(1.0, None))
    plan = plan_fit(joint, [1.0, 3.0, 3.0, 3.0], doors.none(joint))
    assert plan.seat.worst_after == pytest.approx(0, abs=1e-6)
    assert plan.seat.move.x_mm == pytest.approx(-0.25, abs=1e-6)


def test_a_seat_never_closes_a_gap_below_zero():
    # The middle of 2 to 6 asks the bottom for y = +2, but at the top there is only 0.5:
    # the bottom ends at 2.5, 1.5 from its middle, in half widths 0.75.
    joint = build_joint(
        [
            Station("T", (0.0, 100.0, 0.0), (0, 1, 0)),
            Station("L", (-100.0, 0.0, 0.0), (-1, 0, 0)),
            Station("B", (0.0, -100.0, 0.0), (0, -1, 0), gap=Limits(2, 6)),
        ]
    )
    still = PlanOptions(max_turn_deg=0.0)
    plan = plan_fit(joint, [0.5, 3.0, 2.0], doors.none(joint), still)
    assert plan.stations[0].gap_after == pytest.approx(0, abs=1e-6)
    assert plan.seat.worst_after == pytest.approx(0.75, abs=1e-6)


def test_a_part_is_not_pressed_into_the_land_beneath_it():
    joint = doors.square(gap=(None, None), flush=(-0.5, 0.5), land=0.2)
    plan = plan_fit(joint, doors.none(joint), [1.0, 1.0, 1.0, 1.0])
    assert plan.level.move.z_mm == pytest.approx(-0.2, abs=1e-6)
    assert not plan.level.conforms and plan.exit_code == 2


def test_bounds_that_only_collide_are_refused():
    push = Motion("push", (1.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 2.0, 3.0)
    joint = doors.square()
    with pytest.raises(NoFeasibleMotion, match="collides, by 0.500 mm"):
        plan_fit(joint, [1.5, 2, 2, 2], doors.none(joint), PlanOptions(motions=(push,)))


def test_what_overlaps_now_is_drawn_apart_first():
    joint = doors.square()
    plan = plan_fit(joint, [-0.3, 2.0, 1.0, 2.0], doors.none(joint))
    assert min(s.gap_after for s in plan.stations) >= -1e-6
    assert plan.seat.move.x_mm == pytest.approx(-0.65, abs=1e-6)


def test_the_same_readings_give_the_same_plan():
    random = np.random.default_rng(5)
    joint = doors.door(across=6, up=4)
    gaps = random.uniform(0.5, 3.5, len(joint.stations)).round(2).tolist()
    assert plan_fit(joint, gaps, gaps) == plan_fit(joint, gaps, gaps)


def test_the_nearest_point_of_a_triangle_is_found_two_ways():
    # Corners (1, 2), (3, 2), (1, -1): the side x = 1 is nearest, at (1, 0).
    corners = np.array([[1.0, 2.0], [3.0, 2.0], [1.0, -1.0]])

    def lowest(direction):
        return corners[np.argmin(corners @ direction)]

    by_corners = nearest_of_hull(lowest, corners[1])
    # The same triangle by its sides: x >= 1, y <= 2, and 3x - 2y <= 5.
    lines = np.array([[1.0, 0.0], [0.0, 1.0], [3.0, -2.0]])
    least, most = np.array([1.0, -np.inf, -np.inf]), np.array([np.inf, 2.0, 5.0])
    by_sides = nearest_point(lines, least, most, corners[0])
    assert by_corners == pytest.approx([1.0, 0.0], abs=1e-9)
    assert by_sides == pytest.approx([1.0, 0.0], abs=1e-9)
