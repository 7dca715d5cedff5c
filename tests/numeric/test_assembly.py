"""Several parts at once: against another solver, done again with our own rotation."""

import os
from dataclasses import replace

import numpy as np
import pytest

from qa.numeric.geometry.joint import build_joint
from qa.numeric.plan.assembly import plan_assembly
from qa.numeric.plan.bodies import AssemblyError, Between, Body
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.motions import Motion
from qa.numeric.plan.planner import plan_fit, plan_joints
from qa.numeric.plan.result import PlanOptions
from tests.numeric import assemblies, exactly
from tests.numeric.assemblies import FUSELAGE, LOWER, UPPER
from tests.numeric.test_plan_independent import by_clarabel
from tests.numeric.test_plan_properties import case

CASES = int(os.environ.get("FAYLINE_ASSEMBLY_CASES", "40"))
NAMES = ("tilt_x", "tilt_y", "turn", "x", "y", "z")


def measured_cowl(seed, count=7, noise=0.2, shy=0.25, far=0.8):
    random = np.random.default_rng(seed)
    joints = assemblies.cowl(count)
    moves = {
        body: (random.uniform(-far, far, 3), random.uniform(-0.002, 0.002, 3) * far)
        for body in (LOWER, UPPER)
    }
    return joints, assemblies.readings(joints, moves, random, noise, shy)


def planned(joints, read, fixed=(FUSELAGE,), **options):
    bodies = assemblies.bodies(fixed)
    rows = assemblies.betweens(joints, read)
    return plan_assembly(bodies, rows, PlanOptions(**options))


# ------------------------------------------------------- one part is one part


@pytest.mark.parametrize("seed", range(CASES))
def test_one_part_that_moves_is_planned_as_by_itself(seed):
    joint, gaps, flushes, options = case(seed)
    alone = plan_fit(joint, gaps, flushes, options)
    bodies = [Body("part", motions=options.motions), Body("around", fixed=True)]
    rows = [Between(Measured(joint, gaps, flushes), 0, (1,) * len(gaps))]
    both = plan_assembly(bodies, rows, replace(options, motions=None))
    for plan in (both.whole, both.joints[0], both.own[0][1]):
        assert plan.stations == alone.stations
        assert plan.outcome == alone.outcome
        assert plan.notes == alone.notes
        assert plan.probability == alone.probability
        assert plan.trim is None or plan.trim.area_mm2 == alone.trim.area_mm2
        for fit, other in ((plan.seat, alone.seat), (plan.level, alone.level)):
            assert (fit is None) == (other is None)
            assert fit is None or fit.worst_after == other.worst_after
    assert both.parts[0].move == alone.move
    assert both.own[0][1].move == alone.move
    against = both.joints[0].move
    for name in ("x_mm", "y_mm", "z_mm", "turn_deg", "tilt_x_deg", "tilt_y_deg"):
        told = getattr(alone.move, name)
        assert getattr(against, name) == pytest.approx(told, abs=1e-9)


def test_a_part_with_two_joints_is_planned_as_by_itself():
    joints, read = measured_cowl(3)
    sides = [0, 2]  # the lower half against the fuselage; as if the upper were fixed
    rows = [Measured(joints[k][0], *read[k]) for k in (1, 2)]
    alone = plan_joints(rows)
    joints, read = joints[1:3], read[1:3]
    both = planned(joints, read, fixed=(FUSELAGE, LOWER))
    assert both.whole.stations == alone.stations
    assert [one.outcome for one in both.joints].count("fits") <= len(sides)
    assert both.parts[UPPER].move == alone.move


def test_it_is_all_the_same_which_side_moves():
    # The surround goes the other way; to a hair: the one turns about what the other is.
    joint, read = assemblies.cowl(6)[0][0], ([1.2] * 6, [0.0] * 6)
    one = planned([(joint, LOWER, FUSELAGE)], [read])
    other = planned([(joint, LOWER, FUSELAGE)], [read], fixed=(LOWER,))
    here, there = one.parts[LOWER].move, other.parts[FUSELAGE].move
    assert here.x_mm == pytest.approx(-there.x_mm, abs=1e-3)
    assert here.x_mm < -0.15
    for here, there in zip(one.whole.stations, other.whole.stations, strict=True):
        assert here.gap_after == pytest.approx(there.gap_after, abs=1e-3)


# ----------------------------------------------- exact rotation, own code


