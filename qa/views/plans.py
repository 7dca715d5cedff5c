"""What next for a part that was checked: plan, papers, release, and what was done."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_GET,
    require_POST,
)

from qa.actions import fit_plans
from qa.actions.planning_defaults import set_plan_defaults
from qa.forms.planning_defaults import PlanDefaultsForm
from qa.forms.plans import PlanForm, ReasonForm
from qa.models import Check, FitPlan, PlanDefaults
from qa.queries.plans import plan_pages as plans
from qa.queries.plans import plan_texts, way_pages
from qa.queries.plans.done_by_plan import done_by
from qa.queries.plans.plan_records import left_words, releases_of
from qa.rules import plan_records, planning, rigs
from qa.rules.planning import Wish
from shop import roles
from shop.ledger import Refused
from shop.queries.signatures import panel_of
from shop.views.acting import form_page, posted


def check_to_plan(request, uuid, verb="look") -> Check:
    rows = Check.objects.select_related(*planning.RELATED)
    return roles.fetch(request.user, verb, rows, entry_id=uuid)


def unit_of(request) -> str:
    asked = request.GET.get("unit")
    return asked if asked in ("mm", "in") else request.user.units


def _wish(request, check: Check) -> tuple[PlanForm, Wish | None]:
    """What is wished in the address; None when it is what the shop usually does."""
    held = bool(rigs.present_at(check.fit_up))
    start = {"unit": unit_of(request)}
    form = PlanForm(request.GET or None, initial=start, held=held)
    if not request.GET:
        return form, None
    wishes = form.side_wished, form.limits, form.freely_wished, form.way_wished
    return form, Wish(*wishes) if any(wishes) or form.errors else None


def address_with(name, uuid, request) -> str:
    asked = request.GET.urlencode()
    return reverse(name, args=[uuid]) + (f"?{asked}" if asked else "")


def back_to_joint(check: Check) -> str:
    fit_up = check.fit_up
    return reverse("joint_on_airframe", args=[fit_up.joint_id, fit_up.airframe_id])


@require_GET
def plan(request, uuid):
    """The plan on record for a check; one worked out now where there is none, where
    something else is wished, or where it is asked for again."""
    check = check_to_plan(request, uuid)
    form, wish = _wish(request, check)
    again = wish or "again" in request.GET
    record = None if again else plan_records.newest_of(check)
    if record:
        return _page(request, form, plan_records.worked_of(record))
    return _page(request, form, planning.work_out(check, wish))


@require_GET
def plan_record(request, number):
    """A plan by its number, whatever became of it."""
    row = _record(request, number)
    worked = plan_records.worked_of(row)
    form = PlanForm(initial={"unit": unit_of(request)}, held=bool(worked.present))
    return _page(request, form, worked)


def _record(request, number, verb="look") -> FitPlan:
    rows = FitPlan.objects.select_related(*plan_records.PLAN)
    return roles.fetch(request.user, verb, rows, number=number)


def _page(request, form, worked):
    degrees = "degrees" in request.GET
    view = plans.view_of(worked, unit_of(request), degrees=degrees)
    check, record = worked.check, worked.record
    may_cut = roles.may(request.user, "cut parts")
    context = {
        "form": form,
        "view": view,
        "check": check,
        "fit_up": check.fit_up,
        "record": record,
        "together": worked.sisters,
        "before": plan_texts.before(worked),
        "end": getattr(record, "end", None),
        "asked": f"unit={view.unit}" if record else request.GET.urlencode(),
        "learned": way_pages.learned_words(worked),
        "ways": _ways(request, way_pages.ways_of(worked, view.unit)),
        "prints": planning.prints_of(check),
        "releases": worked.to_release(),
        "in_force": releases_of(record) if record else [],
        "signed": record and panel_of("plan", record.pk),
        "left": left_words(record, view.unit) if record else "",
        "done": done_by(worked, view.unit) if record else [],
        "may_cut": may_cut and worked.live,
        "can_be_set": bool(worked.present),
        "degrees": degrees,
        "may_take": may_cut and worked.live and worked.plan and not record,
        "may_release": roles.may(request.user, "release cuts"),
        "back": back_to_joint(check),
    }
    return render(request, "qa/plans/plan.html", context)


def _ways(request, rows) -> list[tuple]:
    """Each way with the address in which it is the one that is wished."""
    links = []
    for row in rows:
        asked = request.GET.copy()
        asked.pop("again", None)
        asked["way"] = row.kind
        links.append((row, asked.urlencode()))
    return links


def taken_plan(request, uuid, verb="cut parts") -> FitPlan:
    """The plan that stands for a check; where none does, or another is wished, the one
    that is worked out now, taken. Refused where nothing can be planned."""
    check = check_to_plan(request, uuid, verb)
    _form, wish = _wish(request, check)
    record = plan_records.newest_of(check)
    held = record and plan_records.standing(record)
    if held and not wish and "again" not in request.GET:
        return record
    worked, draft = plan_records.draft(check, wish)
    if draft is None:
        raise Refused(
            worked.problem
            or _(
                "The part changed since this check: measure again before the next step."
            ),
            code="stale",
        )
    return fit_plans.take(by=request.user, plan=draft)


THEN = {"trim": "record_trim", "move": "record_move", "release": "release_cut",
        "set": "set_part"}  # fmt: skip


@require_POST
def take(request, uuid):
    """Freeze the plan that the page shows, for everyone; and go on with it."""
    try:
        row = taken_plan(request, uuid)
    except Refused as no:
        messages.error(request, no.message)
        return redirect(address_with("check_plan", uuid, request))
    then = THEN.get(request.POST.get("then", ""))
    if then:
        return redirect(then, uuid=uuid)
    messages.success(
        request, _("%(plan)s is on record, the same for everyone.") % {"plan": row}
    )
    return redirect("plan_record", number=row.number)


def withdraw_plan(request, number):
    """Nobody works by a plan any more."""
    row = _record(request, number, "cut parts")
    here = reverse("plan_record", args=[number])
    return form_page(
        request,
        ReasonForm(posted(request)),
        lambda reason: fit_plans.withdraw(by=request.user, plan=row, reason=reason),
        heading=_("Withdraw %(plan)s") % {"plan": row},
        back=here,
        above=(str(row), here),
        button=_("Withdraw this plan"),
    )


def plan_defaults(request):
    """How this shop plans: the next bite, the least cut, how far parts may go."""
    roles.require(request.user, "set planning defaults")
    row = PlanDefaults.objects.first() or PlanDefaults()
    form = PlanDefaultsForm(
        posted(request), initial=PlanDefaultsForm.initial_of(row, request.user.units)
    )
    return form_page(
        request,
        form,
        lambda **_data: set_plan_defaults(by=request.user, **form.arguments()),
        heading=_("How this shop plans"),
        back=reverse("plan_defaults"),
        above=(_("Fit checks"), reverse("checks")),
    )
