"""How long a plan takes, and how that grows: `python tests/bench/plan_bench.py`.

Wanted: 24 stations under 30 ms, 500 under 300 ms, growth no worse than n^1.5. The same
joint and readings throughout, a closed rounded door with noise that needs trim, so that
seat, level and trim are all solved. Prints the median of several runs, the ratio to
what is wanted, and the growth exponent between 100 and 1,000 stations.
"""

import math
import statistics
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from qa.numeric.geometry.joint import Limits, Station, build_joint
from qa.numeric.plan.planner import plan_fit
from qa.numeric.plan.result import PlanOptions

WANTED_MS = {24: 30.0, 500: 300.0}
SIZES = (24, 100, 250, 500, 1000)


def door(count: int):
    """A superellipse door of 800 x 500 mm: nearly straight sides, rounded corners."""
    around = np.arange(count) * 2 * np.pi / count
    cosine, sine = np.cos(around), np.sin(around)
    places = np.column_stack(
        [
            400 * np.sign(cosine) * np.abs(cosine) ** 0.6,
            250 * np.sign(sine) * np.abs(sine) ** 0.6,
        ]
    )
    steps = np.roll(places, -1, axis=0) - np.roll(places, 1, axis=0)
    stations = [
        Station(
            str(number),
            (float(x), float(y), 0.0),
            gap_direction=(float(dy), float(-dx), 0.0),
            gap=Limits(1.0, 3.0),
            flush=Limits(-0.5, 0.5),
        )
        for number, ((x, y), (dx, dy)) in enumerate(zip(places, steps, strict=True))
    ]
    return build_joint(stations)


def readings(joint, seed: int):
    random = np.random.default_rng(seed)
    count = len(joint.stations)
    shift = joint.gap_directions @ np.array([0.8, -0.5, 0.0])
    gaps = np.maximum(1.4 + shift + random.normal(0, 0.6, count), 0.02)
    flushes = 0.5 + 0.0008 * joint.places[:, 0] + random.normal(0, 0.12, count)
    return np.round(gaps, 2).tolist(), np.round(flushes, 2).tolist()


def median_ms(count: int, **options) -> float:
    joint = door(count)
    chosen, times = PlanOptions(**options), []
    for seed in range(9):
        gaps, flushes = readings(joint, seed)
        start = time.perf_counter()
        plan_fit(joint, gaps, flushes, chosen)
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def main() -> None:
    median_ms(24)  # imports
    say = sys.stdout.write
    found = {}
    for count in SIZES:
        found[count] = median_ms(count)
        wanted = WANTED_MS.get(count)
        ratio = f"  {found[count] / wanted:.2f} of {wanted:g} ms" if wanted else ""
        say(f"{count:5d} stations  {found[count]:8.1f} ms{ratio}\n")
    growth = math.log(found[1000] / found[100]) / math.log(10)
    say(f"growth from 100 to 1,000 stations: n^{growth:.2f} (wanted: 1.5 at most)\n")
    for name, options in (
        ("aim 0.15", {"aim_mm": 0.15}),
        ("fairness 0.02", {"fairness": 0.02}),
    ):
        say(f"   24 stations  {median_ms(24, **options):8.1f} ms with {name}\n")


if __name__ == "__main__":
    main()
