"""A pre-trim as its page shows it: where how much, and what becomes of it."""

from dataclasses import dataclass

from qa.models import Check, FitPlan
from qa.queries.joints import drawings
from qa.queries.joints.earlier_airframes import EarlierPage, earlier_page
from qa.rules import earlier_fits, plan_records
from qa.wording import lengths
from shop.numeric.units import to_nm


@dataclass(frozen=True)
class PreTrimPage:
    """`plan` is the one that stands for the part, with `overtaken`; `cuts` are what
    could be taken, [(station, length)], none where it is too early or too late, and
    `digest` tells them from others."""

    check: Check
    before: EarlierPage | None
    cuts: list[tuple[str, str]]
    digest: str
    plan: FitPlan | None
    map_svg: str

    @property
    def to_cut(self) -> bool:
        """Whether the plan that stands is a pre-trim of this check, and holds."""
        plan = self.plan
        return (
            plan is not None
            and plan.fit_check_id == self.check.pk
            and earlier_fits.is_pre_trim(plan)
            and not plan.overtaken
        )


def pre_trim_page(check: Check, unit: str) -> PreTrimPage:
    """check: loaded with planning.RELATED."""
    fit_up = check.fit_up
    joint = fit_up.joint
    before = earlier_page(joint, fit_up.airframe, unit)
    plan = plan_records.plan_now(fit_up.airframe, fit_up.part_id)
    draft = None if plan else earlier_fits.pre_trim(check)
    stations = list(fit_up.revision.stations.all())
    cuts = [
        (station.label, lengths.length(to_nm(station.trim), unit))
        for station in (draft[0].plan.stations if draft else ())
        if station.trim
    ]
    drawn = drawings.map_of(fit_up.revision, stations, unit=unit, bare=True)
    digest = draft[1].digest if draft else ""
    return PreTrimPage(check, before, cuts, digest, plan, drawings.map_svg(drawn))
