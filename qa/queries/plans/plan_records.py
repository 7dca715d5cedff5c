"""Plans on record, as texts and as the tablet carries them."""

from dataclasses import replace

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from qa.models import CutRelease, FitPlan
from qa.queries.plans.plan_pages import PlanView
from qa.rules import cut_allowance, plan_bodies
from qa.rules.plan_records import plan_now, standing
from qa.wording.lengths import no_more
from qa.wording.settings import settings_text
from shop.models import Airframe
from shop.numeric.units import to_mm


def releases_of(plan: FitPlan) -> list[CutRelease]:
    rows = CutRelease.objects.filter(plan=plan)
    return list(rows.select_related("part", "entry__by", "withdrawal").order_by("id"))


def rows_left(view: PlanView) -> list:
    """The rows of a plan on record with what is still to be cut by it."""
    left = cut_allowance.remaining_nm(view.record)
    keys = {str(check.entry_id): check.pk for check in view.checks}
    rows = []
    for row in view.rows:
        nm = left.get((keys[row.check], row.side, row.label), 0)
        bite = no_more(to_mm(nm), view.unit, row.bite_half)
        rows.append(replace(row, bite_nm=nm, bite=bite))
    return rows


def left_words(plan: FitPlan, unit: str) -> str:
    """What is still to be cut by a plan that was cut in part, "" when none was."""
    if not standing(plan) or not plan.made_cuts.exists():
        return ""
    left = [
        f"{station}: {no_more(to_mm(nm), unit)} {unit}"
        for (_check, _side, station), nm in cut_allowance.remaining_nm(plan).items()
        if nm
    ]
    return ", ".join(left) or _("nothing")


def cut_words(view: PlanView) -> str:
    """The cuts of a plan: "3: 0.75 mm, 4: 0.75 mm"."""
    return ", ".join(f"{row.name}: {row.bite} {view.unit}" for row in view.cuts)


def asked_words(plan: FitPlan, unit: str) -> str:
    """What a plan asks for, short: "upper hinge: 0.6 mm aft; cut at 3 stations"."""
    body = plan.content
    settings = settings_text(plan_bodies.asked_changes(body), unit)
    count = sum(1 for station in body["outcome"]["stations"] if station["bite_nm"])
    cut = ngettext("cut at %(count)d station", "cut at %(count)d stations", count)
    return "; ".join(
        part for part in (settings, count and cut % {"count": count}) if part
    )


def for_tablet(airframe: Airframe, part_id: int) -> dict | None:
    """The standing plan as the tablet carries it: {plan, url, overtaken, cuts}."""
    plan = plan_now(airframe, part_id)
    if plan is None:
        return None
    return {
        "label": plan.label,
        "number": plan.number,
        "digest": plan.digest,
        "overtaken": plan.overtaken,
        "outcome": plan.content["outcome"]["outcome"],
        "cuts": [
            {
                "check": str(row.fit_check.entry_id),
                "station": row.station,
                "side": row.side,
                "bite_nm": row.bite_nm,
            }
            for row in plan.cuts.filter(bite_nm__gt=0).select_related("fit_check")
        ],
    }
