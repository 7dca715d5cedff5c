"""A pre-trim, before anything is read: what every earlier part lost, on a page for a
tablet, and taken there or at the desk."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from qa.actions import fit_plans
from qa.queries.joints.pre_trims import pre_trim_page
from shop import roles
from shop.ledger import Refused

from .plans import check_to_plan, unit_of


@require_GET
def pre_trim(request, uuid):
    page = pre_trim_page(check_to_plan(request, uuid), unit_of(request))
    context = {"page": page, "may_cut": roles.may(request.user, "cut parts")}
    return render(request, "qa/plans/pre_trim.html", context)


@require_POST
def take_pre_trim(request, uuid):
    """Take what every earlier part lost as the plan, as it was shown."""
    check = check_to_plan(request, uuid, "cut parts")
    shown = request.POST.get("shown", "")
    try:
        fit_plans.take_pre_trim(by=request.user, check=check, shown=shown)
    except Refused as no:
        messages.error(request, no.message)
    return redirect("pre_trim", uuid=uuid)
