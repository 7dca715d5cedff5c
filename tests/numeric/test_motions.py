"""How a part moves: exact rotation, hinges, what readings cannot see."""

import math

import numpy as np
import pytest

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.motions import (
    Motion,
    displace,
    free_motions,
    freedom,
    rigid_move,
    rotation_matrix,
)
from qa.numeric.plan.planner import plan_fit, plan_joints
from qa.numeric.plan.result import PlanOptions
from tests.numeric import doors


def test_a_quarter_turn_takes_x_to_y():
    # Rodrigues' rotation formula at 90 degrees about z.
    turned = rotation_matrix((0, 0, math.pi / 2)) @ [1, 0, 0]
    assert turned == pytest.approx([0, 1, 0], abs=1e-15)


def test_rates_are_the_derivatives_of_displacements():
    random = np.random.default_rng(2)
    places = random.normal(0, 300, (5, 3))
    motions = [
        Motion("swing", (0, 0, 0.3), (0, 0.6, 0.8), (100, -50, 20), -1, 1),
        *free_motions((10, 20, 30), 3, 0.02, 3, 0.02),
    ]
    amounts = random.normal(0, 0.3, len(motions))
    _, rates = displace(places, motions, amounts)
    for k in range(len(motions)):
        nudge = np.eye(len(motions))[k] * 1e-6
        ahead, _ = displace(places, motions, amounts + nudge)
        behind, _ = displace(places, motions, amounts - nudge)
        assert rates[k] == pytest.approx((ahead - behind) / 2e-6, abs=1e-5)


def test_free_motion_is_a_shift_of_the_center_and_a_turn_about_it():
    motions = free_motions((100, 0, 0), 3, 1, 3, 1)
    amounts = [0, 0, 0.01, 1.0, 2.0, 3.0]  # tilts, turn, x, y, z
    shift, turn = rigid_move(motions, amounts, (100, 0, 0))
    assert shift == pytest.approx([1, 2, 3])
    assert turn == pytest.approx([0, 0, 0.01])


def test_on_a_straight_seam_sliding_along_it_is_held():
    joint = build_joint(
        (
            Station(
                str(k), (100.0 * k, 0.0, 0.0), gap=Limits(1, 3), flush=Limits(-1, 1)
            )
            for k in range(4)
        ),
        closed=False,
    )
    plan = plan_fit(joint, [1.0, 1.5, 2.0, 2.5], doors.none(joint))
    assert plan.held == (("free", "x"),)
    assert plan.seat.worst_after == pytest.approx(0, abs=1e-6)


def test_on_a_slanted_seam_the_slide_is_named_by_its_direction():
    joint = build_joint(
        (
            Station(str(k), (60.0 * k, 80.0 * k, 0.0), gap=Limits(1, 3))
            for k in range(4)
        ),
        closed=False,
    )
    plan = plan_fit(joint, [1.5] * 4, doors.none(joint))
    assert plan.held == (("sliding", (0.6, 0.8, 0.0)),)
    move = plan.seat.move
    # Nothing along the seam: the move is at right angles to (0.6, 0.8).
    assert 0.6 * move.x_mm + 0.8 * move.y_mm == pytest.approx(0, abs=1e-9)
    assert plan.seat.worst_after == pytest.approx(0, abs=1e-6)


def test_a_round_hatch_is_not_turned():
    around = np.arange(20) * math.pi / 10
    joint = build_joint(
        Station(
            str(k),
            (round(200 * math.cos(a), 3), round(200 * math.sin(a), 3), 0.0),
            gap=Limits(1, 3),
        )
        for k, a in enumerate(around)
    )
    gaps = np.random.default_rng(1).uniform(1, 3, 20).tolist()
    plan = plan_fit(joint, gaps, doors.none(joint))
    assert plan.held == (("free", "turn"),)
    assert plan.seat.move.turn_deg == 0


def test_an_arc_is_not_turned_about_its_own_center():
    places = [(300 * math.cos(a), 300 * math.sin(a), 0) for a in np.linspace(0, 1, 8)]
    motions = free_motions((250, 130, 0), 3, 0.02, 3, 0.02)
    places = np.array(places)
    free = freedom(motions[2:5], 90.0, places, -places / 300)
    ((kind, point),) = free.held
    assert (kind, point) == ("turning", pytest.approx((0, 0), abs=0.2))


