"""Control charts: individuals and moving range, mean and range, mean and deviation.

Sources: NIST/SEMATECH e-Handbook 6.3.2; ASTM E2587; Montgomery, Introduction to
Statistical Quality Control, ch. 6. Constants are exact (constants.py): printed tables
round them, which moves a limit in its fourth digit. Limits lie three standard
deviations from the center; below 0 a spread has none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from .constants import c4, d2, d3
from .exact import Number, exact_list, moments
from .remark import Remark
from .run_rules import RULES, Signal, signals
from .spread import Spread, from_moving_ranges, moving_ranges, within

FEW = 20  # points below which limits are preliminary: common practice, no source
WIDTH = 3.0
LEAST_POINTS = 3
RANGE_UP_TO = 10  # values of a subgroup: beyond, its range tells little of it


@dataclass(frozen=True)
class Line:
    """Points of a chart, its center and limits: one number for each point.

    `even` when center and limits are the same all along.
    """

    kind: str
    points: tuple[float, ...]
    center: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]

    @property
    def even(self) -> bool:
        return all(
            len(set(line)) <= 1 for line in (self.center, self.lower, self.upper)
        )


@dataclass(frozen=True)
class Chart:
    """Places above, spread below, and what speaks: or why there is no chart.

    `spread_at`: the points, from 1, that the spread has values of; a moving range has
    none at the first, a subgroup of one value has none.
    """

    kind: str
    places: Line | None
    spread: Line | None
    spread_at: tuple[int, ...]
    sd: float | None
    signals: tuple[Signal, ...]
    why: Remark | None = None


def chart(
    values: Sequence[Number],
    subgroups: Sequence[str] | None = None,
    *,
    rules: str = "western_electric",
    spread: str | None = None,
) -> Chart:
    """The chart of values in order of time, and what the rules of a source say of it.

    Args:
        values: shape (n,), any unit.
        subgroups: label of each value; None, or every one alone: individuals.
        rules: one of RULES; of the chart of spread only "beyond the limits" is asked.
        spread: "range" or "deviation" within subgroups; None: range up to 10 values.
    Raises:
        NotANumber, OutOfRange, SizeError (a subgroup of more than 1000 values).
    """
    numbers = exact_list(values)
    groups = grouped(numbers, subgroups)
    if all(len(group) == 1 for group in groups):
        return _individuals(numbers, rules)
    if len(groups) < 2:
        return _none("mean_" + (spread or "range"), Remark("one_subgroup"))
    largest = max(map(len, groups))
    return _means(groups, spread or _usual(largest), rules)


def grouped(
    values: Sequence[Fraction], labels: Sequence[str] | None
) -> list[list[Fraction]]:
    """Values by label, in the order in which labels first come; each alone without."""
    if labels is None:
        return [[value] for value in values]
    groups: dict[str, list[Fraction]] = {}
    for label, value in zip(labels, values, strict=True):
        groups.setdefault(label, []).append(value)
    return list(groups.values())


def scattered(labels: Sequence[str]) -> dict[str, int]:
    """Each label that comes again after another one began, and the place in the row
    where it does so first: as one point of a course it would stand at two times."""
    again: dict[str, int] = {}
    ended, last = set(), None
    for at, label in enumerate(labels):
        if label != last:
            if label in ended:
                again.setdefault(label, at)
            ended.add(last)
            last = label
    return again


def _usual(largest: int) -> str:
    return "range" if largest <= RANGE_UP_TO else "deviation"


def _individuals(values: list[Fraction], rules: str) -> Chart:
    if len(values) < LEAST_POINTS:
        why = Remark("few_for_chart", {"n": len(values), "least": LEAST_POINTS})
        return _none("individuals", why)
    ranges = moving_ranges(values)
    within_sd = from_moving_ranges(values).sd
    if not within_sd:
        return _none("individuals", Remark("alike"))
    places, z = _line("individuals", values, moments(values).mean, within_sd)
    below = _spread_line(
        "moving_range", ranges, within_sd, [(d2(2), d3(2))] * len(ranges)
    )
    at = range(2, len(values) + 1)  # the first value has no range before it
    return _told("individuals", places, z, below, at, within_sd, rules)


def _means(groups: list[list[Fraction]], spread: str, rules: str) -> Chart:
    kind = f"mean_{spread}"
    spread_within: Spread | None = within(
        groups, "rbar" if spread == "range" else "sbar"
    )
    if spread_within is None or not spread_within.sd:
        return _none(kind, Remark("alike_within"))
    every = [value for group in groups for value in group]
    means, sizes = [moments(g).mean for g in groups], list(map(len, groups))
    places, z = _line("mean", means, moments(every).mean, spread_within.sd, sizes)
    several = [group for group in groups if len(group) > 1]
    if spread == "range":
        widths = [max(group) - min(group) for group in several]
        factors = [(d2(len(group)), d3(len(group))) for group in several]
    else:
        widths = [moments(group).sd for group in several]
        factors = [
            (c4(len(group)), (1 - c4(len(group)) ** 2) ** 0.5) for group in several
        ]
    below = _spread_line(spread, widths, spread_within.sd, factors)
    at = [k for k, group in enumerate(groups, 1) if len(group) > 1]
    return _told(kind, places, z, below, at, spread_within.sd, rules)


def _line(
    kind: str,
    points: Sequence[Fraction],
    center: Fraction,
    sd: float,
    sizes: Sequence[int] | None = None,
) -> tuple[Line, list[float]]:
    """Points with their limits, and how many of their own standard deviations they lie
    from the center: exactly, however far both are from zero."""
    own = [sd / size**0.5 for size in sizes or [1] * len(points)]
    middle = float(center)
    line = Line(
        kind,
        tuple(map(float, points)),
        (middle,) * len(own),
        tuple(middle - WIDTH * value for value in own),
        tuple(middle + WIDTH * value for value in own),
    )
    away = zip(points, own, strict=True)
    return line, [float(point - center) / sigma for point, sigma in away]


def _spread_line(kind: str, points: Sequence, sd: float, factors: list) -> Line:
    return Line(
        kind,
        tuple(map(float, points)),
        tuple(mean * sd for mean, _ in factors),
        tuple(max(0.0, mean - WIDTH * own) * sd for mean, own in factors),
        tuple((mean + WIDTH * own) * sd for mean, own in factors),
    )


def _told(
    kind: str,
    places: Line,
    z: Sequence[float],
    below: Line,
    at: Sequence[int],
    sd: float,
    rules: str,
) -> Chart:
    marked = signals(z, rules)
    beyond = f"{RULES[rules][0].name}_spread"
    limits = zip(at, below.lower, below.points, below.upper, strict=True)
    marked += [Signal(k, beyond) for k, low, x, up in limits if not low <= x <= up]
    marked.sort(key=lambda signal: signal.at)
    return Chart(kind, places, below, tuple(at), sd, tuple(marked))


def _none(kind: str, why: Remark) -> Chart:
    return Chart(kind, None, None, (), None, (), why)
