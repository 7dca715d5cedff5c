"""How well moves and cuts of parts planned together are known: 95 % intervals.

Two plates in a frame, one above the other: each check draws where they truly are, with
waviness, and reads that with errors; what exact readings would have asked for, by the
same ways to move, is what an interval is to hold: of each part, of each joint (the part
against its surround) and of each cut. Five checks; FAYLINE_INTERVAL_CHECKS asks for
more.
"""

import math
import os
from dataclasses import replace

import numpy as np
import pytest

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.adjusters import Adjuster
from qa.numeric.plan.assembly import plan_assembly
from qa.numeric.plan.bodies import Between, Body
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.result import PlanOptions
from tests.numeric.coverage import assert_95_percent

CHECKS = int(os.environ.get("FAYLINE_INTERVAL_CHECKS", "5"))
FRAME, LOWER, UPPER = 0, 1, 2
OPTIONS = PlanOptions(uncertainty_mm=0.04, common_u_mm=0.03, aim_mm=0.15)
DOWN, LEFT, RIGHT, UP = (0.0, -1.0), (-1.0, 0.0), (1.0, 0.0), (0.0, 1.0)
# Walked so that the surround is on the right; 800 x 400 each, the seam along y = 0.
BELOW = [
    *((-400, -100, LEFT), (-400, -300, LEFT), (-300, -400, DOWN), (-100, -400, DOWN)),
    *((100, -400, DOWN), (300, -400, DOWN), (400, -300, RIGHT), (400, -100, RIGHT)),
]
ABOVE = [(-x, -y, (-way[0], -way[1])) for x, y, way in BELOW]
SEAM = [(x, 0, DOWN) for x in (-320, -160, 0, 160, 320)]


def joint(rows):
    return build_joint(
        [
            Station(str(n), (x, y, 0.0), (*way, 0.0), gap=Limits(1.5, 2.5))
            for n, (x, y, way) in enumerate(rows, 1)
        ],
        closed=False,
    )


JOINTS = [(joint(rows), *ends) for rows, *ends in (
    (BELOW, LOWER, FRAME), (ABOVE, UPPER, FRAME), (SEAM, UPPER, LOWER),
)]  # fmt: skip


def true_gaps(random, tight=True):
    """Both plates out of place, with waviness; some stations leave something to cut."""
    moves = [np.zeros(3), *(random.uniform(-1, 1, 3) * (1, 1, 0.002) for _ in range(2))]
    found = []
    for seam, part, surround in JOINTS:
        x, y, turn = moves[part] - moves[surround]
        apart = np.column_stack(
            [x - turn * seam.places[:, 1], y + turn * seam.places[:, 0]]
        )
        gaps = 2 - np.einsum("ij,ij->i", seam.gap_directions[:, :2], apart)
        gaps += random.normal(0, 0.15, len(gaps))
        if tight:
            gaps[[1, -2]] -= random.uniform(1.2, 2.0, 2)
        found.append(np.maximum(gaps, 0.05))
    return found


def betweens(every):
    return [
        Between(
            Measured(seam, gaps.tolist(), [None] * len(gaps)),
            part,
            (surround,) * len(gaps),
        )
        for (seam, part, surround), gaps in zip(JOINTS, every, strict=True)
    ]


def planned(every, options, motions=(None, None), **more):
    own = zip(("lower", "upper"), motions, strict=True)
    bodies = [Body("frame", fixed=True), *(Body(n, motions=m) for n, m in own)]
    return plan_assembly(bodies, betweens(every), options, **more)