@pytest.mark.parametrize("fixed", [(FUSELAGE,), ()])
@pytest.mark.parametrize("seed", range(6))
def test_every_station_lands_where_it_is_told_and_is_judged_there(seed, fixed):
    joints, read = measured_cowl(seed, shy=0.15 * seed)
    plan = planned(joints, read, fixed, max_trim_mm=0.4)
    outcomes = set()
    for (joint, *_), (gaps, flushes), told in zip(
        joints, assemblies.after(joints, read, plan), plan.joints, strict=True
    ):
        misses = 0
        for row, station in enumerate(told.stations):
            assert station.gap_after == pytest.approx(gaps[row], abs=1.1e-6)
            assert station.flush_after == pytest.approx(flushes[row], abs=1e-7)
            assert round(gaps[row] * 1e6) >= 0, "closed below zero"
            limits = joint.stations[row]
            gap_limits = limits.gap.low, limits.gap.high
            flush_limits = limits.flush.low, limits.flush.high
            misses += exactly.misses(gaps[row] * 1e6, gap_limits)
            misses += exactly.misses(flushes[row] * 1e6, flush_limits)
        assert (told.outcome == "cannot") == (misses > 0)
        cut = any(s.trim > 0 or s.build_up > 0 for s in told.stations)
        assert (told.outcome == "fits") == (not misses and not cut)
        outcomes.add(told.outcome)
    worst = max(outcomes, key=["fits", "trim", "cannot"].index)
    assert plan.whole.outcome == worst


@pytest.mark.parametrize("fixed", [(FUSELAGE,), ()])
@pytest.mark.parametrize("seed", range(4))
def test_what_only_stands_off_its_place_is_set_back_without_a_cut(seed, fixed):
    joints, read = measured_cowl(seed, noise=0.0, shy=0.0, far=0.25)
    plan = planned(joints, read, fixed)
    assert plan.whole.outcome == "fits"
    assert plan.whole.trim.area_mm2 == 0
    # The readings are written to the micrometer.
    assert plan.whole.level.worst_after < 0.01


# ------------------------------------------------------------ another solver


def slopes_at(joints, plan):
    """For every joint the rates (n, 12) of gap and flushness by the six amounts of the
    lower and of the upper half about where the plan put them, by differences."""
    found, step = [], 1e-5
    zero = [(np.array(g), np.array(f)) for g, f in _ends(joints, plan)]
    for body in (LOWER, UPPER):
        for name in NAMES:
            ends = _ends(joints, _nudged(plan, body, name, step))
            found.append(
                [
                    np.r_[np.array(g) - g0, np.array(f) - f0] / step
                    for (g, f), (g0, f0) in zip(ends, zero, strict=True)
                ]
            )
    return [np.column_stack(columns) for columns in zip(*found, strict=True)]


def _ends(joints, plan):
    nothing = [([0.0] * len(joint.stations),) * 2 for joint, *_ in joints]
    uncut = replace(
        plan,
        joints=tuple(
            replace(one, stations=tuple(replace(s, trim=0.0, build_up=0.0)
                                        for s in one.stations))
            for one in plan.joints
        ),
    )  # fmt: skip
    return assemblies.after(joints, nothing, uncut)


def _nudged(plan, body, name, step):
    part = plan.parts[body]
    told = dict.fromkeys(NAMES, 0.0) | dict(part.move.amounts)
    told[name] += step
    move = replace(part.move, amounts=tuple(told.items()))
    parts = list(plan.parts)
    parts[body] = replace(part, move=move)
    return replace(plan, parts=tuple(parts))


