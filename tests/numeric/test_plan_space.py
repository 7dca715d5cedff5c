"""Joints in space against another solver: dense scans of rotation, each solved exactly.

At a fixed rotation what is left is a linear programme in the shift alone, written here
reading by reading and solved by Clarabel (interior point). The rotation is searched at
random over its whole range and, ever closer, around the plan's own.
"""

import math

import clarabel
import numpy as np
import pytest
from scipy import sparse

from qa.numeric.geometry.joint import Limits
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions
from qa.numeric.plan.separate import TooMany
from qa.wording.plans import plan_notes
from tests.numeric import exactly

MOST = 3.0  # mm and, in tenths, degrees


def measured(seed, count=12, tight=0.0):
    """A curved door, moved off, with scatter: (joint, gaps, flushes)."""
    random = np.random.default_rng(seed)
    joint = exactly.seam(random, count, curve=float(random.choice([20.0, 80.0, 150.0])))
    move = random.uniform(-0.8, 0.8, 3)
    middle = joint.stations[0].gap.low + 0.75 - tight
    gaps = middle - joint.gap_directions @ move + random.normal(0, 0.25, count)
    flushes = joint.faces @ move + random.normal(0, 0.1, count)
    return joint, np.maximum(gaps, 0.02).round(3).tolist(), flushes.round(3).tolist()


def at_rotation(joint, gaps, flushes, degrees, *, trim):
    """Least worst deviation, or least area cut with all within, over the shift."""
    x, y, z = degrees
    turn = exactly.about("z", z) @ exactly.about("y", y) @ exactly.about("x", x)
    arms = joint.places - joint.places.mean(axis=0)
    bent = arms @ turn.T - arms
    count = len(gaps)
    columns = 3 + (count if trim else 1)
    rows, ends = [], []

    def add(shift, end, column=None, factor=0.0):
        row = np.zeros(columns)
        row[:3] = shift
        if column is not None:
            row[column] = factor
        rows.append(row)
        ends.append(end)

    for k, station in enumerate(joint.stations):
        for value, way, limits, cut in (
            (gaps[k], -joint.gap_directions[k], station.gap, trim),
            (flushes[k], joint.faces[k], station.flush, False),
        ):
            start, middle = value + way @ bent[k], (limits.low + limits.high) / 2
            half = (limits.high - limits.low) / 2
            own = (3 + k, 1.0) if cut else (None, 0.0)
            if trim:  # low <= start + way.t (+ trim) <= high
                add(way, limits.high - start, *own)
                add(-way, start - limits.low, own[0], -own[1])
            else:  # |start + way.t - middle| <= half worst
                add(way, middle - start, 3, -half)
                add(-way, start - middle, 3, -half)
        if not trim:  # no gap is closed below zero
            way = joint.gap_directions[k]
            add(way, gaps[k] - way @ bent[k])
    for column in range(columns):
        low, high = (-MOST, MOST) if column < 3 else (0.0, MOST)
        row = np.eye(columns)[column]
        rows += [row, -row]
        ends += [high, -low]
    cost = np.zeros(columns)
    cost[3:] = joint.length_weights if trim else 1.0
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    found = clarabel.DefaultSolver(
        sparse.csc_matrix((columns, columns)),
        cost,
        sparse.csc_matrix(np.array(rows)),
        np.array(ends),
        [clarabel.NonnegativeConeT(len(rows))],
        settings,
    ).solve()
    solved = str(found.status) in ("Solved", "AlmostSolved")
    return float(found.obj_val) if solved else math.inf


def scanned(joint, gaps, flushes, move, *, trim):
    """The least over rotations: the plan's own, all over, and downhill from it."""
    random = np.random.default_rng(0)
    best = np.array([move.tilt_x_deg, move.tilt_y_deg, move.turn_deg])
    least = at_rotation(joint, gaps, flushes, best, trim=trim)
    for _ in range(12):
        other = random.uniform(-1, 1, 3)
        least = min(least, at_rotation(joint, gaps, flushes, other, trim=trim))
    radius = 0.1
    for _ in range(90):
        other = np.clip(best + random.normal(0, radius, 3), -1, 1)
        value = at_rotation(joint, gaps, flushes, other, trim=trim)
        if value < least:
            least, best = value, other
        else:
            radius = max(radius * 0.9, 1e-6)
    return least


def proven(plan):
    """(least that any move gives, what the plan has) as the note tells them."""
    (note,) = [one.values for one in plan.notes if one.code == "proven"]
    return note["bound"], note["reached"]


@pytest.mark.parametrize("seed", range(4))
def test_no_rotation_seats_a_curved_door_better_and_none_can_below_the_proof(seed):
    joint, gaps, flushes = measured(seed)
    plan = plan_fit(joint, gaps, flushes)
    worst = max(plan.seat.worst_after, plan.level.worst_after)
    least = scanned(joint, gaps, flushes, plan.move, trim=False)
    assert worst <= least + 1e-6
    told, reached = proven(plan)
    assert told <= least + 5e-4 and reached == pytest.approx(worst, abs=5e-4)
    assert told > 0.98 * worst  # a proof worth telling


@pytest.mark.parametrize("seed", (100, 101, 102, 103))
def test_no_rotation_needs_less_cut_off_a_curved_door(seed):
    joint, gaps, flushes = measured(seed, tight=0.7)
    plan = plan_fit(joint, gaps, flushes)
    assert plan.outcome == "trim"
    least = scanned(joint, gaps, flushes, plan.move, trim=True)
    assert plan.trim.area_mm2 <= least * (1 + 1e-6) + 1e-4
    told, _ = proven(plan)
    assert told <= least + 1e-3 and told > 0.95 * least


def test_ten_thousand_stations_in_space_are_refused_at_once_with_the_bound():
    joint = exactly.seam(np.random.default_rng(3), 10_000, 60.0)
    count = len(joint.stations)
    with pytest.raises(TooMany, match="20000 readings .* at most 5000"):
        plan_fit(joint, [1.5] * count, [0.1] * count)


def test_a_hair_of_curve_needs_no_other_plan_nor_another_proof():
    joint, gaps, flushes = measured(7)
    flat = exactly.seam(np.random.default_rng(7), 12)
    near = exactly.seam(np.random.default_rng(7), 12, curve=1e-5)
    options = PlanOptions(max_trim_mm=1.0)
    one, two = (plan_fit(each, gaps, flushes, options) for each in (flat, near))
    told = [(each.outcome, each.held, plan_notes(each)) for each in (one, two)]
    assert told[0] == told[1]
    assert two.move.turn_deg == pytest.approx(one.move.turn_deg, abs=1e-5)
    assert two.move.tilt_x_deg == pytest.approx(one.move.tilt_x_deg, abs=1e-5)
    assert all(s.gap != Limits() for s in joint.stations)
