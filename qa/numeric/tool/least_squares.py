"""Least squares of a tool beneath parts that each sit in their own way.

    reading - target = tool + opening + slopes . motion of the seating + error

A seating is one part in one opening. Its motion is eliminated first: with K the matrix
that takes it out of the seating's readings (K = I - U U', U spanning its slopes), the
normal equations of one opening are (sum K) u = sum K values, u the tool together with
the opening. Their pseudoinverse gives at once the u of least sum of squares and its
covariance, in units of the variance of an error (Rao and Mitra, Generalized Inverse of
Matrices and its Applications, 1971: minimum-norm least squares). The tool is the mean
of u over the openings, since openings sum to zero, less what a motion common to all
parts would do.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from qa.numeric.plan.motions import UNSEEN

NOTHING = 1e-9  # an eigenvalue of the normal equations; they are of the order of 1
SAME = 1e-6  # of unit vectors
ALIKE_MM = 1e-7  # a tenth of what readings hold: parts read alike to the last digit


class Why(StrEnum):
    """Why nothing can be told of a characteristic."""

    NO_LIMITS = "no_limits"
    NOT_MEASURED = "not_measured"
    FOLLOWS_SEATING = "follows_seating"
    NOT_TIED = "not_tied"
    OPENING = "opening"
    NO_SCATTER = "no_scatter"
    NOT_ASKED = "not_asked"
    ONE_GAUGE = "one_gauge"


@dataclass(frozen=True)
class Seating:
    """One part in one opening: what was read (r,), each characteristic once, and by how
    many mm it is from its target (r,)."""

    part: int
    opening: int
    rows: np.ndarray
    values: np.ndarray

    def only(self, wanted: np.ndarray) -> "Seating":
        """The readings of some characteristics, `wanted` (c,) true for them."""
        keep = wanted[self.rows]
        return Seating(self.part, self.opening, self.rows[keep], self.values[keep])


@dataclass(frozen=True)
class ToolFit:
    """What least squares says of c characteristics, and of their scatter.

    `tool` (c,) mm, `covariance` (c, c) in units of the variance of an error, both zero
    where `why` (c,) says that nothing can be told. `repeated` is the covariance that a
    part's own deviations would give if they came again in every opening. `free` (c, c)
    takes a common motion out. `square` is the residual sum of squares in mm2 with
    `degrees` of freedom. `cross` sums residuals of one part in two openings times each
    other, and `cross_degrees` what they would sum to per mm2 of variance. `openings`
    are the fits that it is the mean of.
    """

    tool: np.ndarray
    covariance: np.ndarray
    repeated: np.ndarray
    free: np.ndarray
    why: tuple[Why | None, ...]
    square: float
    degrees: int
    cross: float
    cross_degrees: float
    openings: tuple["OpeningFit", ...]

    @property
    def estimable(self) -> np.ndarray:
        """Which of it the fits determine (c,)."""
        return np.array([reason is None for reason in self.why], dtype=bool)


@dataclass(frozen=True)
class OpeningFit:
    """One opening: u (c,), its covariance per variance of an error, which of it hangs
    together, its seatings and the residuals of each."""

    u: np.ndarray
    inverse: np.ndarray
    tied: np.ndarray
    seatings: tuple[Seating, ...]
    residuals: tuple[np.ndarray, ...]
    degrees: int


def taken_out(slopes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(matrix (r, r) that takes motions out of r readings, pseudoinverse of slopes).

    A direction of motion that moves the readings by less than a thousandth of itself
    is not seen, and held at zero as everywhere in a plan (plan.motions.UNSEEN).
    """
    left, sizes, axes = np.linalg.svd(slopes, full_matrices=False)
    seen = sizes >= UNSEEN * np.sqrt(max(1, len(slopes)))
    left, sizes, axes = left[:, seen], sizes[seen], axes[seen]
    keep = np.eye(len(slopes)) - left @ left.T
    return keep, (axes.T / sizes) @ left.T


def rank(slopes: np.ndarray) -> int:
    """How many directions of motion the readings see."""
    keep, _ = taken_out(slopes)
    return len(slopes) - round(float(np.trace(keep)))


def fit_tool(slopes: np.ndarray, seatings: Sequence[Seating], openings: int) -> ToolFit:
    """The tool of c characteristics with slopes (c, q), from what was read.

    `openings` is how many there are in all; seatings number them from 0.
    """
    groups = [[s for s in seatings if s.opening == name] for name in range(openings)]
    groups = [group for group in groups if group]
    solved = [_opening(slopes, group) for group in groups]
    why = _why(solved, seatings, len(slopes), openings)
    is_told = np.array([reason is None for reason in why], dtype=bool)
    free = np.zeros((len(slopes), len(slopes)))
    free[np.ix_(is_told, is_told)] = taken_out(slopes[is_told])[0]
    is_told &= np.diag(free) > SAME  # else seating follows whatever the tool does here
    share = is_told[:, None] * free / max(1, len(solved))
    u = sum((opening.u for opening in solved), np.zeros(len(slopes)))
    inverse = sum((opening.inverse for opening in solved), np.zeros_like(free))
    covariance = share @ inverse @ share.T
    cross, cross_degrees = _cross(groups, solved, len(slopes))
    return ToolFit(
        tool=share @ u,
        covariance=covariance,
        repeated=_repeated(share, slopes, groups, solved, covariance),
        free=free,
        why=tuple(
            reason or (None if good else Why.FOLLOWS_SEATING)
            for reason, good in zip(why, is_told, strict=True)
        ),
        square=sum(float(e @ e) for o in solved for e in o.residuals),
        degrees=sum(opening.degrees for opening in solved),
        cross=cross,
        cross_degrees=cross_degrees,
        openings=tuple(solved),
    )


