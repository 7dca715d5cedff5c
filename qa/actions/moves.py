"""Moves without a cut: the part is set somewhere else in its opening."""

from django.utils.translation import gettext as _

from qa.actions import fit_plans, next_fit_up
from qa.models import Check, FitPlan, FitUp, FitUpReason, MoveKind, PlanEnding
from qa.rules.moved import Moved
from shop import roles
from shop.ledger import Refused, perform


def record_move(
    *,
    by,
    checks: list[Check],
    moved: Moved,
    plan: FitPlan | None = None,
    note: str = "",
    reason: str = "",
    more: bool = False,
    keep_overtaken: bool = False,
    **envelope,
) -> list[FitUp]:
    """Record a move, and open the next fit-up of every joint it was planned for. The
    plan that asked for it is done, unless `more` is still to be cut by it. reason, and
    keep_overtaken: of a plan that is overtaken, as of a cut."""
    roles.require(by, "cut parts")
    if not any(float(amount["amount"]) for amount in moved.amounts):
        raise Refused(_("Nothing was moved: there is nothing to record."))
    envelope.setdefault(
        "said",
        {
            "checks": [str(check.entry_id) for check in checks],
            "amounts": moved.amounts,
            "plan": plan.label if plan else None,
            "note": note,
            "reason": reason,
        },
    )
    with perform(envelope.pop("form", "move/2"), by=by, **envelope) as act:
        fit_ups = next_fit_up.hold_still([check.fit_up for check in checks], plan)
        if plan:
            fit_plans.refuse_ended(plan)
        kind, part = MoveKind.MOVE, checks[0].fit_up.part
        why = fit_plans.reason_to_move(plan, part, kind, reason, keep_overtaken)
        next_fit_up.record_moves(act, checks, moved, kind, plan, why)
        if plan and not more:
            fit_plans.end(act, plan, PlanEnding.DONE)
        opened = next_fit_up.open_next(
            by=by,
            fit_ups=[fit_ups[check.fit_up_id] for check in checks],
            reason=FitUpReason.MOVE,
            note=note,
            plan=plan,
        )
        act.result = {"fitups": [str(fit_up.entry_id) for fit_up in opened]}
    return opened
