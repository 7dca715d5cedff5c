"""What is known of a plan: the reading to take again, between stations, what is seen.

Waviness here is a sum of waves along the seam, drawn in this file. 100 joints by
default, 60 for what plans each: more by FAYLINE_KNOWN_CASES=1000.
"""

import os

import numpy as np
import pytest

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.doubt import doubtful
from qa.numeric.plan.joint_arrays import JointArrays, Measured
from qa.numeric.plan.known import with_known
from qa.numeric.plan.planner import plan_joints
from qa.numeric.plan.result import PlanOptions
from tests.numeric import doors, exactly

CASES = int(os.environ.get("FAYLINE_KNOWN_CASES", "0"))
HALF = 0.75  # of the gap limits that exactly.seam draws


def known(joint, gaps, flushes, **options):
    chosen = PlanOptions(**options)
    part = Measured(joint, gaps, flushes)
    return with_known([part], chosen, plan_joints([part], chosen))


def named_in(joint, gaps, flushes):
    arrays = JointArrays([Measured(joint, gaps, flushes)], None, "simple", "2017")
    return doubtful(arrays, arrays.gap_readings(), arrays.flush_readings())


def along(joint):
    """(where each station lies, how long all is) mm: our own sum."""
    edges = np.linalg.norm(np.roll(joint.places, -1, axis=0) - joint.places, axis=1)
    return np.r_[0.0, np.cumsum(edges)[:-1]], edges.sum()


def waves(random, joint, size, shortest):
    """Waviness (n,) mm of standard deviation `size`, waves no shorter than that."""
    where, whole = along(joint)
    number = np.arange(1, max(2, int(whole / shortest)) + 1)
    phases = 2 * np.pi * np.outer(where / whole, number)
    share = random.normal(size=(2, len(number)))
    wave = np.cos(phases) @ share[0] + np.sin(phases) @ share[1]
    return size * wave / np.sqrt(len(number))


def test_one_planted_error_of_a_millimeter_is_named_in_95_of_100_joints():
    count, named, sure = CASES or 100, 0, 0
    for seed in range(count):
        random = np.random.default_rng(seed)
        joint = exactly.seam(
            random, int(random.integers(14, 41)), float(random.choice([0.0, 30.0]))
        )
        move = random.uniform(-1, 1, 3) * [1, 1, 0.5]
        size, shortest = random.uniform(0.05, 0.2), random.uniform(60, 400)
        middle = joint.stations[0].gap.low + HALF
        read = {
            "gap": middle - joint.gap_directions @ move,
            "flush": joint.faces @ move,
        }
        for values in read.values():
            values += waves(random, joint, size, shortest)
            values += random.normal(0, 0.03, len(values))
        kind, row = random.choice(["gap", "flush"]), random.integers(len(values))
        read[kind][row] += random.choice([-1.0, 1.0])
        again = named_in(joint, *(one.round(3).tolist() for one in read.values()))
        named += (again.label, again.kind) == (str(row), kind)
        sure += again.stands_out
    assert named >= 0.95 * count, named
    assert sure >= 0.9 * count, sure


def test_without_an_error_seldom_anything_stands_out():
    count, alarms = CASES or 100, 0
    for seed in range(count):
        random = np.random.default_rng(seed)
        joint = exactly.seam(random, 20)
        gaps = joint.stations[0].gap.low + HALF + waves(random, joint, 0.2, 200)
        flushes = random.normal(0, 0.05, 20)
        alarms += named_in(joint, gaps.tolist(), flushes.tolist()).stands_out
    assert alarms <= 0.1 * count, alarms


def test_an_error_in_a_perfect_part_is_found_to_the_hundredth():
    joint = doors.door(across=7, up=5)
    gaps, flushes = [2.0] * 24, [0.0] * 24
    gaps[6] = 3.0
    again = known(joint, gaps, flushes).known.again
    assert (again.label, again.kind, again.stands_out) == ("7", "gap", True)
    assert again.expected == pytest.approx(2.0, abs=0.01)
    again = known(joint, [2.0] * 24, flushes).known.again
    assert not again.stands_out


def test_of_too_few_readings_none_is_named():
    joint = doors.square()
    assert known(joint, [1.9, 2.0, 2.1, 2.0], doors.none(joint)).known.again is None


