"""The only bridge from models to numeric: requirements limits, feet, words."""

from dataclasses import dataclass
from functools import lru_cache

from qa.models import Check, Edge, Finish, Kind, Station
from qa.numeric import verdict
from qa.numeric.lengths import format_length
from shop.models import Unit

MM = 1_000_000
NO_LIMITS = "no limits"


@dataclass(frozen=True)
class Requirement:
    """Limits in nm that hold for one characteristic in the state it is checked in."""

    low_nm: int | None
    high_nm: int | None

    @property
    def empty(self) -> bool:
        return self.low_nm is None and self.high_nm is None


def _shifted(limit: int | None, by: int) -> int | None:
    return None if limit is None else limit + by


def requirement(station: Station, kind: str, finish: str) -> Requirement:
    """Return the limits of a station, moved for finish still to come when bare.

    Limits hold for the finished state (design 4.4): checked bare, a gap must leave room
    for the finish on both edges; flushness moves by the difference of the two faces.
    """
    revision = station.revision
    part, surround = revision.finish_part_nm, revision.finish_surround_nm
    bare = finish == Finish.BARE
    if kind == Kind.GAP:
        by = part + surround if bare else 0
        low, high = station.gap_min_nm, station.gap_max_nm
    else:
        by = surround - part if bare else 0
        low, high = station.flush_min_nm, station.flush_max_nm
    return Requirement(_shifted(low, by), _shifted(high, by))


@lru_cache(maxsize=10_000)
def _acceptance(low, high, u, rule, edition) -> verdict.Acceptance:
    return verdict.acceptance(low, high, u, rule, edition)


def acceptance(
    wanted: Requirement, u_nm: int | None, rule: str, edition: str
) -> verdict.Acceptance | None:
    """Return the integer limits to judge by, None where nothing is required.

    Raises verdict.NarrowLimits or ValueError as qa.numeric.verdict does.
    """
    if wanted.empty:
        return None
    return _acceptance(wanted.low_nm, wanted.high_nm, u_nm, rule, edition)


def bridge_excess_nm(station: Station, check: Check) -> int | None:
    """Return what the check's bridge reads too much here, None without a radius."""
    feet = (check.foot_1_nm, check.foot_2_nm, check.probe_nm)
    if not station.radius_nm or None in feet:
        return None
    excess = verdict.bridge_excess(*(n / MM for n in (station.radius_nm, *feet)))
    return round(excess * MM)


def length(nm: int | None, unit: str = Unit.MM, places: int | None = None) -> str:
    """Return a length for people: 2 decimals of mm or 3 of inch, unit beside."""
    if nm is None:
        return "–"
    if places is None:
        places = 2 if unit == Unit.MM else 4
    return f"{format_length(nm, unit, places).replace('-', '−')} {unit}"


def limits_text(low: int | None, high: int | None, unit: str = Unit.MM) -> str:
    """Return limits for people: "1.50 to 3.00 mm", "at most 0.50 mm"."""
    if low is None and high is None:
        return NO_LIMITS
    places = 2 if unit == Unit.MM else 4

    def text(nm):
        return format_length(nm, unit, places).replace("-", "−")

    if low is None:
        return f"at most {text(high)} {unit}"
    if high is None:
        return f"at least {text(low)} {unit}"
    return f"{text(low)} to {text(high)} {unit}"


def facing(edge: str, flush_nm: int | None) -> str:
    """Return which way a step faces the flow ("" when it does not matter).

    Proud at the upstream edge or low at the downstream edge faces forward.
    """
    if not flush_nm or edge not in (Edge.UPSTREAM, Edge.DOWNSTREAM):
        return ""
    forward = (flush_nm > 0) == (edge == Edge.UPSTREAM)
    return "forward-facing" if forward else "aft-facing"