def linear(joints, read, plan, most_trim):
    """(rows, ends, bounds, costs) of the least worst deviation, and of the least left
    over and the least area: written for readings straightened where the plan ended.

    Columns: 12 amounts, then worst, then per gap trim and what is left over. Turning
    both halves about the axis of the cowl is held: no reading sees it.
    """
    slopes = np.vstack(slopes_at(joints, plan))
    uncut = _ends(joints, plan)
    gap = np.concatenate([np.arange(2 * len(j.stations)) < len(j.stations)
                          for j, *_ in joints])  # fmt: skip
    now = np.concatenate(
        [
            np.r_[g, f] + np.r_[g0, f0]
            for (g, f), (g0, f0) in zip(read, uncut, strict=True)
        ]
    )
    weights = np.concatenate([j.length_weights for j, *_ in joints])
    low = np.where(gap, assemblies.GAP[0], assemblies.FLUSH[0])
    high = np.where(gap, assemblies.GAP[1], assemblies.FLUSH[1])
    half, middle = (high - low) / 2, (high + low) / 2
    count, gaps = len(now), int(gap.sum())
    place = np.zeros((count, gaps))
    place[np.flatnonzero(gap), np.arange(gaps)] = 1.0
    one, none = np.ones((count, 1)), np.zeros((count, gaps))
    cut = place if most_trim else none
    left = np.zeros((count, 1))
    rows = [
        np.hstack([slopes, -half[:, None] * one, cut, none]),
        np.hstack([-slopes, -half[:, None] * one, -cut, none]),
        np.hstack([-slopes, left, -cut, none])[gap],  # no gap closed
    ]
    ends = [middle - now, now - middle, now[gap]]
    if most_trim:
        rows = [
            np.hstack([slopes, left, cut, -place]),
            np.hstack([-slopes, left, -cut, -place]),
            rows[2],
        ]
        ends = [high - now, now - low, now[gap]]
    alike = np.zeros((2, rows[0].shape[1]))
    alike[:, [0, 6]] = [[1.0, 1.0], [-1.0, -1.0]]
    rows.append(alike)
    ends.append(np.zeros(2))
    far = np.tile([1.0, 1.0, 1.0, 3.0, 3.0, 3.0], 2)  # degrees and mm, about the plan
    bounds = (
        np.r_[-far, np.zeros(1 + 2 * gaps)],
        np.r_[far, np.inf, np.full(gaps, most_trim), np.full(gaps, np.inf)],
    )
    costs = {name: np.zeros(13 + 2 * gaps) for name in ("worst", "left", "area")}
    costs["worst"][12] = 1.0
    costs["area"][13 : 13 + gaps] = weights
    costs["left"][13 + gaps :] = weights
    return np.vstack(rows), np.concatenate(ends), bounds, costs


@pytest.mark.parametrize("fixed", [(FUSELAGE,), ()])
@pytest.mark.parametrize("seed", range(4))
def test_no_other_solver_seats_several_parts_better(seed, fixed):
    joints, read = measured_cowl(seed, noise=0.15, shy=0.0)
    plan = planned(joints, read, fixed, trim="none", max_trim_mm=0.0)
    seat = max(plan.whole.seat.worst_after, plan.whole.level.worst_after)
    # Where it cannot conform the trim's aims move it; these seeds seat within limits.
    assert plan.whole.outcome == "fits"
    rows, ends, bounds, costs = linear(joints, read, plan, 0.0)
    best = by_clarabel(rows, ends, bounds, costs["worst"])
    assert seat == pytest.approx(best, abs=1e-5)


@pytest.mark.parametrize("seed", (1, 4, 5))
def test_no_other_solver_cuts_several_parts_less(seed):
    joints, read = measured_cowl(seed, noise=0.5, shy=0.4)
    plan = planned(joints, read, max_trim_mm=2.0)
    assert plan.whole.outcome == "trim"
    rows, ends, bounds, costs = linear(joints, read, plan, 2.0)
    left = by_clarabel(rows, ends, bounds, costs["left"])
    assert left == pytest.approx(plan.whole.trim.unresolved_mm2, abs=1e-4)
    rows = np.vstack([rows, costs["left"]])
    area = by_clarabel(rows, np.r_[ends, left + 1e-6], bounds, costs["area"])
    assert plan.whole.trim.area_mm2 == pytest.approx(area, rel=1e-4)


# ------------------------------------------------------------------ relative


@pytest.mark.parametrize("seed", range(6))
def test_moving_both_parts_together_changes_nothing(seed):
    """The same readings come of parts that stand elsewhere together; and where nothing
    is fixed, no part of the answer goes along with the others."""
    random = np.random.default_rng(seed)
    joint = exactly.seam(random, 9)
    apart = (np.array([0.4, -0.3, 0.2]), np.array([0.0, 0.0, 0.001]))
    alike = (random.uniform(-5, 5, 3), np.zeros(3))
    seams = [(joint, 1, 0)]
    both = {0: alike, 1: (apart[0] + alike[0], apart[1])}
    one = assemblies.readings(seams, {1: apart}, random)
    other = assemblies.readings(seams, both, random)
    assert one == other
    bodies = [Body("door"), Body("hatch")]
    plan = plan_assembly(bodies, assemblies.betweens(seams, one))
    for name in ("x_mm", "y_mm", "z_mm", "turn_deg"):
        here, there = (getattr(part.move, name) for part in plan.parts)
        assert here == pytest.approx(-there, abs=1e-4), "they go apart by equal halves"
    assert ("alike",) in plan.whole.held
    # That is of both: of a part's own motions nothing is held.
    assert [own[1].held for own in plan.own if own] == [plan.parts[1].held] == [()]


