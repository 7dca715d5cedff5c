"""How long settings in whole steps take: `python tests/bench/adjusters_bench.py`.

Wanted: six directions of 41 steps proven in under 1 s at 24 stations and under 5 s at
100; all ways of a door of 24 stations under 0.5 s, also by the seven directions of two
hinges and a latch, which over-determine it. A door out of place with waviness of 0.2,
0.5 (half of what its limits leave: rough) and 0.8 mm. Prints processor time of the
median and of the worst of several readings, as a share of what is wanted; a number
behind the command asks for so many readings of each.
"""

import os
import statistics
import sys
import time
from dataclasses import replace
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # which would count others' waiting

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from qa.numeric.plan.adjusters import Adjuster
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.planner import plan_joints
from qa.numeric.plan.result import PlanOptions
from qa.numeric.plan.ways import ways
from tests.bench.plan_bench import door

HINGES = ((-420.0, 150.0, -15.0), (-420.0, -150.0, -15.0))
LATCH = (420.0, 0.0, -20.0)
SEEDS = 9


def held(count: int) -> tuple[Adjuster, ...]:
    """The first `count` of seven directions: two hinges, in three each, and a latch."""
    where = [(place, way) for place in HINGES for way in np.eye(3)]
    where.insert(5, (LATCH, np.eye(3)[2]))
    return tuple(
        Adjuster(str(k), place, tuple(way.tolist()), -2.0, 2.0, 0.1)
        for k, (place, way) in enumerate(where[:count])
    )


def measured(count: int, seed: int, waviness: float) -> Measured:
    joint, random = door(count), np.random.default_rng(seed)
    move = random.uniform(-1.2, 1.2, 3) * [1, 1, 0.5]
    moved = move + np.cross(random.uniform(-0.002, 0.002, 3), joint.places)
    gaps = 2 - (moved * joint.gap_directions).sum(axis=1)
    flushes = (moved * joint.faces).sum(axis=1)
    gaps += random.normal(0, waviness, count)
    flushes += random.normal(0, 0.4 * waviness, count)
    gaps = np.maximum(gaps, 0.02)
    return Measured(joint, gaps.round(2).tolist(), flushes.round(2).tolist())


def seconds(act, count: int, waviness: float, seeds: int) -> list[float]:
    times = []
    for seed in range(seeds):
        part = measured(count, seed, waviness)
        start = time.process_time()
        act(part)
        times.append(time.process_time() - start)
    return times


def main(seeds: int = SEEDS) -> None:
    six = PlanOptions(adjusters=held(6))
    known = PlanOptions(adjusters=held(6), uncertainty_mm=0.03, aim_mm=0.15)
    seven = replace(known, adjusters=held(7))
    plan_joints([measured(24, 0, 0.2)], six)  # imports
    for name, act, count, wanted in (
        ("six, planned", lambda part: plan_joints([part], six), 24, 1.0),
        ("six, planned", lambda part: plan_joints([part], six), 100, 5.0),
        ("six, all ways", lambda part: ways([part], known), 24, 0.5),
        ("seven, all ways", lambda part: ways([part], seven), 24, 0.5),
    ):
        for waviness in (0.2, 0.5, 0.8):
            times = seconds(act, count, waviness, seeds)
            middle, worst = statistics.median(times), max(times)
            sys.stdout.write(
                f"{count:4d} stations, {name}, waviness {waviness}: "
                f"{middle:.2f} s, worst {worst:.2f} s; "
                f"{middle / wanted:.2f} and {worst / wanted:.2f} of {wanted:g} s\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
