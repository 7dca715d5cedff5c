"""Each aim of a plan against a second formulation, another solver, and duality.

The seat and the trim of a flat joint are solved again with the turn fixed, as an
epigraph programme by the interior-point solver Clarabel (another algorithm and another
code than the simplex method of the product), and the turn is searched by brute force
over its range and around the plan's own. Exact rotation: g - n.(t + (R - I)(p - c)).
"""

import math

import clarabel
import numpy as np
import pytest
from scipy import sparse
from scipy.optimize import linprog

from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions
from tests.numeric import doors

MOST_TURN = math.radians(1)


def by_clarabel(rows, ends, bounds, cost):
    """The least of cost over rows @ x <= ends within bounds; inf when impossible."""
    low, high = bounds
    eye = np.eye(len(cost))
    kept = np.isfinite(high)
    matrix = np.vstack([rows, eye[kept], -eye])
    limits = np.r_[ends, high[kept], -low]
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    found = clarabel.DefaultSolver(
        sparse.csc_matrix((len(cost), len(cost))),
        cost,
        sparse.csc_matrix(matrix),
        limits,
        [clarabel.NonnegativeConeT(len(limits))],
        settings,
    ).solve()
    solved = str(found.status) in ("Solved", "AlmostSolved")
    return float(found.obj_val) if solved else np.inf


def some_door(seed):
    random = np.random.default_rng(seed)
    joint = doors.door(across=int(random.integers(2, 5)), up=2, flush=(None, None))
    gaps = random.uniform(0.2, 3.4, len(joint.stations)).round(2)
    return joint, gaps.tolist()


def turns_to_try(degrees):
    """The whole range coarsely, and around a turn down to a millionth of a radian."""
    near = [0.0, *(sign * 10.0**k for sign in (1, -1) for k in range(-6, -2))]
    around = math.radians(degrees) + np.array(near)
    return np.clip(np.r_[np.linspace(-1, 1, 9) * MOST_TURN, around], -MOST_TURN, 0.0175)


@pytest.mark.parametrize("seed", range(4))
def test_no_turn_gives_a_lower_worst_deviation_than_the_seat(seed):
    joint, gaps = some_door(seed)
    seat = plan_fit(joint, gaps, doors.none(joint)).seat
    found = []
    for angle in np.clip(turns_to_try(seat.move.turn_deg), -MOST_TURN, MOST_TURN):
        rows, ends, bounds, costs = doors.linear_programme(joint, gaps, angle, 3.0, 0.0)
        found.append(by_clarabel(rows, ends, bounds, costs["worst"]))
    assert min(found) == pytest.approx(seat.worst_after, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_no_turn_gives_less_left_unresolved_or_a_smaller_area_than_the_trim(seed):
    joint, gaps = some_door(seed)
    options = PlanOptions(max_trim_mm=0.8)
    trim = plan_fit(joint, gaps, doors.none(joint), options).trim
    unresolved, area = [], []
    for angle in np.clip(turns_to_try(trim.move.turn_deg), -MOST_TURN, MOST_TURN):
        rows, ends, bounds, costs = doors.linear_programme(joint, gaps, angle, 3.0, 0.8)
        unresolved.append(by_clarabel(rows, ends, bounds, costs["unresolved"]))
        rows = np.vstack([rows, costs["unresolved"]])
        ends = np.r_[ends, trim.unresolved_mm2 + 1e-7]
        area.append(by_clarabel(rows, ends, bounds, costs["area"]))
    assert min(unresolved) == pytest.approx(trim.unresolved_mm2, rel=1e-6, abs=2e-6)
    # The rounding allowed to the first aim buys a little of the second.
    assert min(area) == pytest.approx(trim.area_mm2, rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("seed", (1, 2, 3, 8))
def test_no_turn_gives_less_left_unresolved_where_trims_must_be_fair(seed):
    """Also the gaps as reported leave no more: nothing is lost in writing them down."""
    joint, gaps = some_door(seed)
    options = PlanOptions(max_trim_mm=0.8, fairness=0.01)
    trim = plan_fit(joint, gaps, doors.none(joint), options).trim
    ramps, most = fair_trims(joint, options.fairness)
    found = []
    for angle in np.clip(turns_to_try(trim.move.turn_deg), -MOST_TURN, MOST_TURN):
        rows, ends, bounds, costs = doors.linear_programme(joint, gaps, angle, 3.0, 0.8)
        rows, ends = np.vstack([rows, ramps]), np.r_[ends, most]
        found.append(by_clarabel(rows, ends, bounds, costs["unresolved"]))
    assert trim.unresolved_mm2 == pytest.approx(min(found), rel=1e-6, abs=2e-6)


def fair_trims(joint, fairness):
    """Rows and ends of |trim - next trim| <= fairness x distance along each side."""
    count = len(joint.stations)
    rows, ends = [], []
    for one in range(count):
        other = (one + 1) % count
        if (joint.gap_directions[one] == joint.gap_directions[other]).all():
            row = np.zeros(3 + 3 * count)
            row[3 + count + one], row[3 + count + other] = 1.0, -1.0
            distance = np.linalg.norm(joint.places[one] - joint.places[other])
            rows += [row, -row]
            ends += [fairness * distance] * 2
    return np.array(rows), np.array(ends)


@pytest.mark.parametrize("seed", range(4))
def test_the_dual_programme_proves_the_worst_deviation(seed):
    """Weak duality: any y >= 0 with A'y + r = c bounds the primal from below."""
    joint, gaps = some_door(seed)
    seat = plan_fit(joint, gaps, doors.none(joint)).seat
    angle = math.radians(seat.move.turn_deg)
    rows, ends, (low, high), costs = doors.linear_programme(
        joint, gaps, angle, 3.0, 0.0
    )
    eye = np.eye(len(low))
    kept = np.isfinite(high)
    # min c x, A x <= b, with all bounds as rows: max -b.y, A'y = -c, y >= 0.
    matrix = np.vstack([rows, eye[kept], -eye])
    limits = np.r_[ends, high[kept], -low]
    dual = linprog(limits, A_eq=matrix.T, b_eq=-costs["worst"], method="highs")
    assert -dual.fun == pytest.approx(seat.worst_after, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_reported_gaps_are_those_after_the_exact_turn(seed):
    joint, gaps = some_door(seed)
    plan = plan_fit(joint, gaps, doors.none(joint))
    move = plan.trim.move
    moved = doors.turned(joint, move.x_mm, move.y_mm, move.turn_deg)
    for gap, drop, station in zip(gaps, moved, plan.stations, strict=True):
        after = gap - drop + station.trim - station.build_up
        assert station.gap_after == pytest.approx(after, abs=1e-6)