def test_a_hinged_door_swings_about_its_hinge_and_nowhere_else():
    # The hinge stands on the left edge. 0.01 rad about z lowers the right side by 2 mm
    # (200 mm from the hinge, cosine apart): top gaps open, bottom gaps close.
    joint = doors.door(across=3, up=2, size=(100.0, 60.0))
    hinge = Motion("swing", (0, 0, 0), (0, 0, 1), (-100.0, 0, 0), -0.02, 0.02)
    moved, _ = displace(joint.places, [hinge], [0.01])
    gaps = 2.0 + (joint.gap_directions * moved).sum(axis=1)
    plan = plan_fit(
        joint, gaps.tolist(), doors.none(joint), PlanOptions(motions=(hinge,))
    )
    assert dict(plan.move.amounts)["swing"] == pytest.approx(
        math.degrees(0.01), abs=1e-6
    )
    assert plan.seat.worst_after == pytest.approx(0, abs=1e-6)
    assert plan.seat.move.turn_deg == pytest.approx(math.degrees(0.01), abs=1e-6)
    # The mean, 100 mm from the hinge, goes up by 100 sin(0.01).
    assert plan.seat.move.y_mm == pytest.approx(100 * math.sin(0.01), abs=1e-6)


def curved_door():
    """A door on a cylinder of radius 400 mm about y, with faces that look all ways."""
    rows = []
    angles = np.radians([-40, -20, 0, 20, 40])

    def at(angle, y):
        return 400 * math.sin(angle), y, 400 * math.cos(angle)

    for angle in angles:
        rows.append((at(angle, -200), (0, -1, 0), at(angle, 0)))
    for angle, side in ((angles[-1], 1), (angles[0], -1)):
        normal = (side * math.cos(angle), 0, -side * math.sin(angle))
        column = [
            (at(angle, y), normal, at(angle, 0)) for y in (-100 * side, 100 * side)
        ]
        if side == 1:
            rows += column
            top = [(at(a, 200), (0, 1, 0), at(a, 0)) for a in angles[::-1]]
            rows += top
        else:
            rows += column
    return build_joint(
        Station(
            str(k),
            place,
            normal,
            tuple(part / 400 for part in face),
            gap=Limits(1.5, 2.5),
            flush=Limits(-0.5, 0.5),
        )
        for k, (place, normal, face) in enumerate(rows)
    )


def test_a_good_curved_door_set_too_deep_gets_a_move_and_no_cut():
    joint = curved_door()
    assert not joint.flat
    # Everything in the middle, then 1 mm too deep along z.
    down = np.array([0.0, 0.0, -1.0])
    gaps = (2.0 - joint.gap_directions @ down).tolist()
    flushes = (joint.faces @ down).tolist()
    plan = plan_fit(joint, gaps, flushes)
    assert plan.outcome == "fits" and not plan.trim.needed
    assert plan.level.move.z_mm == pytest.approx(1.0, abs=0.005)
    assert plan.seat.worst_after == pytest.approx(0, abs=1e-5)
    assert plan.level.worst_after == pytest.approx(0, abs=1e-5)
    assert plan.move.raise_at([(0, 0, 400)])[0] == pytest.approx(1.0, abs=0.005)


def test_a_curved_door_put_off_by_all_six_motions_is_put_back():
    joint = curved_door()
    motions = free_motions(joint.places.mean(axis=0), 3, 1, 3, 1)
    amounts = [0.004, -0.006, 0.005, 0.8, -0.6, 0.5]
    moved, _ = displace(joint.places, motions, amounts)
    gaps = 2.0 + (joint.gap_directions * moved).sum(axis=1)
    flushes = -(joint.faces * moved).sum(axis=1)
    plan = plan_fit(joint, gaps.tolist(), flushes.tolist())
    assert plan.settled
    move = plan.move
    found = [math.radians(a) for a in (move.tilt_x_deg, move.tilt_y_deg, move.turn_deg)]
    assert found == pytest.approx(amounts[:3], abs=math.radians(0.002))
    shift = [move.x_mm, move.y_mm, move.z_mm]
    assert shift == pytest.approx(amounts[3:], abs=0.005)


def test_a_part_with_two_joints_gets_one_plan():
    # A lid between two straight seams that face each other: one alone asks for 1 mm of
    # move, both together leave half of it to each.
    low = [Station(str(k), (100.0 * k, 0.0, 0.0), gap=Limits(1, 3)) for k in range(3)]
    high = [
        Station(str(k), (200.0 - 100.0 * k, 300.0, 0.0), gap=Limits(1, 3))
        for k in range(3)
    ]
    joints = [build_joint(rows, closed=False) for rows in (low, high)]
    one = Measured(joints[0], [2.0] * 3, [None] * 3)
    other = Measured(joints[1], [1.0] * 3, [None] * 3)
    plan = plan_joints([one, other])
    assert plan.seat.move.y_mm == pytest.approx(-0.5, abs=1e-6)
    assert plan.seat.worst_after == pytest.approx(0.5, abs=1e-6)
    assert [station.joint for station in plan.stations] == [0, 0, 0, 1, 1, 1]
