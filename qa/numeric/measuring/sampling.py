"""Acceptance by attributes: look at n of a lot, accept it with at most c nonconforming.

Plans are computed for the risks that are named, not read from tables: binomial for a
steady process, hypergeometric for a lot of known size (Montgomery, Introduction to
Statistical Quality Control, ch. 15; NIST/SEMATECH e-Handbook 6.2). ISO 2859-1 answers
another question, with switching between plans; its tables are not here.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shop.numeric.finite import finite

MOST = 5000  # values that a plan may ask for


class SamplingError(ValueError):
    """Numbers that are no plan, or risks that no plan keeps; the message says which."""


@dataclass(frozen=True)
class Plan:
    """Look at n; accept with at most c nonconforming; the shares accepted are at the
    two qualities named. `all_of_it`: only the whole lot keeps the risks."""

    n: int
    c: int
    accepted_when_good: float
    accepted_when_bad: float
    all_of_it: bool = False


def share_accepted(
    nonconforming: float, n: int, c: int, *, lot: int | None = None
) -> float:
    """Share of lots that a plan accepts: its operating curve at one quality.

    Args:
        nonconforming: share of nonconforming ones, 0 to 1; of a lot that share of it,
            to the nearest whole one.
        n, c: the plan. lot: pieces in it; None: a process without end.
    Raises:
        SamplingError, NotANumber.
    """
    from scipy.stats import binom, hypergeom

    finite(nonconforming=nonconforming)
    _check_plan(n, c, lot)
    _check_share("nonconforming", nonconforming)
    if lot is None:
        return float(binom.cdf(c, n, nonconforming))
    return float(hypergeom.cdf(c, lot, round(nonconforming * lot), n))


def operating_curve(
    shares: Sequence[float], n: int, c: int, *, lot: int | None = None
) -> list[float]:
    """`share_accepted` at each of these shares."""
    return [share_accepted(share, n, c, lot=lot) for share in shares]


def quality_accepted(accepted: float, n: int, c: int) -> float:
    """The share nonconforming at which a process is accepted so often (more than 0,
    less than 1): a quantile of the beta distribution. SamplingError, NotANumber."""
    from scipy.stats import beta

    finite(accepted=accepted)
    _check_plan(n, c, None)
    if not 0 < accepted < 1:
        raise SamplingError(f"accepted must lie between 0 and 1, not at {accepted}")
    if c == n:
        return 1.0
    return float(beta.ppf(1 - accepted, c + 1, n - c))


def find_plan(
    good: float,
    shop_risk: float,
    bad: float,
    customer_risk: float,
    *,
    lot: int | None = None,
) -> Plan:
    """The least sample that keeps both risks.

    Args:
        good: share nonconforming that should pass; it is refused at most `shop_risk`.
        bad: share that should not pass, above good; it passes at most `customer_risk`.
        lot: pieces in the lot; None: a process without end.
    Raises:
        SamplingError, also where more than 5,000 would be needed; NotANumber.
    """
    finite(good=good, shop_risk=shop_risk, bad=bad, customer_risk=customer_risk)
    for name, value in (("good", good), ("bad", bad)):
        _check_share(name, value)
    for name, value in (("shop_risk", shop_risk), ("customer_risk", customer_risk)):
        if not 0 < value < 1:
            raise SamplingError(f"{name} must lie between 0 and 1, not at {value}")
    if not good < bad:
        raise SamplingError(f"good ({good}) must be less than bad ({bad})")
    _check_lot(lot)

    def accepted(share: float, n: int, c: int) -> float:
        return share_accepted(share, n, c, lot=lot)

    c = 0
    for n in range(1, min(MOST, lot or MOST) + 1):
        # The largest number that still keeps the customer's risk with n.
        if accepted(bad, n, c) > customer_risk:
            continue
        while c + 1 < n and accepted(bad, n, c + 1) <= customer_risk:
            c += 1
        if accepted(good, n, c) >= 1 - shop_risk:
            return Plan(n, c, accepted(good, n, c), accepted(bad, n, c), n == lot)
    if lot is None or lot > MOST:
        raise SamplingError(f"more than {MOST} would have to be looked at")
    # All of it: accept what is no worse than good; nothing is left to chance.
    c = math.floor(good * lot)
    return Plan(lot, c, 1.0, accepted(bad, lot, c), True)


def _check_plan(n: int, c: int, lot: int | None) -> None:
    if n < 1 or not 0 <= c <= n:
        raise SamplingError(f"a plan looks at 1 or more, c is 0 to n; not n {n}, c {c}")
    _check_lot(lot)
    if lot is not None and n > lot:
        raise SamplingError(f"{n} cannot be looked at in a lot of {lot}")


def _check_lot(lot: int | None) -> None:
    if lot is not None and lot < 1:
        raise SamplingError(f"a lot holds 1 or more, not {lot}")


def _check_share(name: str, value: float) -> None:
    if not 0 <= value <= 1:
        raise SamplingError(f"{name} is a share, 0 to 1, not {value}")