def test_where_nothing_is_fixed_a_part_that_goes_less_far_holds_no_other_back():
    stiff = Motion("x", (1, 0, 0), (0, 0, 0), (0, 0, 0), -0.1, 0.1)
    joint = assemblies.cowl(6)[0][0]
    rows = assemblies.betweens([(joint, 1, 0)], [([2.4] * 6, [0.0] * 6)])
    plan = plan_assembly([Body("stiff", motions=(stiff,)), Body("free")], rows)
    alone = plan_assembly([Body("stiff", fixed=True), Body("free")], rows)
    assert alone.parts[1].move.x_mm < -1.0, "further than the other can go"
    assert plan.whole.seat.worst_after <= alone.whole.seat.worst_after + 1e-9


# ------------------------------------------------------------ not all there


def test_what_was_not_measured_at_one_joint_is_said_and_closed_by_nothing_unsaid():
    joints, read = measured_cowl(2, noise=0.05, shy=0.0)
    nothing = [None] * len(read[2][0])
    read[2] = (nothing, nothing)
    plan = planned(joints, read)
    assert plan.exit_code == 2
    assert plan.joints[2].measured == 0
    assert not plan.joints[2].complete
    assert plan.joints[0].complete
    missing = [one for one in plan.whole.notes if one.code == "unmeasured"]
    assert {joint for one in missing for joint, _ in one.values["stations"]} == {2}
    assert [n.code for n in plan.joints[0].notes].count("unmeasured") == 0
    assert [n.code for n in plan.joints[2].notes].count("unmeasured") == 2


def test_a_part_that_no_reading_sees_stays():
    joints, read = measured_cowl(2, noise=0.05, shy=0.0)
    for number in (1, 2, 3):
        read[number] = ([None] * len(read[number][0]),) * 2
    plan = planned(joints, read)
    assert not any(plan.parts[UPPER].move.raw)
    assert any(plan.parts[LOWER].move.raw)


def test_an_overlap_is_opened_before_anything_else_and_no_gap_is_closed():
    joints, read = measured_cowl(1, noise=0.1, shy=0.2)
    read[2][0][3] = -0.6
    plan = planned(joints, read, trim="none")
    told = assemblies.after(joints, read, plan)
    deepest = min(gap for gaps, _ in told for gap in gaps)
    assert deepest >= -1e-6


def test_parts_and_joints_that_do_not_go_together_are_refused():
    joint = assemblies.cowl(4)[0][0]
    measured = Measured(joint, [1.0] * 4, [0.0] * 4)
    fixed = [Body("one", fixed=True), Body("other", fixed=True), Body("third")]
    for bodies, ends, words in (
        (fixed, (0, (1,) * 4), "one and other are both fixed"),
        (fixed, (2, (2,) * 4), "third is on both of its sides"),
        (fixed[:2], (0, (1,) * 4), "every part is fixed"),
        (fixed, (0, (2,) * 3), "one surround for each station"),
    ):
        with pytest.raises(AssemblyError, match=words):
            plan_assembly(bodies, [Between(measured, *ends)])


def test_parts_are_seated_outward_from_what_is_fixed():
    joints, read = measured_cowl(1)
    assert planned(joints, read).order == (FUSELAGE, LOWER, UPPER)
    rows = assemblies.betweens(joints[1:3], read[1:3])
    plan = plan_assembly(assemblies.bodies((FUSELAGE,)), rows)
    assert plan.order == (FUSELAGE, UPPER, LOWER)


def test_a_station_may_lie_against_another_part_than_its_neighbor():
    joint = exactly.seam(np.random.default_rng(4), 8)
    joint = build_joint(joint.stations)
    middle = joint.stations[0].gap.low + 0.75
    measured = Measured(joint, [middle] * 8, [0.1] * 8)
    bodies = [Body("door"), Body("left", fixed=True), Body("right", fixed=True)]
    rows = [Between(measured, 0, (1, 1, 1, 1, 2, 2, 2, 2))]
    plan = plan_assembly(bodies, rows)
    assert plan.parts[0].move == plan_fit(joint, [middle] * 8, [0.1] * 8).move
