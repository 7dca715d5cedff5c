"""A gauge study: every person measures every part the same number of times.

Parts and persons are random, as in AIAG, Measurement Systems Analysis, 4th ed. 2010,
ch. III B, and Burdick, Borror and Montgomery, J. Quality Technology 35(4), 2003. Main
effects are tested against the interaction; the interaction is pooled with repeatability
where its p exceeds 0.25. Bounds: mean_squares.py. Sums of squares are exact.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice

from .exact import Number, exact, exact_list, level_of, moments
from .gauge_range import RangeMethod, by_ranges, categories
from .mean_squares import Term, bounds
from .remark import Remark

POOLED_ABOVE = 0.25
SOURCES = ("part", "person", "part_x_person", "repeatability", "total")
MOST_NAMED = 100  # uneven cells: a table of all would be parts times people
STUDY = 6.0  # standard deviations that are held against the tolerance
Interval = tuple[float, float]


class StudyError(ValueError):
    """Values that are no study; the message says why."""


@dataclass(frozen=True)
class Cell:
    """A part by a person: how many values there are, and how many other cells have."""

    part: str
    person: str
    count: int
    usual: int

    def __str__(self) -> str:
        return f"part {self.part} by {self.person}: {self.count} of {self.usual} values"


class UnevenCells(StudyError):
    """Cells that lack values, or have too many, at most MOST_NAMED; the message names
    the first."""

    def __init__(self, message: str, cells: Sequence[Cell]):
        super().__init__(message)
        self.cells = tuple(cells)


@dataclass(frozen=True)
class Source:
    """A row of the analysis of variance; f and p are None where there is no test."""

    source: str
    df: int
    ss: float
    ms: float | None
    f: float | None
    p: float | None


@dataclass(frozen=True)
class Study:
    """What a study says; None where it cannot, and `why`. `sd` and `intervals` by name:
    repeatability, reproducibility, person, part_x_person, gauge, part, total. `anova`
    is of the whole model, with the interaction, pooled or not: `notes` say so. The
    share of a spread not seen is None, and it has no bounds; `notes` say so."""

    parts: int
    people: int
    repeats: int
    anova: tuple[Source, ...] = ()
    pooled: bool = False
    sd: Mapping[str, float] | None = None
    share_of_total: float | None = None
    share_of_tolerance: float | None = None
    distinct_categories: int | None = None
    intervals: Mapping[str, Interval] | None = None
    range_method: RangeMethod | None = None
    notes: tuple[Remark, ...] = ()
    why: Remark | None = None


def gauge_study(
    parts: Sequence[str],
    people: Sequence[str],
    values: Sequence[Number],
    *,
    tolerance: Number | None = None,
    level: float = 0.95,
) -> Study:
    """The study of values, shape (n,), with the part and the person of each.

    Args:
        tolerance: width from limit to limit, in the unit of the values.
        level: confidence of the intervals.
    Raises:
        UnevenCells where a cell is missing or holds another number of values;
        StudyError without values, or with a tolerance that is none;
        LevelError, NotANumber, OutOfRange.
    """
    level_of(level)
    if tolerance is not None and exact(tolerance, "tolerance") <= 0:
        raise StudyError(f"the tolerance must be more than 0, not {tolerance}")
    cells = _cells(parts, people, exact_list(values))
    p, o, r = _size(cells)
    study = Study(p, o, r)
    for count, why in (
        (p, Remark("one_part")),
        (o, Remark("one_person")),
        (r, Remark("one_repeat")),
    ):
        if count < 2:
            return replace(study, why=why)
    squares = _squares(cells)
    if not squares["total"][0]:
        return replace(study, why=Remark("alike"))
    variances, pooled = _mean_squares(squares)
    study = replace(study, anova=_table(squares), pooled=pooled)
    weights = _weights(p, o, r, pooled)
    return _told(study, variances, weights, level, tolerance, by_ranges(cells))


def _cells(
    parts: Sequence[str], people: Sequence[str], values: Sequence[Fraction]
) -> dict[str, dict[str, list[Fraction]]]:
    if not values:
        raise StudyError("there are no values")
    cells: dict[str, dict[str, list[Fraction]]] = {}
    for part, person, value in zip(parts, people, values, strict=True):
        cells.setdefault(part, {}).setdefault(person, []).append(value)
    everybody = list(dict.fromkeys(people))
    counts = Counter(len(cell) for row in cells.values() for cell in row.values())
    usual = max(counts, key=lambda count: (counts[count], count))
    every = (
        Cell(part, person, len(row.get(person, ())), usual)
        for part, row in cells.items()
        for person in everybody
    )
    uneven = list(islice((cell for cell in every if cell.count != usual), MOST_NAMED))
    if uneven:
        raise UnevenCells(
            f"{uneven[0]}; every person measures every part equally often", uneven
        )
    return cells


def _size(cells) -> tuple[int, int, int]:
    """Parts, people, and values of each part by each person."""
    first = next(iter(cells.values()))
    return len(cells), len(first), len(next(iter(first.values())))


def _squares(cells) -> dict[str, tuple[Fraction, int]]:
    """Sum of squares and degrees of freedom by source, exact."""
    p, o, r = _size(cells)
    rows, people = list(cells.values()), list(next(iter(cells.values())))
    every = [value for row in rows for cell in row.values() for value in cell]
    total = moments(every)
    cell_means = [[moments(row[person]).mean for person in people] for row in rows]
    part_means = [sum(row) / o for row in cell_means]
    person_means = [sum(column) / p for column in zip(*cell_means, strict=True)]
    part = o * r * moments(part_means).squares
    person = p * r * moments(person_means).squares
    cell = r * moments([mean for row in cell_means for mean in row]).squares
    return {
        "part": (part, p - 1),
        "person": (person, o - 1),
        "part_x_person": (cell - part - person, (p - 1) * (o - 1)),
        "repeatability": (total.squares - cell, p * o * (r - 1)),
        "total": (total.squares, p * o * r - 1),
    }


def _table(squares) -> tuple[Source, ...]:
    from scipy.stats import f

    rows = []
    against = {"part": "part_x_person", "person": "part_x_person"}
    against["part_x_person"] = "repeatability"
    for source in SOURCES:
        ss, df = squares[source]
        ratio = p = None
        if source in against and squares[against[source]][0]:
            other, other_df = squares[against[source]]
            ratio = float((ss / df) / (other / other_df))
            p = float(f.sf(ratio, df, other_df))
        mean = None if source == "total" else float(ss / df)
        rows.append(Source(source, df, float(ss), mean, ratio, p))
    return tuple(rows)


def _mean_squares(squares) -> tuple[dict[str, tuple[float, int]], bool]:
    """Mean squares and degrees of freedom, the interaction pooled where chance alone
    would bring as much in more than a quarter of all studies."""
    from scipy.stats import f

    ss, df = squares["part_x_person"]
    error, error_df = squares["repeatability"]
    pooled = not ss
    if error and ss:
        pooled = (
            f.sf(float((ss / df) / (error / error_df)), df, error_df) > POOLED_ABOVE
        )
    if pooled:
        error, error_df = error + ss, error_df + df
    mean_squares = {"repeatability": (float(error / error_df), error_df)}
    for source in ("part", "person", *(() if pooled else ("part_x_person",))):
        ss, df = squares[source]
        mean_squares[source] = (float(ss / df), df)
    return mean_squares, pooled


def _weights(p: int, o: int, r: int, pooled: bool) -> dict[str, dict[str, float]]:
    """What times which mean square estimates each variance."""
    under = "repeatability" if pooled else "part_x_person"
    repeat = {"repeatability": 1.0}
    person = {"person": 1 / (p * r), under: -1 / (p * r)}
    part = {"part": 1 / (o * r), under: -1 / (o * r)}
    cross = {} if pooled else {"part_x_person": 1 / r, "repeatability": -1 / r}
    reproducibility = _sum(person, cross)
    gauge = _sum(reproducibility, repeat)
    return {
        "repeatability": repeat,
        "reproducibility": reproducibility,
        "person": person,
        "part_x_person": cross,
        "gauge": gauge,
        "part": part,
        "total": _sum(gauge, part),
    }


def _sum(
    terms: dict[str, float], other: dict[str, float], times=1.0
) -> dict[str, float]:
    names = dict.fromkeys((*terms, *other))
    return {name: terms.get(name, 0.0) + times * other.get(name, 0.0) for name in names}


def _told(
    study: Study, components, weights, level: float, tolerance, ranges: RangeMethod
) -> Study:
    def estimate(name: str) -> float:
        """A variance below 0 is 0, before it enters a sum."""
        sizes = weights[name].items()
        return max(0.0, math.fsum(times * components[s][0] for s, times in sizes))

    variance = {
        name: estimate(name)
        for name in ("repeatability", "person", "part_x_person", "part")
    }
    variance["reproducibility"] = variance["person"] + variance["part_x_person"]
    variance["gauge"] = variance["repeatability"] + variance["reproducibility"]
    variance["total"] = variance["gauge"] + variance["part"]
    sd = {name: math.sqrt(variance[name]) for name in weights}
    intervals = {
        name: _sd_bounds(weights[name], components, level)
        for name in weights
        if weights[name]
    }
    for name in [n for n in intervals if not any(components[s][0] for s in weights[n])]:
        del intervals[name]  # of mean squares that are all 0
    if sd["gauge"]:
        ratio = _ratio_bounds(weights, components, level)
        low, high = (1 / math.sqrt(1 + end) for end in reversed(ratio))
        intervals["share_of_total"] = (low, high)
        if tolerance is not None:
            ends = (STUDY * end / float(tolerance) for end in intervals["gauge"])
            intervals["share_of_tolerance"] = tuple(ends)
    notes = ()
    if not sd["gauge"]:
        notes = (Remark("blind_gauge"),)
    elif not sd["repeatability"]:
        notes = (Remark("blind_repeats"),)
    share = None if tolerance is None else STUDY * sd["gauge"] / float(tolerance)
    return replace(
        study,
        sd=sd,
        share_of_total=sd["gauge"] / sd["total"] if sd["gauge"] else None,
        share_of_tolerance=share if sd["gauge"] else None,
        notes=(*notes, _model(study, components)),
        distinct_categories=categories(sd["part"], sd["gauge"]),
        intervals=intervals,
        range_method=ranges,
    )


def _model(study: Study, components) -> Remark:
    """Which model the table is of; where the interaction was pooled, F and p of the
    main effects in the model that the deviations are of."""
    from scipy.stats import f

    mean, df = components["repeatability"]
    if not study.pooled or not mean:
        return Remark("whole_model")
    values = {"df": df}
    for source in ("part", "person"):
        own, own_df = components[source]
        values[f"{source}_f"] = own / mean
        values[f"{source}_p"] = float(f.sf(own / mean, own_df, df))
    return Remark("pooled_model", values)


def _terms(weights: Mapping[str, float], components) -> list[Term]:
    return [Term(times, *components[source]) for source, times in weights.items()]


def _sd_bounds(weights: Mapping[str, float], components, level: float) -> Interval:
    low, high = bounds(_terms(weights, components), level)
    return math.sqrt(max(0.0, low)), math.sqrt(max(0.0, high))


def _ratio_bounds(weights, components, level: float) -> Interval:
    """Bounds of part variance over gauge variance: the ratios at which the bounds of
    part - ratio x gauge meet 0."""
    from scipy.optimize import brentq

    ends = []
    for end in (0, 1):

        def beyond(log_ratio: float, end=end) -> float:
            both = _sum(weights["part"], weights["gauge"], -math.exp(log_ratio))
            return bounds(_terms(both, components), level)[end]

        if beyond(-30.0) <= 0:
            ends.append(0.0)
        else:
            ends.append(math.exp(float(brentq(beyond, -30.0, 80.0, xtol=1e-12))))
    return ends[0], ends[1]