def test_thinned_to_24_stations_the_bound_between_them_holds_in_95_percent():
    count, dense, held, sizes = CASES or 60, 10, 0, []
    for seed in range(count):
        random = np.random.default_rng(seed)
        scan = exactly.seam(random, 24 * dense)
        low = scan.stations[0].gap.low
        gaps = low + random.choice([HALF, 0.3])
        gaps = gaps - scan.gap_directions @ random.uniform(-1, 1, 3)
        shortest = float(random.choice([70.0, 150.0, 500.0]))
        gaps += waves(random, scan, random.choice([0.05, 0.15, 0.3]), shortest)
        gaps = np.maximum(gaps, 0.0)
        thin = build_joint([scan.stations[k] for k in range(0, len(gaps), dense)])
        read = np.maximum(0, gaps[::dense] + random.normal(0, 0.02, 24)).round(3)
        plan = known(thin, read.tolist(), doors.none(thin))
        bound = next(one for one in plan.known.between if one.kind == "gap")
        where, whole = along(scan)
        trims = [one.trim for one in plan.stations]
        cut = np.interp(where, np.r_[where[::dense], whole], [*trims, trims[0]])
        after = gaps + cut - _along_gaps(scan, thin, plan.move)
        worst = np.abs((after - low) / HALF - 1).max()
        held += worst <= bound.worst
        sizes.append(bound.worst / worst)
    assert held >= 0.95 * count, held
    assert np.median(sizes) < 1.6  # and says something


def _along_gaps(scan, thin, move):
    """How far a move about the mean of the thinned stations closes each gap."""
    center = thin.places.mean(axis=0)
    turn = exactly.about("z", move.turn_deg)
    shift = np.array([move.x_mm, move.y_mm, 0.0])
    moved = (scan.places - center) @ turn.T + center + shift - scan.places
    return (scan.gap_directions * moved).sum(axis=1)


def test_a_bound_is_of_the_line_between_stations_where_nothing_waves():
    joint = doors.door(across=7, up=5)
    (gap, flush) = known(joint, [2.5] * 24, [0.1] * 24, max_move_mm=0.0).known.between
    assert (gap.kind, flush.kind) == ("gap", "flush")
    assert gap.worst == pytest.approx(0.5, abs=1e-4) and gap.conforms
    assert gap.value == pytest.approx(2.5, abs=1e-4) and not gap.low


def test_stations_that_would_show_a_motion_hardly_seen_are_proposed():
    # Flushness along the lower edge only: nothing tells of the tilt about that edge.
    joint = doors.door(across=7, up=5)
    flushes = [round(0.01 * k, 2) for k in range(7)] + [None] * 17
    plan = known(joint, [2.0] * 24, flushes, uncertainty_mm=0.03)
    (hardly,) = [one for one in plan.known.hardly_seen if one.stations]
    assert hardly.kind == "flush"
    upper = {s.label for s in joint.stations if s.place[1] > 200}
    assert {label for _, label in hardly.stations} <= upper
    flushes = [0.0] * 24
    assert not known(joint, [2.0] * 24, flushes).known.hardly_seen


def test_a_turn_that_no_station_would_show_is_not_asked_after():
    angles = 2 * np.pi * np.arange(12) / 12
    ring = build_joint(
        Station(
            str(k),
            (300 * float(np.cos(a)), 300 * float(np.sin(a)), 0.0),
            (float(np.cos(a)), float(np.sin(a)), 0.0),
            gap=Limits(1, 3),
        )
        for k, a in enumerate(angles)
    )
    gaps = [2.0] * 11 + [None]
    found = known(ring, gaps, doors.none(ring)).known.hardly_seen
    assert [one.name for one in found] == [("free", "turn")] and found[0].stations == ()


def test_one_tight_spot_is_no_waviness_of_the_whole_seam():
    joint = doors.door(across=7, up=5)
    gaps = (2 + np.random.default_rng(2).normal(0, 0.02, 24)).round(3).tolist()
    gaps[6] = 0.5
    still = {"max_move_mm": 0.0, "max_turn_deg": 0.0, "trim": "none"}
    found = known(joint, gaps, doors.none(joint), **still).known
    assert found.again.stands_out and found.again.label == "7"
    # By the other stations nothing is worse anywhere than half a width beyond, there.
    assert 1.5 <= found.between[0].worst < 1.6
