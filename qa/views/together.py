"""Parts that share seams, planned at once: which, and what to do part by part."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from qa.actions import fit_plans
from qa.models import FitPlan, FitUp
from qa.queries.plans import together_pages as pages
from qa.rules import assembling, plan_records
from shop import roles
from shop.forms.fields import number_in
from shop.ledger import Refused
from shop.models import Airframe, Part

from .plans import unit_of


def _airframe(request, pk, verb="look") -> Airframe:
    rows = Airframe.objects.select_related("type")
    return roles.fetch(request.user, verb, rows, pk=pk)


def panel(_request, airframe: Airframe):
    """Where parts lie against each other, on the page of their airframe."""
    if not pages.shares_a_seam(airframe):
        return None
    return "qa/plans/together_panel.html", {"airframe": airframe}


def panel_of_part(_request, part: Part):
    """The same on the page of one of these parts, where it was fitted last."""
    rows = FitUp.objects.filter(part=part).select_related("airframe", "joint")
    last = rows.order_by("-entry__pk").first()
    if last is None or not pages.shares_a_seam(last.airframe, last.joint.position_id):
        return None
    context = {"airframe": last.airframe, "start": last.joint.position_id}
    return "qa/plans/together_panel.html", context


@require_GET
def plan_together(request, pk):
    """Choose parts of an airframe that share seams, and see their plan. A start
    (?from=, a position) chooses that part and those beside it."""
    airframe = _airframe(request, pk)
    hows = pages.hows_of(request.GET)
    start = number_in(request.GET.get("from"))
    parts = assembling.offered(airframe, None if hows else start)
    parts.hows |= {key: how for key, how in hows.items() if key in parts.members}
    if parts.hows:
        assembling.solved(parts)
    page = pages.page_of(parts, unit_of(request))
    context = {
        "page": page,
        "airframe": airframe,
        "asked": pages.asked_of(parts),
        "may_take": roles.may(request.user, "cut parts") and bool(page.parts),
        "shown": plan_records.digest_of(plan_records.drafts_of(parts)),
    }
    return render(request, "qa/plans/together.html", context)


@require_POST
def take_together(request, pk):
    """Freeze what the page shows: a plan for each part, taken by one act."""
    airframe = _airframe(request, pk, "cut parts")
    hows = pages.hows_of(request.GET)
    try:
        parts, drafts = plan_records.draft_together(airframe, hows)
        if not drafts:
            raise Refused(parts.problem or _("Nothing was chosen."), code="stale")
        if plan_records.digest_of(drafts) != request.POST.get("shown"):
            words = _(
                "This is not what was shown before: something was recorded since. Look "
                "at it, and take it then."
            )
            raise Refused(words, code="stale")
        taken = fit_plans.take_together(by=request.user, plans=drafts)
    except Refused as no:
        messages.error(request, no.message)
        here = reverse("plan_together", args=[pk])
        return redirect(f"{here}?{request.GET.urlencode()}")
    names = ", ".join(str(plan) for plan in taken)
    messages.success(
        request, _("%(plans)s are on record, the same for everyone.") % {"plans": names}
    )
    return redirect("plans_together", number=taken[0].number)


@require_GET
def plans_together(request, number):
    """All plans that were taken by the act that took this one."""
    rows = FitPlan.objects.select_related(*plan_records.PLAN, "airframe__type")
    plan = roles.fetch(request.user, "look", rows, number=number)
    page = pages.record_page(plan, unit_of(request))
    context = {"page": page, "airframe": plan.airframe, "record": plan}
    return render(request, "qa/plans/together.html", context)
