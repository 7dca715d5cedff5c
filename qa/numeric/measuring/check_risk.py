"""What it risks to accept a whole check: all its characteristics, or none.

Characteristics are taken as independent (risk.check_risks). Source: JCGM 106:2012, 9.5.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from .risk import (
    Ends,
    NormalProcess,
    RiskError,
    Risks,
    check_risks,
    global_risks,
    guarded,
)

NARROWEST = 1 - 1e-6  # of half a tolerance that a guard may take


@dataclass(frozen=True)
class Characteristic:
    """What is made at one place, how sure a reading of it is, and its tolerance."""

    process: NormalProcess
    u: float
    tolerance: Ends


def whole_risks(each: Sequence[Characteristic], acceptance: Sequence[Ends]) -> Risks:
    """Of a check that accepts what reads within `acceptance`, one for each.

    Raises RiskError, also of none; NotANumber.
    """
    alike = Counter(zip(each, acceptance, strict=True))
    joint_risks = {
        pair: global_risks(pair[0].process, pair[0].u, pair[0].tolerance, pair[1])
        for pair in alike
    }
    return check_risks([joint_risks[pair] for pair in alike.elements()])


def guard_that_keeps(each: Sequence[Characteristic], customer: float) -> float | None:
    """The least guard factor r, 0 or more, by which a check whose limits are all drawn
    in by r U = 2 r u keeps the customer's risk; None where no guard that leaves every
    tolerance something does. Raises RiskError, NotANumber."""
    from scipy.optimize import brentq

    if not 0 < customer < 1:
        raise RiskError(f"a wished risk lies between 0 and 1, not at {customer}")

    def beyond(r: float) -> float:
        ends = [
            guarded(characteristic.tolerance, characteristic.u, r)
            for characteristic in each
        ]
        return whole_risks(each, ends).customer - customer

    if beyond(0.0) <= 0:
        return 0.0
    rooms = [
        (characteristic.tolerance[1] - characteristic.tolerance[0])
        / (4 * characteristic.u)
        for characteristic in each
        if None not in characteristic.tolerance
    ]
    most = min([10.0, *rooms]) * NARROWEST
    if beyond(most) > 0:
        return None
    return float(brentq(beyond, 0.0, most, xtol=1e-6))
