"""What the next part came as, beside what was expected of it.

A part sits anew each time, so its first fit is compared after the motion that brings it
closest, by least squares, to what was expected; what is left is told.
"""

from collections.abc import Sequence

import numpy as np

from qa.numeric.geometry.joint import Joint
from qa.numeric.plan.motions import Motion
from qa.numeric.tool.characteristics import characteristics
from qa.numeric.tool.least_squares import taken_out
from shop.numeric.finite import finite


def come(
    joint: Joint,
    motions: Sequence[Motion],
    expected: Sequence[float | None],
    read: Sequence[float | None],
) -> list[float | None]:
    """How far a part is from target in each of 2n characteristics, once it is seated.

    expected (2n,): deviation from target in mm, None where nothing was said; gaps of
    the n stations first, then their flushness. read (2n,): mm as pulled, None where
    nothing was measured. None where either lacks, or no limit sets a target. ValueError
    for a number that is none, or another count than the joint has.
    """
    finite(expected=[value for value in expected if value is not None])
    finite(read=[value for value in read if value is not None])
    wanted = characteristics(joint, motions)
    if not len(expected) == len(read) == wanted.count:
        raise ValueError(f"{wanted.count} characteristics are asked for")
    rows = [
        row
        for row in np.flatnonzero(wanted.limited)
        if expected[row] is not None and read[row] is not None
    ]
    deviations: list[float | None] = [None] * wanted.count
    if rows:
        hoped = np.array([expected[row] for row in rows])
        off = np.array([read[row] for row in rows]) - wanted.target[rows] - hoped
        keep, _ = taken_out(wanted.slopes[rows])
        for row, value in zip(rows, hoped + keep @ off, strict=True):
            deviations[row] = float(value)
    return deviations
