"""An uncertainty budget: contributions, combined, with effective degrees of freedom.

Source: JCGM 100:2008 (GUM) 4.2, 4.3 (evaluation), 5.1 (combination, uncorrelated),
G.3, G.4 (Welch and Satterthwaite, expanded uncertainty), E.4.3 / G.4.2 (how well an
uncertainty is known); JCGM 106:2012, 8.3.3 (a guard by Student's t). Any unit: all
contributions in that of the result.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from qa.numeric.verdict.acceptance import ONE_SIDED_K, PROVEN
from shop.numeric.finite import finite

# A bound of so much each side, over this, is a standard uncertainty (4.3.7, 4.3.9,
# 4.4.6; H.1.3.4 for the swing of a cycle).
SHAPES = {
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
}


class BudgetError(ValueError):
    """A contribution or a budget that cannot be; the message says which."""


@dataclass(frozen=True)
class Contribution:
    """|sensitivity| x u in the unit of the result; df None: without end."""

    name: str
    u: float
    df: float | None = None


@dataclass(frozen=True)
class Combined:
    """Standard uncertainty, effective degrees of freedom (None: without end), coverage
    factor and expanded uncertainty at the level, and the part of each in u squared.
    guard_k: the factor of a guard that leaves 95 % at one limit, Student's t."""

    u: float
    df: float | None
    k: float
    expanded: float
    shares: tuple[float, ...]
    guard_k: float = ONE_SIDED_K

    @property
    def judged(self) -> float:
        """What verdicts judge by: u, made larger where few degrees of freedom stand
        behind it, so that the guard of normal errors is the one of t (JCGM 106, 8.3.3,
        example 2). It is exact at a limit with no other nearer than 6 of it; at two
        limits 3.92 apart 95 % are 92 with one degree of freedom, 93 with three."""
        return self.u * self.guard_k / ONE_SIDED_K

    @property
    def k_df(self) -> int | None:
        """The degrees of freedom that k is taken at."""
        return None if self.df is None else _whole(self.df)


def from_half_width(half_width: float, shape: str = "rectangular") -> float:
    """Standard uncertainty of what lies within +-half_width.

    Raises BudgetError, NotANumber.
    """
    finite(half_width=half_width)
    if shape not in SHAPES:
        raise BudgetError(f"{shape} is none of {', '.join(SHAPES)}")
    if half_width < 0:
        raise BudgetError(f"a half width is 0 or more, not {half_width}")
    return half_width / SHAPES[shape]


def from_resolution(resolution: float) -> float:
    """Standard uncertainty of the last digit or graduation: step / sqrt(12), F.2.2.1.

    Raises BudgetError, NotANumber.
    """
    finite(resolution=resolution)
    return from_half_width(resolution / 2)


def from_expanded(expanded: float, k: float) -> float:
    """Standard uncertainty from a certificate: U / k, 4.3.3.

    Raises BudgetError, NotANumber.
    """
    finite(expanded=expanded, k=k)
    if expanded < 0 or k <= 0:
        raise BudgetError("U is 0 or more and k more than 0")
    return expanded / k


def df_of_doubt(doubt: float) -> float:
    """Degrees of freedom of an uncertainty known to a share of itself: 25 % gives 8,
    G.4.2. BudgetError, NotANumber."""
    finite(doubt=doubt)
    if not 0 < doubt <= 1:
        raise BudgetError(f"the doubt is a share, more than 0 and up to 1, not {doubt}")
    return 1 / (2 * doubt**2)


def combine(contributions: Sequence[Contribution], level: float = 0.95) -> Combined:
    """The root of the sum of squares, uncorrelated, and its expanded uncertainty by
    Student's t at the effective degrees of freedom, cut to a whole number (G.4.1).

    Raises BudgetError, NotANumber.
    """
    from scipy.stats import norm, t

    finite(level=level)
    if not 0.5 <= level < 1:
        raise BudgetError(f"the level must be 0.5 or more and below 1, not {level}")
    for part in contributions:
        finite(**{f"u of {part.name}": part.u, f"df of {part.name}": part.df})
        if part.u < 0 or (part.df is not None and part.df < 1):
            raise BudgetError(f"{part.name}: u must be 0 or more, its df 1 or more")
    u = math.hypot(*(part.u for part in contributions))
    if not u:
        raise BudgetError("a budget holds one contribution above 0, or more")
    shares = tuple((part.u / u) ** 2 for part in contributions)
    doubt = math.fsum(
        share**2 / part.df
        for share, part in zip(shares, contributions, strict=True)
        if part.df is not None
    )
    df = 1 / doubt if doubt else None
    tail = (1 + level) / 2
    k = float(norm.ppf(tail) if df is None else t.ppf(tail, _whole(df)))
    guard = ONE_SIDED_K if df is None else float(t.ppf(PROVEN, _whole(df)))
    return Combined(u, df, k, k * u, shares, guard)


def _whole(df: float) -> int:
    """The next lower whole number (G.4.1), of tenths, as the GUM prints them: its 19.0
    is 18.9987, and no 18."""
    return math.floor(round(df, 1))
