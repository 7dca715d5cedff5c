"""What is made at a joint, as its parts on record show it, and the characteristics of a
check with the rule that judges them.

What is made is taken as normal. Where a place has two limits it lies about their
middle. Where it has one there is no middle to be off from, nor is what is made there
like that at the others: it lies so far inside of its limit, and scatters so much, as
what was read at such places shows.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from qa.models import Check, Finish, Joint, Kind, Station
from qa.numeric.measuring.check_risk import Characteristic
from qa.numeric.measuring.risk import Ends, NormalProcess
from qa.rules import over_parts, requirements
from qa.rules.over_parts import PartRead, Which
from shop.numeric.units import to_mm, to_nm

LEAST_PARTS = 3


class Limited(StrEnum):
    """How many limits a characteristic has."""

    BOTH = "both"
    ONE = "one"


Group = tuple[str, Limited]  # kind of reading, limits
GROUPS: list[Group] = [(kind, limited) for limited in Limited for kind in Kind.values]


@dataclass(frozen=True)
class Made:
    """How what is made lies, in nm, where a kind has so many limits: off the middle of
    two, or inside of the one (below 0: beyond it)."""

    off_nm: int
    sd_nm: int


def limited(limits: tuple[int | None, int | None]) -> Limited | None:
    """None where there is no limit."""
    if limits == (None, None):
        return None
    return Limited.ONE if None in limits else Limited.BOTH


def off_mm(limits: tuple[int | None, int | None], value: float) -> float:
    """How a value in mm lies: off the middle of two limits, inside of the one."""
    low, high = _mm(limits)
    if low is None:
        return high - value
    return value - (low if high is None else (low + high) / 2)


def _made_about(limits: tuple[int | None, int | None], off: float) -> float:
    """The value that lies so: `off_mm` the other way round."""
    low, high = _mm(limits)
    if low is None:
        return high - off
    return off + (low if high is None else (low + high) / 2)


def made_on_record(
    joint: Joint, u_nm: int | None
) -> tuple[dict[Group, Made], list[PartRead]]:
    """(what was read last of the joint's parts shows of each group, what these parts
    read): all its stations together, less what the gauge adds. A group lacks where
    fewer than three parts were read, or where readings scatter no more than the
    gauge."""
    history = over_parts.over_parts(joint, Which.LAST)
    read: dict[Group, dict[int, list[float]]] = {}
    for number, part_read in enumerate(history.reads):
        for (row, kind), nm in part_read.nm.items():
            limits = history.limits(row, kind)
            if of := limited(limits):
                parts = read.setdefault((kind, of), {})
                parts.setdefault(number, []).append(off_mm(limits, to_mm(nm)))
    made_of = {}
    for group, parts in read.items():
        values = [value for own in parts.values() for value in own]
        if len(parts) < LEAST_PARTS:
            continue
        mean = math.fsum(values) / len(values)
        spread = math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
        made = spread - to_mm(u_nm or 0) ** 2
        if made > 0:
            made_of[group] = Made(to_nm(mean), max(1, to_nm(math.sqrt(made))))
    return made_of, history.reads


@dataclass(frozen=True)
class Rule:
    """The characteristics of a check (mm), and within what each is accepted now;
    `lacking` are the groups of those of which it is not known how they are made."""

    each: list[Characteristic]
    accepted: list[Ends]
    lacking: list[Group]


def groups_of(stations: list[Station]) -> list[Group]:
    """Those of which a check has some, in order. stations: with their revision."""
    there = {
        (kind, limited(requirements.requirement(station, kind, Finish.BARE).limits))
        for station in stations
        for kind in Kind.values
    }
    return [group for group in GROUPS if group in there]


def rule_of(check: Check, stations: list[Station], made: dict[Group, Made]) -> Rule:
    """Of the groups that `made` has, the others lack; check with its uncertainty known,
    stations with their revision. Limits are those of bare edges."""
    each, accepted, lacking = [], [], set()
    revision = check.fit_up.revision
    for station in stations:
        for kind in Kind.values:
            wanted = requirements.requirement(station, kind, Finish.BARE)
            if wanted.empty:
                continue
            group = kind, limited(wanted.limits)
            about = made.get(group)
            if about is None:
                lacking.add(group)
                continue
            inside = requirements.acceptance(
                wanted, check.u_nm, revision.rule, revision.edition
            ).inside
            mean = _made_about(wanted.limits, to_mm(about.off_nm))
            process = NormalProcess(mean, to_mm(about.sd_nm))
            each.append(Characteristic(process, to_mm(check.u_nm), _mm(wanted.limits)))
            accepted.append(_mm(inside))
    return Rule(each, accepted, [group for group in GROUPS if group in lacking])


def _mm(limits: tuple[int | None, int | None]) -> Ends:
    low, high = (None if limit is None else to_mm(limit) for limit in limits)
    return low, high
