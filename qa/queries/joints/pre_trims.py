"""A pre-trim as its page shows it: where how much, and what becomes of it."""

from dataclasses import dataclass

from qa.models import Check, FitPlan
from qa.queries.joints import drawings
from qa.queries.joints.earlier import EarlierPage, earlier_page
from qa.rules import earlier_fits, plan_records
from qa.wording import lengths
from shop.numeric.units import to_nm


@dataclass(frozen=True)
class PreTrimPage:
    """`plan` is the one that stands for the check, a pre-trim or another; `cuts` are
    what could be taken, [(station, length)], none where it is too early or too late."""

    check: Check
    before: EarlierPage | None
    cuts: list[tuple[str, str]]
    plan: FitPlan | None
    map_svg: str


def pre_trim_page(check: Check, unit: str) -> PreTrimPage:
    """check: loaded with planning.RELATED."""
    fit_up = check.fit_up
    joint = fit_up.joint
    before = earlier_page(joint, fit_up.airframe, unit)
    newest = plan_records.newest_of(check)
    plan = newest if newest and plan_records.standing(newest) else None
    found = None if plan else earlier_fits.pre_trim(check)
    stations = list(fit_up.revision.stations.all())
    cuts = [
        (station.label, lengths.length(to_nm(station.trim), unit))
        for station in (found[0].plan.stations if found else ())
        if station.trim
    ]
    drawn = drawings.map_of(fit_up.revision, stations, unit=unit, bare=True)
    return PreTrimPage(check, before, cuts, plan, drawings.map_svg(drawn))
