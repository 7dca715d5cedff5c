"""Whether 95 % intervals are as wide as they should be, from their errors.

A share of few cannot be too large: of ten checks 0.95 may come out as 1. So too wide
an interval is told by the root mean square of the errors, which is 1 / 1.96 of half of
one where they are normal.
"""

import math

import numpy as np


def assert_95_percent(errors, checks: int) -> None:
    """`errors`: what was true less what was told, in halves of the interval. Those of
    one check go together, so that chance is that of so many checks: two standard
    deviations of a share of 0.95 (0.14 with 10, 0.014 with 1,000), one of a root mean
    square; cuts that may be no deeper have narrower errors than normal, down to 0.8."""
    share = (np.abs(errors) <= 1).mean()
    chance = 2 * math.sqrt(0.05 * 0.95 / checks)
    assert 0.93 - chance <= share <= 0.97 + chance, (share, len(errors))
    size = 1.96 * math.sqrt(np.square(errors).mean())
    assert size >= 0.8 - 1 / math.sqrt(2 * checks), (size, len(errors))
