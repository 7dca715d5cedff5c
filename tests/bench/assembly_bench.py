"""How long several parts take: `python tests/bench/assembly_bench.py`.

Wanted: three parts, four joints, 100 stations under 2 s. A cowl in two halves on a
fuselage, both halves free, with noise that needs trim; and with nothing fixed; alone
and with the intervals of its moves and cuts. Prints the median and the worst of several
runs in seconds of one processor, so that others at work on the machine do not count,
and the ratio to what is wanted.
"""

import os
import statistics
import sys
import time
from itertools import product
from pathlib import Path

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # which would count others' waiting

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from qa.numeric.plan.assembly import plan_assembly
from qa.numeric.plan.result import PlanOptions
from tests.numeric import assemblies
from tests.numeric.assemblies import FUSELAGE, LOWER, UPPER

WANTED_S = 2.0


def times(fixed, noise: float, count: int = 25, u: float | None = None) -> list[float]:
    """Seconds of some plans; with intervals where readings are known to `u` mm."""
    joints, found = assemblies.cowl(count), []
    for seed in range(7):
        random = np.random.default_rng(seed)
        moves = {
            body: (random.uniform(-0.8, 0.8, 3), random.uniform(-0.002, 0.002, 3))
            for body in (LOWER, UPPER)
        }
        read = assemblies.readings(joints, moves, random, noise, 0.3)
        rows = assemblies.betweens(joints, read)
        start = time.process_time()
        options = PlanOptions(uncertainty_mm=u)
        plan_assembly(assemblies.bodies(fixed), rows, options, drawn=u is not None)
        found.append(time.process_time() - start)
    return found


def main() -> None:
    times((FUSELAGE,), 0.1, 6)  # imports
    for name, fixed in (("fuselage fixed", (FUSELAGE,)), ("nothing fixed", ())):
        for noise, u in product((0.1, 0.25, 0.5), (None, 0.04)):
            found = times(fixed, noise, u=u)
            middle, worst = statistics.median(found), max(found)
            sys.stdout.write(
                f"3 parts, 4 joints, 100 stations, {name}, noise {noise:.2f}"
                f"{', intervals too' if u else ''}: "
                f"{middle:.2f} s, worst {worst:.2f} s "
                f"({worst / WANTED_S:.2f} of {WANTED_S:g} s)\n"
            )


if __name__ == "__main__":
    main()
