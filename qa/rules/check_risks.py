"""What is made at a joint, as its parts on record show it, and the characteristics of a
check with the rule that judges them."""

import math
from dataclasses import dataclass

from qa.models import Check, Finish, Joint, Kind, Station
from qa.numeric.measuring.check_risk import Characteristic
from qa.numeric.measuring.risk import Ends, NormalProcess
from qa.rules import over_parts, requirements
from qa.rules.over_parts import Which
from shop.numeric.units import to_mm, to_nm

LEAST_PARTS = 3


@dataclass(frozen=True)
class Made:
    """How what is made lies about the middle of the limits, in nm, of one kind."""

    off_nm: int
    sd_nm: int


def made_on_record(joint: Joint, u_nm: int | None) -> tuple[dict[str, Made], int]:
    """(what the last checks of the joint's parts show by kind, of how many parts): all
    stations together, less what the gauge adds. A kind lacks where fewer than three
    parts were read, or where readings scatter no more than the gauge."""
    told = over_parts.over_parts(joint, Which.LAST)
    found = {}
    if len(told.reads) < LEAST_PARTS:
        return found, len(told.reads)
    for kind in Kind.values:
        aims = _middles_mm(told, kind)
        values = [
            off
            for read in told.reads
            for off in over_parts.deviations_mm(read, kind, aims)
            if off is not None
        ]
        if len(values) < LEAST_PARTS:
            continue
        mean = math.fsum(values) / len(values)
        spread = math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
        made = spread - to_mm(u_nm or 0) ** 2
        if made > 0:
            found[kind] = Made(to_nm(mean), max(1, to_nm(math.sqrt(made))))
    return found, len(told.reads)


def _middles_mm(told: over_parts.OverParts, kind: str) -> list[float | None]:
    """The middle of the limits at each station: where there is but one, what is made
    there says nothing of how it lies about a middle."""
    found = []
    for row in range(len(told.seam.stations)):
        low, high = told.limits(row, kind)
        both = None not in (low, high)
        found.append((to_mm(low) + to_mm(high)) / 2 if both else None)
    return found


@dataclass(frozen=True)
class Rule:
    """The characteristics of a check (mm), and within what each is accepted now;
    `lacking` are the kinds of those of which it is not known how they are made."""

    each: list[Characteristic]
    accepted: list[Ends]
    lacking: list[Kind]


def rule_of(check: Check, stations: list[Station], made: dict[str, Made]) -> Rule:
    """Of the kinds that `made` has, the others lack; check with its uncertainty known.
    What is made lies about the middle of bare limits, about the limit itself where
    there is but one."""
    each, accepted, lacking = [], [], set()
    revision = check.fit_up.revision
    for station in stations:
        station.revision = revision
        for kind in Kind:
            wanted = requirements.requirement(station, kind, Finish.BARE)
            if wanted.empty:
                continue
            about = made.get(kind)
            if about is None:
                lacking.add(kind)
                continue
            inside = requirements.acceptance(
                wanted, check.u_nm, revision.rule, revision.edition
            ).inside
            ends = [limit for limit in wanted.limits if limit is not None]
            middle = sum(map(to_mm, ends)) / len(ends)
            process = NormalProcess(middle + to_mm(about.off_nm), to_mm(about.sd_nm))
            each.append(Characteristic(process, to_mm(check.u_nm), _mm(wanted.limits)))
            accepted.append(_mm(inside))
    return Rule(each, accepted, sorted(lacking))


def _mm(limits: tuple[int | None, int | None]) -> Ends:
    low, high = (None if limit is None else to_mm(limit) for limit in limits)
    return low, high
