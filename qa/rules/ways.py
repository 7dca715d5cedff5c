"""What could be done about a part, side by side, as it is kept with a plan."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache

from qa.models import PlanDefaults, StepKind
from qa.numeric.plan import ways as numeric
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.known import with_known
from qa.numeric.plan.result import Plan, PlanOptions
from qa.numeric.plan.ways import BOTH, Rates, Way
from qa.rules.adjusters import Present
from shop.numeric.units import MILLI, MM_PER_M, S_PER_MIN, to_nm

REMEMBERED = 32  # answers of each kind that a process keeps


@dataclass(frozen=True)
class Question:
    """All that the ways of a part depend on; `stacks` are adjusters set by shims.

    One question has one answer, which is worked out once while it is remembered: a page
    opened again, the plan taken from it and the tablet beside it do not search anew.
    """

    measured: tuple[Measured, ...]
    options: PlanOptions
    wished: float | None
    rates: Rates
    stacks: tuple[str, ...]


@lru_cache(maxsize=REMEMBERED)
def side_by_side(asked: Question) -> tuple[Way, ...]:
    """All ways, in the order recommended."""
    return numeric.ways(
        asked.measured, asked.options, asked.wished, asked.rates, asked.stacks
    )


@lru_cache(maxsize=REMEMBERED)
def plan_of(asked: Question, kind: str) -> Plan:
    """The plan of one of the ways, with what is known of it."""
    by_kind = {way.kind: way for way in side_by_side(asked)}
    return with_known(asked.measured, asked.options, by_kind[kind].plan, drawn=True)


@dataclass(frozen=True)
class WayRow:
    """One way as it was judged: names of the stations that are cut, settings as (name,
    steps), how many stations are measured again. `as_kind` is the way before it that
    asks for the same, "" where none does."""

    kind: str
    conforms: bool
    probability: float | None
    cut: tuple[str, ...]
    length_nm: int
    area_mm2: float
    settings: tuple[tuple[str, int], ...]
    changed: int
    stale: int
    minutes: float
    meets: bool
    as_kind: str = ""


def rates_of(defaults: PlanDefaults) -> Rates:
    """Minutes that work takes here."""
    return Rates(
        loosen=defaults.loosen_s / S_PER_MIN,
        motion=defaults.motion_s / S_PER_MIN,
        adjuster=defaults.adjuster_s / S_PER_MIN,
        measure=defaults.measure_s / S_PER_MIN,
        look_again=defaults.look_again_s / S_PER_MIN,
        cut=defaults.cut_s / S_PER_MIN,
        cut_per_mm=defaults.cut_per_m_s / S_PER_MIN / MM_PER_M,
    )


def wished_of(defaults: PlanDefaults, options: PlanOptions) -> float | None:
    """The least probability that is wished; none where nothing is known of errors."""
    if defaults.wished_permille is None or options.uncertainty_mm is None:
        return None
    return defaults.wished_permille / MILLI


def stacks_of(present: Sequence[Present]) -> tuple[str, ...]:
    """The adjusters that are set by shims."""
    return tuple(
        adjuster.name for adjuster in present if adjuster.step_kind == StepKind.SHIM
    )


def chosen(ways: Sequence[Way], wished: str | None) -> Way:
    """The way to show: the one asked for, else the first; where none conforms the one
    that may do everything, since it says what stays wrong and why."""
    by_kind = {way.kind: way for way in ways}
    if wished in by_kind:
        return by_kind[wished]
    return ways[0] if ways[0].conforms else by_kind[BOTH]


def rows_of(ways: Sequence[Way], name: Callable[[int, str], str]) -> list[WayRow]:
    """Ways as they are kept, in the order recommended."""
    rows, same = [], {}
    for way in ways:
        stations = way.plan.stations
        cut = tuple(name(stations[k].joint, stations[k].label) for k in way.cut)
        settings = tuple(
            (setting.name, setting.steps)
            for setting in way.plan.settings or ()
            if setting.steps
        )
        moved = tuple(to_nm(amount) for amount in way.plan.move.raw)
        depths = tuple(to_nm(station.trim) for station in stations)
        asks = settings or (bool(way.adjusters_changed) and moved), depths
        first = same.setdefault(asks, way.kind)
        rows.append(
            WayRow(
                kind=way.kind,
                conforms=way.conforms,
                probability=way.probability,
                cut=cut,
                length_nm=to_nm(way.trim_length_mm),
                area_mm2=way.trim_area_mm2,
                settings=settings,
                changed=way.adjusters_changed,
                stale=len(way.stale),
                minutes=way.minutes,
                meets=way.meets,
                as_kind="" if first == way.kind else first,
            )
        )
    return rows


def as_json(rows: Sequence[WayRow]) -> list[dict]:
    """For the record of a plan."""
    return [asdict(row) for row in rows]
