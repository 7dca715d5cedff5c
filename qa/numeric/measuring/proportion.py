"""Bounds of a share from a count: C. J. Clopper and E. S. Pearson, Biometrika 26(4),
1934, 404-413. They hold at least as often as stated, whatever the share is."""

from dataclasses import dataclass

from .exact import LEVEL, level_of


@dataclass(frozen=True)
class Seen:
    """So many of some values, as a share of them, and bounds of the share of all."""

    count: int
    share: float
    low: float
    high: float


def share_bounds(count: int, n: int, level: float = LEVEL) -> tuple[float, float]:
    """Bounds of the share of which `count` of `n` were seen. ValueError for a count
    that is none of so many; LevelError."""
    from scipy.special import betaincinv

    if not 0 <= count <= n or n < 1:
        raise ValueError(f"{count} of {n} is no count")
    beyond = (1 - level_of(level)) / 2
    low = float(betaincinv(count, n - count + 1, beyond)) if count else 0.0
    high = float(betaincinv(count + 1, n - count, 1 - beyond)) if count < n else 1.0
    return low, high


def seen_of(count: int, n: int, level: float = LEVEL) -> Seen:
    """What `count` of `n` values say of all: both bounds, or where none was seen the
    upper one alone, at the same level. Errors as of share_bounds."""
    if not count:
        _low, high = share_bounds(0, n, 2 * level_of(level) - 1)
        return Seen(0, 0.0, 0.0, high)
    return Seen(count, count / n, *share_bounds(count, n, level))
