"""Plans as records: taken, replaced, withdrawn, done."""

import hashlib
from dataclasses import dataclass, field

from qa.models import (
    Check,
    FitPlan,
    PlanEnd,
    PlanEnding,
    PlanJoint,
    PlannedCut,
    StandingPlan,
)
from qa.rules import overtaking
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.ledger.canonical import canonical
from shop.models import Part


@dataclass(frozen=True)
class Draft:
    """A plan that was worked out and can be taken: `body` as FitPlan says, the checks
    of its joints in order, its cuts, and the last entry that was known."""

    body: dict
    checks: list[Check]
    read_to: int
    cuts: list[PlannedCut] = field(default_factory=list)

    @property
    def text(self) -> str:
        return canonical(self.body)

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.text.encode()).hexdigest()


def take(*, by, draft: Draft) -> FitPlan:
    """Freeze a plan for everyone. It replaces the one that stood for this part; the
    same one taken twice is one record."""
    roles.require(by, "cut parts")
    fit_up = draft.checks[0].fit_up
    place = {"airframe_id": fit_up.airframe_id, "part_id": fit_up.part_id}
    said = {"check": str(draft.checks[0].entry_id), "digest": draft.digest}
    if same := _standing(place, draft.digest):
        return same
    with perform("plan/1", by=by, said=said) as act:
        Part.objects.select_for_update(of=("self",), no_key=True).get(pk=fit_up.part_id)
        if _standing(place, draft.digest):
            raise Refused("Somebody took this plan just now.", code="done")
        plan = FitPlan(
            fit_check=draft.checks[0],
            method=draft.body["method"],
            body=draft.text,
            digest=draft.digest,
            read_to=draft.read_to,
            **place,
        )
        joints = [
            PlanJoint(order=order, fit_check=check, fit_up=check.fit_up)
            for order, check in enumerate(draft.checks)
        ]
        plan.drafted = joints
        if changed := overtaking.changes_of(plan):
            raise Refused(
                "This changed while the plan was looked at: "
                f"{overtaking.in_words(changed)}. Look again.",
                code="stale",
            )
        plan.number = next_number("plan")
        act.record(plan)
        for row in [*joints, *draft.cuts]:
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
