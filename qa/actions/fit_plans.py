"""Plans as records: taken, replaced, withdrawn, done."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from qa.models import Check, FitPlan, MoveKind, PlanEnd, PlanEnding, StandingPlan
from qa.rules import earlier_fits, overtaking
from qa.rules.shared_plans import sisters
from shop import roles
from shop.actions.locks import hold_row
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Part

# How a reason is asked for where nothing was cut.
ASKED = {
    MoveKind.MOVE: gettext_lazy(
        "%(plan)s is overtaken: %(why)s. Say why %(part)s was moved by it."
    ),
    MoveKind.SET: gettext_lazy(
        "%(plan)s is overtaken: %(why)s. Say why %(part)s was set by it."
    ),
}


def take(*, by, plan: FitPlan, form: str = "plan/1", **envelope) -> FitPlan:
    """Freeze a plan (drafted by plan_records) for everyone. It replaces the one that
    stood for this part; the same one taken twice is one record."""
    content = {"check": str(plan.fit_check.entry_id), "digest": plan.digest}
    return _take([plan], by=by, form=form, **{"said": content, **envelope})[0]


def take_together(*, by, plans: list[FitPlan]) -> list[FitPlan]:
    """Freeze the plans of several parts, drafted together, by one act: in the order in
    which to do them. What stood for any of these parts is replaced, with all that was
    taken together with it."""
    content = {
        "checks": [str(plan.fit_check.entry_id) for plan in plans],
        "digests": [plan.digest for plan in plans],
    }
    return _take(plans, by=by, form="plans_together/1", said=content)


def take_pre_trim(*, by, check: Check, shown: str) -> FitPlan:
    """Take what every earlier part lost as the plan for a check (loaded with
    planning.RELATED). shown: the digest of what was looked at. It replaces none."""
    roles.require(by, "cut parts")
    pre_trim = earlier_fits.pre_trim(check)
    if pre_trim is None:
        raise Refused(_("Nothing can be cut ahead here: measure, and plan."))
    plan = pre_trim[1]
    if plan.digest != shown:
        raise Refused(
            _("This changed while you looked at it. Look again, then take it."),
            code="stale",
        )
    content = {"check": str(check.entry_id), "digest": plan.digest}
    return _take([plan], by=by, form="plan/1", replaces=False, said=content)[0]


def _take(
    plans: list[FitPlan], *, by, form: str, replaces: bool = True, **envelope
) -> list[FitPlan]:
    """replaces: whether what stands for these parts is replaced; else it refuses."""
    roles.require(by, "cut parts")
    same = [_standing(plan) for plan in plans]
    if all(same):
        return same
    with perform(form, by=by, **envelope) as act:
        before = _hold(plans)
        if all(_standing(plan) for plan in plans):
            raise Refused(_("Somebody took this plan just now."), code="done")
        if before and not replaces:
            words = _("%(plan)s stands for this part: look at it first.")
            raise Refused(words % {"plan": before[0]}, code="done")
        for plan in plans:
            _refuse_changed(plan)
        for plan in plans:
            plan.number = next_number("plan")
            act.record(plan)
            for row in [*plan.drafted, *plan.cut_lines]:
                row.plan = plan
                act.record(row)
        by_part = {plan.part_id: plan for plan in plans}
        for old in before:
            new = by_part.get(old.part_id, plans[0])
            end(act, old, PlanEnding.REPLACED, by_plan=new)
        for plan in plans:
            place = {"airframe_id": plan.airframe_id, "part_id": plan.part_id}
            StandingPlan.objects.create(plan=plan, **place)
        act.result = {"plan": ", ".join(plan.label for plan in plans)}
    return plans


def _refuse_changed(plan: FitPlan) -> None:
    if changed := overtaking.changes_of(plan):
        raise Refused(
            _("This changed while the plan was looked at: %(why)s. Look again.")
            % {"why": overtaking.in_words(changed)},
            code="stale",
        )


def _hold(plans: list[FitPlan]) -> list[FitPlan]:
    """Lock the parts of some plans and of those that they replace; return the latter.
    Call inside an act."""
    parts = {plan.part_id for plan in plans}
    before = _replaced(plans)
    parts |= {plan.part_id for plan in before}
    for part in sorted(parts):
        hold_row(Part, part)
    now = _replaced(plans)
    if not {plan.part_id for plan in now} <= parts:
        raise Refused(
            _("Somebody took another plan just now. Look again."), code="stale"
        )
    return now


def _replaced(plans: list[FitPlan]) -> list[FitPlan]:
    """What stands for these parts, with what stands of all taken together with it."""
    standing = []
    for plan in plans:
        standing += FitPlan.objects.filter(
            standing__airframe=plan.airframe_id, standing__part=plan.part_id
        )
    return [plan for plan in sisters(standing) if not hasattr(plan, "end")]


def withdraw(*, by, plan: FitPlan, reason: str) -> FitPlan:
    """Nobody works by this plan any more, nor by those that were taken with it."""
    roles.require(by, "cut parts")
    if not reason.strip():
        raise Refused(_("Say why the plan is withdrawn."), field="reason")
    content = {"plan": plan.label, "reason": reason}
    with perform("plan_withdrawn/1", by=by, said=content) as act:
        for part in sorted(sister.part_id for sister in sisters([plan])):
            hold_row(Part, part)
        refuse_ended(plan)
        for sister in sisters([plan]):
            if not hasattr(sister, "end"):
                end(act, sister, PlanEnding.WITHDRAWN, reason=reason)
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
            _("%(plan)s is %(how)s: plan again before the next step.")
            % {"plan": plan.label, "how": ended.get_how_display()},
            code="stale",
        )


def refuse_overtaken(plan: FitPlan) -> None:
    if changed := overtaking.changes_of(plan):
        raise Refused(
            _("%(plan)s is overtaken: %(why)s. Measure and plan again.")
            % {"plan": plan.label, "why": overtaking.in_words(changed)},
            code="stale",
        )


def reason_to_move(
    plan: FitPlan | None, part: Part, kind: str, reason: str, keep_overtaken: bool
) -> str:
    """Why a part was moved or set by a plan that is overtaken; "" where it is not.

    keep_overtaken: who did it may not have known, so that it is kept without a reason.
    """
    changed = overtaking.changes_of(plan) if plan else []
    if not changed:
        return ""
    if not reason.strip() and not keep_overtaken:
        why = overtaking.in_words(changed)
        words = ASKED[kind] % {"plan": plan.label, "why": why, "part": part.serial}
        raise Refused(words, field="reason", code="reason")
    return reason.strip() or no_reason(plan)


def no_reason(plan: FitPlan) -> str:
    """What stands on record for the reason that nobody gave."""
    return f"{plan.label} was overtaken when this came in; no reason was given."


def _standing(plan: FitPlan) -> FitPlan | None:
    rows = StandingPlan.objects.filter(
        airframe=plan.airframe_id, part=plan.part_id, plan__digest=plan.digest
    )
    standing = rows.select_related("plan__fit_check").first()
    return standing.plan if standing else None
