"""Plans as records: taken, replaced, withdrawn, done."""

from qa.models import FitPlan, PlanEnd, PlanEnding, StandingPlan
from qa.rules import overtaking
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Part


def take(*, by, plan: FitPlan) -> FitPlan:
    """Freeze a plan (drafted by plan_records) for everyone. It replaces the one that
    stood for this part; the same one taken twice is one record."""
    roles.require(by, "cut parts")
    place = {"airframe_id": plan.airframe_id, "part_id": plan.part_id}
    said = {"check": str(plan.fit_check.entry_id), "digest": plan.digest}
    if same := _standing(place, plan.digest):
        return same
    with perform("plan/1", by=by, said=said) as act:
        Part.objects.select_for_update(of=("self",), no_key=True).get(pk=plan.part_id)
        if _standing(place, plan.digest):
            raise Refused("Somebody took this plan just now.", code="done")
        if changed := overtaking.changes_of(plan):
            raise Refused(
                "This changed while the plan was looked at: "
                f"{overtaking.in_words(changed)}. Look again.",
                code="stale",
            )
        plan.number = next_number("plan")
        act.record(plan)
        for row in [*plan.drafted, *plan.cut_lines]:
            row.plan = plan
            act.record(row)
        before = StandingPlan.objects.filter(**place).select_related("plan").first()
        if before:
            end(act, before.plan, PlanEnding.REPLACED, by_plan=plan)
        StandingPlan.objects.create(plan=plan, **place)
        act.result = {"plan": plan.label}
    return plan


def withdraw(*, by, plan: FitPlan, reason: str) -> FitPlan:
    """Nobody works by this plan any more."""
    roles.require(by, "cut parts")
    if not reason.strip():
        raise Refused("Say why the plan is withdrawn.", field="reason")
    said = {"plan": plan.label, "reason": reason}
    with perform("plan_withdrawn/1", by=by, said=said) as act:
        Part.objects.select_for_update(of=("self",), no_key=True).get(pk=plan.part_id)
        refuse_ended(plan)
        end(act, plan, PlanEnding.WITHDRAWN, reason=reason)
        act.result = {"plan": plan.label}
    return plan


def end(act, plan: FitPlan, how: str, by_plan=None, reason: str = "") -> None:
    """Record that a plan stands no more. Call inside an act that holds its part."""
    act.record(PlanEnd(plan=plan, how=how, by_plan=by_plan, reason=reason))
    StandingPlan.objects.filter(plan=plan).delete()


def refuse_ended(plan: FitPlan) -> None:
    ended = PlanEnd.objects.filter(plan=plan).first()
    if ended:
        raise Refused(
            f"{plan.label} is {ended.get_how_display()}: plan again before the next "
            "step.",
            code="stale",
        )


def refuse_overtaken(plan: FitPlan) -> None:
    if changed := overtaking.changes_of(plan):
        raise Refused(
            f"{plan.label} is overtaken: {overtaking.in_words(changed)}. Measure and "
            "plan again.",
            code="stale",
        )


def _standing(place: dict, digest: str) -> FitPlan | None:
    rows = StandingPlan.objects.filter(**place, plan__digest=digest)
    found = rows.select_related("plan__fit_check").first()
    return found.plan if found else None
