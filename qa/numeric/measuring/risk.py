"""What an acceptance rule risks: for the customer, and for the shop.

Source: JCGM 106:2012, 9.5 (global risks), 8.3 and 9.5.5 (guard bands, w = r U with
U = 2 u), annex B (priors). Both risks are shares of all that is made: a risk of 1 % to
the customer is one in a hundred parts that is accepted and does not conform.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shop.numeric.finite import finite

Ends = tuple[float | None, float | None]
REACH = 12.0  # standard deviations beyond which nothing is made


class RiskError(ValueError):
    """What is no process, no tolerance or no wish; the message says which."""


@dataclass(frozen=True)
class NormalProcess:
    """What is made, about a mean (any unit) with a standard deviation above 0."""

    mean: float
    sd: float


@dataclass(frozen=True)
class GammaProcess:
    """What is made where values start at 0, as run-outs do: shape 1 or more and rate
    above 0, its mean shape / rate (JCGM 106 annex B, alpha and lambda)."""

    shape: float
    rate: float


@dataclass(frozen=True)
class Risks:
    """Shares of all that is made."""

    conforming: float
    accepted: float
    customer: float  # accepted, and does not conform
    shop: float  # conforms, and is refused


def global_risks(
    process: NormalProcess | GammaProcess, u: float, tolerance: Ends, acceptance: Ends
) -> Risks:
    """The risks of accepting what reads within `acceptance`.

    Args:
        process: what is made.
        u: standard uncertainty of a reading, above 0.
        tolerance, acceptance: low and high end; None for none.
    Raises:
        RiskError, NotANumber.
    """
    import numpy as np
    from scipy.special import ndtr

    _check(process, u, tolerance, acceptance)
    values, made = _made(process, tolerance, acceptance, u)
    low, high = (None if end is None else (end - values) / u for end in acceptance)
    taken = np.ones_like(values)
    if low is not None and high is not None:
        taken = np.where(low > 0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    elif low is not None:
        taken = ndtr(-low)
    elif high is not None:
        taken = ndtr(high)
    taken = np.clip(taken, 0, None)
    inside = np.ones_like(values, dtype=bool)
    if tolerance[0] is not None:
        inside &= values >= tolerance[0]
    if tolerance[1] is not None:
        inside &= values <= tolerance[1]
    return Risks(
        conforming=math.fsum(made[inside]),
        accepted=math.fsum(made * taken),
        customer=math.fsum((made * taken)[~inside]),
        shop=math.fsum((made * (1 - taken))[inside]),
    )


def guarded(tolerance: Ends, u: float, r: float) -> Ends:
    """Acceptance limits drawn in by r U = 2 r u on each side; r < 0 lets them out."""
    finite(u=u, r=r, **_named(tolerance))
    low, high = tolerance
    guard = 2 * r * u
    return (
        None if low is None else low + guard,
        None if high is None else high - guard,
    )


def guard_for(
    process: NormalProcess | GammaProcess, u: float, tolerance: Ends, customer: float
) -> float:
    """The least guard factor r, 0 or more, that keeps the customer's risk at a wish.

    A rule that accepts next to nothing keeps any wish: see what the shop risks by it.
    Raises RiskError, NotANumber.
    """
    from scipy.optimize import brentq

    finite(customer=customer)
    if not 0 < customer < 1:
        raise RiskError(f"a wished risk lies between 0 and 1, not at {customer}")

    def beyond(r: float) -> float:
        risks = global_risks(process, u, tolerance, guarded(tolerance, u, r))
        return risks.customer - customer

    if beyond(0.0) <= 0:
        return 0.0
    low, high = tolerance
    most = 10.0 if None in tolerance else (high - low) / (4 * u) * (1 - 1e-9)
    return float(brentq(beyond, 0.0, most, xtol=1e-10))


@dataclass(frozen=True)
class AllConform:
    """Probability that all conform: if they are independent, and the least and most
    that it can be however they hang together (Bonferroni, Frechet)."""

    independent: float
    least: float
    most: float


def all_conform(probabilities: Sequence[float]) -> AllConform:
    """Of one or more conformance probabilities. RiskError, NotANumber."""
    finite(probabilities=probabilities)
    if not probabilities or not all(0 <= p <= 1 for p in probabilities):
        raise RiskError("each probability lies from 0 to 1, and there is one or more")
    short = math.fsum(1 - p for p in probabilities)
    return AllConform(math.prod(probabilities), max(0.0, 1 - short), min(probabilities))


def check_risks(each: Sequence[Risks]) -> Risks:
    """A whole check that is accepted when every characteristic is, taken as
    independent. RiskError of none."""
    if not each:
        raise RiskError("a check holds one characteristic or more")
    for risks in each:
        finite(**vars(risks))
    conforming = math.prod(risks.conforming for risks in each)
    accepted = math.prod(risks.accepted for risks in each)
    both = math.prod(risks.conforming - risks.shop for risks in each)
    return Risks(conforming, accepted, accepted - both, conforming - both)


def _named(ends: Ends) -> dict[str, float | None]:
    return {"lower": ends[0], "upper": ends[1]}


def _check(process, u: float, tolerance: Ends, acceptance: Ends) -> None:
    finite(u=u, **_named(tolerance))
    finite(**_named(acceptance))
    finite(**vars(process))
    if isinstance(process, GammaProcess) and process.shape < 1:
        raise RiskError(f"the shape must be 1 or more, not {process.shape}")
    for name in ("sd", "rate"):
        if getattr(process, name, 1) <= 0:
            raise RiskError(f"{name} must be more than 0")
    if u <= 0:
        raise RiskError(f"the standard uncertainty must be more than 0, not {u}")
    if tolerance == (None, None):
        raise RiskError("a tolerance has a lower limit, an upper limit or both")
    for low, high in (tolerance, acceptance):
        if None not in (low, high) and low >= high:
            raise RiskError(
                f"the lower limit {low} is not below the upper limit {high}"
            )


def _made(process, tolerance: Ends, acceptance: Ends, u: float):
    """Places and the share made at each: Gauss-Legendre between every place where
    something bends."""
    import numpy as np
    from scipy.stats import gamma, norm

    if isinstance(process, NormalProcess):
        law = norm(process.mean, process.sd)
        low, high = (process.mean + side * REACH * process.sd for side in (-1, 1))
    else:
        law = gamma(process.shape, scale=1 / process.rate)
        low, high = 0.0, float(law.isf(1e-30))
    bends = {low, high}
    for end in (*tolerance, *acceptance):
        if end is not None:
            ways = [k * u for k in (-8, -4, -2, -1, 0, 1, 2, 4, 8)]
            bends |= {end + way for way in ways if low < end + way < high}
    bends |= {low + (high - low) * k / 48 for k in range(1, 48)}
    edges = np.array(sorted(bends))
    nodes, weights = np.polynomial.legendre.leggauss(20)
    half = np.diff(edges) / 2
    values = ((edges[:-1] + half)[:, None] + half[:, None] * nodes).ravel()
    shares = (half[:, None] * weights).ravel() * law.pdf(values)
    return values, shares