def _opening(slopes: np.ndarray, seatings: Sequence[Seating]) -> OpeningFit:
    """Least squares in one opening."""
    count = len(slopes)
    normal, right, free = np.zeros((count, count)), np.zeros(count), 0
    keeps = []
    for seating in seatings:
        keep, _ = taken_out(slopes[seating.rows])
        keeps.append(keep)
        normal[np.ix_(seating.rows, seating.rows)] += keep
        right[seating.rows] += keep @ seating.values
        free += round(float(np.trace(keep)))
    sizes, axes = np.linalg.eigh(normal)
    live = sizes > NOTHING
    inverse = (axes[:, live] / sizes[live]) @ axes[:, live].T
    u = inverse @ right
    read = np.zeros(count, dtype=bool)
    read[np.concatenate([seating.rows for seating in seatings])] = True
    return OpeningFit(
        u=u,
        tied=_tied(axes[:, ~live], slopes, seatings, read),
        inverse=inverse,
        seatings=tuple(seatings),
        residuals=tuple(
            keep @ (seating.values - u[seating.rows])
            for seating, keep in zip(seatings, keeps, strict=True)
        ),
        degrees=free - int(live.sum()),
    )


def _tied(null, slopes, seatings, read) -> np.ndarray:
    """The largest set of characteristics known up to one common motion (c,).

    `null` (c, d) spans what the readings cannot tell. A set hangs together when all of
    that is a rigid motion there: null = slopes G. Grown from what each seating read;
    of two as large, the first.
    """
    best = np.zeros(len(slopes), dtype=bool)
    for rows in {tuple(seating.rows): seating.rows for seating in seatings}.values():
        tied = np.zeros(len(slopes), dtype=bool)
        tied[rows] = True
        for _ in range(len(slopes)):
            motion = taken_out(slopes[tied])[1] @ null[tied]
            off = np.abs(null - slopes @ motion).max(axis=1, initial=0.0)
            more = (tied | (off < SAME)) & read
            if (more == tied).all():
                break
            tied = more
        if tied.sum() > best.sum():
            best = tied
    return best


def _why(openings_of_row, seatings, count: int, openings: int) -> list[Why | None]:
    """What speaks against each characteristic so far."""
    where: list[dict[int, set[int]]] = [{} for _ in range(count)]
    for seating in seatings:
        for row in seating.rows:
            where[row].setdefault(seating.part, set()).add(seating.opening)
    reasons: list[Why | None] = []
    for row in range(count):
        if not where[row]:
            reasons.append(Why.NOT_MEASURED)
        elif not _linked(where[row].values(), openings):
            reasons.append(Why.OPENING)
        elif not all(opening.tied[row] for opening in openings_of_row):
            reasons.append(Why.NOT_TIED)
        else:
            reasons.append(None)
    return reasons


def _linked(tried, count: int) -> bool:
    """Whether parts tried in several openings link all `count` of them."""
    if count == 1:
        return True
    linked = linked_sets(tried)
    return len(linked) == 1 and len(linked[0]) == count


def linked_sets(tried: Iterable[set]) -> list[set]:
    """What hangs together, from what each part was tried in."""
    linked: list[set] = []
    for openings in tried:
        apart = [each for each in linked if not each & openings]
        linked = [*apart, openings.union(*(each for each in linked if each & openings))]
    return linked


def _repeated(share, slopes, groups, openings, covariance) -> np.ndarray:
    """The covariance (c, c) if the errors of a part came again in every opening."""
    seatings = [seating for group in groups for seating in group]
    if len({seating.part for seating in seatings}) == len(seatings):
        return covariance
    by_part: dict[int, np.ndarray] = {}
    for group, opening in zip(groups, openings, strict=True):
        for seating in group:
            rows = seating.rows
            way = np.zeros_like(covariance)
            way[:, rows] = opening.inverse[:, rows] @ taken_out(slopes[rows])[0]
            by_part[seating.part] = by_part.get(seating.part, 0.0) + share @ way
    return sum(way @ way.T for way in by_part.values())


def _cross(groups, solved, count: int) -> tuple[float, float]:
    """(sum of products of residuals of one part in two openings, its expectation).

    The expectation is for a part's own deviations with variance 1 that come again in
    every opening: of K common parts out of P and Q, (K (1 - 1/P)(1 - 1/Q) +
    K (K - 1) / (P Q)) times the degrees that one part adds. Exact where every part has
    every characteristic.
    """
    wide = []
    for group, opening in zip(groups, solved, strict=True):
        rows = {}
        for seating, residual in zip(group, opening.residuals, strict=True):
            rows[seating.part] = np.zeros(count)
            rows[seating.part][seating.rows] = residual
        wide.append((rows, opening.degrees / max(1, len(group) - 1)))
    total = expected = 0.0
    for number, (residuals, own_degrees) in enumerate(wide):
        for other, its_each in wide[:number]:
            both, p, q = residuals.keys() & other.keys(), len(residuals), len(other)
            total += sum(float(residuals[part] @ other[part]) for part in sorted(both))
            k = len(both)
            share = k * (1 - 1 / p) * (1 - 1 / q) + k * (k - 1) / (p * q)
            expected += min(own_degrees, its_each) * share
    return total, expected