def errors(random, tight):
    """How far each interval of one check is off, in its halves: (moves, cuts)."""
    true = true_gaps(random, tight)
    own = math.sqrt(OPTIONS.uncertainty_mm**2 - OPTIONS.common_u_mm**2)
    zero = random.normal(0, OPTIONS.common_u_mm)
    read = [gaps + random.normal(0, own, len(gaps)) + zero for gaps in true]
    plan = planned([np.maximum(gaps, 0.0) for gaps in read], OPTIONS, drawn=True)
    used = [{move.name for move in part.known.moves} for part in plan.parts[1:]]
    motions = [
        tuple(motion for motion in part.move.motions if motion.name in names)
        for part, names in zip(plan.parts[1:], used, strict=True)
    ]
    exact = planned(
        true, replace(OPTIONS, uncertainty_mm=None, common_u_mm=None), motions
    )
    moves, cuts = [], []
    told, asked = (*plan.parts, *plan.joints), (*exact.parts, *exact.joints)
    for mine, his in zip(told, asked, strict=True):
        # A turn shifts the middle of a joint, too, where no shift is told.
        shifts = {"x": his.move.x_mm, "y": his.move.y_mm, "turn": his.move.turn_deg}
        amounts = shifts | dict(his.move.amounts)
        moves += [
            (amounts[one.name] - one.value) / one.half for one in mine.known.moves
        ]
    for mine, his in zip(plan.joints, exact.joints, strict=True):
        trims = {station.label: station.trim for station in his.stations}
        cuts += [(trims[one.label] - one.trim) / one.half for one in mine.known.cuts]
    return moves, cuts


def test_intervals_of_parts_planned_together_hold_in_93_to_97_percent():
    rows = [errors(np.random.default_rng(n), tight=True) for n in range(CHECKS)]
    for moves_or_cuts in zip(*rows, strict=True):
        together = np.concatenate(moves_or_cuts)
        assert len(together) > 3 * CHECKS
        assert_95_percent(together, CHECKS)


def test_how_far_a_place_goes_is_told_as_wide_as_the_move_that_takes_it():
    every = true_gaps(np.random.default_rng(1), tight=True)
    for part in planned(every, OPTIONS, drawn=True).parts[1:]:
        (half,) = (one.half for one in part.known.moves if one.name == "y")
        # A turn of these parts takes the middle along y by next to nothing.
        along = part.known.intervals.along(part.move, (0, 0, 0), (0, 1, 0))
        assert along == pytest.approx(half, rel=0.01)


def hung(down):
    """A plate by two bolts set up and down and one set aside, in tenths."""
    y = 200.0 * (-1 if down else 1)
    where = (("left", (-300, y), UP), ("right", (300, y), UP), ("side", (0, y), RIGHT))
    return tuple(
        Adjuster(name, (*place, 0.0), (*way, 0.0), -4.0, 4.0, 0.1, 0.0, 0.05)
        for name, place, way in where
    )


def test_settings_of_parts_that_share_no_seam_are_known_as_of_each_alone():
    """Below and above, with nothing between the two. The worst of all is the worst of
    one of them, and the other may go a little elsewhere: halves agree but roughly."""
    random = np.random.default_rng(3)
    rows = betweens(true_gaps(random, tight=False))[:2]
    adjusters = hung(down=True), hung(down=False)

    def told(own, rows):
        own = (("lower", own[0]), ("upper", own[1]))
        bodies = [Body("frame", fixed=True)]
        bodies += [Body(n, fixed=not one, adjusters=one) for n, one in own]
        return plan_assembly(bodies, rows, replace(OPTIONS, trim="none"), drawn=True)

    both = told(adjusters, rows)
    for number, alone in ((1, (adjusters[0], None)), (2, (None, adjusters[1]))):
        one = told(alone, [rows[number - 1]]).parts[number]
        here = both.parts[number]
        names = [setting.name for setting in one.known.settings]
        assert [setting.name for setting in here.known.settings] == names
        assert set(names) <= {"left", "right", "side"} and len(names) >= 2
        for mine, his in zip(here.known.settings, one.known.settings, strict=True):
            assert mine.value == pytest.approx(his.value, abs=0.21)
            assert 0.6 * his.half < mine.half < 1.6 * his.half
            assert mine.half > 2 * 0.05  # how well a step is set alone


def test_nothing_known_of_readings_has_no_intervals_and_parts_that_sit_have_none():
    true = true_gaps(np.random.default_rng(3), tight=False)
    bare = replace(OPTIONS, uncertainty_mm=None, common_u_mm=None)
    assert planned(true, bare, drawn=True).parts[1].known is None
    even = planned([np.full(len(gaps), 2.0) for gaps in true], OPTIONS, drawn=True)
    assert [part.known.moves for part in even.parts] == [(), (), ()]
    assert [joint.known.cuts for joint in even.joints] == [(), (), ()]
