"""Taking back what was recorded on a tool by mistake, and counting anew without it."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import Hold, Person, ReleaseCoat, StepDone, Tool, Withdrawal
from shop.rules.routes import may_take, wait_for_next_step

from .locks import locked


def take_back_coat(*, by: Person, coat: ReleaseCoat, reason: str) -> Withdrawal:
    """Say that a coat never went on; the one before it is the last again."""
    roles.require(by, "work on tooling")
    content = {"coat": coat.pk, "reason": reason}
    with perform("coat_withdrawn/1", by=by, said=content) as act:
        tool = locked(coat.tool)
        _check("coat", coat, reason)
        fact = act.record(Withdrawal(coat=coat, reason=reason))
        _count_coats(tool)
    return fact


def take_back_step(*, by: Person, step: StepDone, reason: str) -> Withdrawal:
    """Say that a step was not done; the tool waits for it again unless it was twice."""
    roles.require(by, "take steps")
    content = {"step_done": step.pk, "reason": reason}
    with perform("step_withdrawn/1", by=by, said=content) as act:
        tool = locked(step.tool)
        planned = tool.steps.get(pk=step.step_id)
        if not may_take(by, planned):
            role = planned.get_role_display()
            raise Refused(_("This step is for the %(role)s.") % {"role": role})
        _check("step", step, reason)
        fact = act.record(Withdrawal(step=step, reason=reason))
        planned.done -= 1
        planned.save(update_fields=["done"])
        wait_for_next_step(tool, act.now)
        tool.save(update_fields=["waits_for", "waits_since"])
    return fact


def _check(kind: str, row: ReleaseCoat | StepDone, reason: str) -> None:
    if Withdrawal.objects.filter(**{kind: row}).exists():
        raise Refused(_("It was taken back already."), code="conflict")
    holds = Hold.objects.filter(subject_kind=kind, subject_id=row.pk, lifted_entry=None)
    if holds.exists():
        raise Refused(_("It is on hold. Lift the hold first."), code="held")
    if not reason.strip():
        raise Refused(_("Say what was wrong."), field="reason")


def _count_coats(tool: Tool) -> None:
    """Set what the tool knows of its release from the coats that still stand."""
    coats = tool.release_coats.filter(surface=tool.surface, withdrawal=None)
    tool.coats = coats.count()
    tool.last_coat = coats.order_by("applied_at", "pk").last()
    pulls = tool.pulls.filter(surface=tool.surface)
    if tool.last_coat:
        pulls = pulls.filter(started_at__gt=tool.last_coat.applied_at)
    tool.pulls_since_wax = pulls.count()
    tool.save(update_fields=["coats", "last_coat", "pulls_since_wax"])
