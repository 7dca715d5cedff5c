"""The papers of a plan: its work order, and its trim templates as printed."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from qa.actions import fit_plans, trimming
from qa.models import FitPlan, TemplatePrint
from qa.queries.plans import plan_pages as plans
from qa.queries.plans.printed_templates import edges_of, templates_of, warning_of
from qa.queries.plans.work_orders import work_order_of
from qa.rules import plan_records
from shop.ledger import Refused

from . import papers
from .plans import address_with, check_to_plan, taken_plan, unit_of


@require_http_methods(["GET", "POST"])
def work_order(request, uuid):
    """POST takes the plan; GET draws the work order of the plan on record."""
    if request.method == "POST":
        try:
            row = taken_plan(request, uuid)
        except Refused as no:
            messages.error(request, no.message)
            return redirect(address_with("check_plan", uuid, request))
        where = reverse("plan_work_order", args=[uuid])
        return redirect(f"{where}?plan={row.number}&unit={unit_of(request)}")
    # reportlab is slow to import and most pages never print.
    from qa.paper import work_order as paper  # noqa: PLC0415

    check = check_to_plan(request, uuid)
    rows = FitPlan.objects.filter(joints__fit_check=check)
    rows = rows.select_related(*plan_records.PLAN).order_by("-number")
    asked = request.GET.get("plan", "")
    number = int(asked) if asked.isdecimal() and len(asked) < 10 else None
    row = rows.filter(number=number).first() if number is not None else rows.first()
    if row is None:
        raise Http404
    view = plans.view_of(plan_records.worked_of(row), unit_of(request))
    url = request.build_absolute_uri(reverse("plan_record", args=[row.number]))
    order = work_order_of(view, url)
    data = paper.render(order, papers.paper_of(request))
    return papers.answer(data, f"{row.label}-work-order.pdf")


@require_http_methods(["GET", "POST"])
def template(request, uuid):
    """POST prints and records; GET draws what was recorded (?print=, else the last)."""
    if request.method == "POST":
        return _print_template(request, uuid)
    check = check_to_plan(request, uuid)
    rows = TemplatePrint.objects.filter(fit_check=check).order_by("-id")
    rows = rows.select_related("plan__end", "plan__fit_check")
    asked = request.GET.get("print", "")
    row = rows.filter(pk=asked).first() if asked.isdecimal() else rows.first()
    if row is None:
        raise Http404
    data = _drawn(row.edges, row.issued_at, row.paper, warning_of(row))
    return papers.answer(data, f"{check.label}-template.pdf")


def _print_template(request, uuid):
    back = redirect(address_with("check_plan", uuid, request))
    try:
        row = taken_plan(request, uuid)
        fit_plans.refuse_overtaken(row)
        url = request.build_absolute_uri(reverse("plan_record", args=[row.number]))
        view = plans.view_of(plan_records.worked_of(row), unit_of(request))
        edges = edges_of(view, url)
        if not edges:
            raise Refused(_("Nothing is to be cut: there is no template to print."))
        paper, now = papers.paper_of(request), timezone.now()
        made = trimming.record_template(
            by=request.user,
            plan=row,
            edges=edges,
            paper=paper,
            issued_at=now,
            data=_drawn(edges, now, paper),
        )
    except (Refused, ValueError) as no:
        messages.error(request, str(no))
        return back
    where = reverse("plan_template", args=[row.fit_check.entry_id])
    return redirect(f"{where}?print={made.pk}")


def _drawn(edges, issued_at, paper: str, across: str = "") -> bytes:
    """A template, with a warning across it where its plan does not hold. ValueError
    where it does not fit the paper."""
    from qa.paper import trim_template  # noqa: PLC0415

    return trim_template.render(templates_of(edges, issued_at), paper, across=across)
