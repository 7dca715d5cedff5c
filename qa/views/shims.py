"""Shims: what the shop keeps, what would level a part, what was put under it."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from qa.actions import shims as acts
from qa.forms.shims import MostForm, ShimStockForm, StacksForm
from qa.models import Check, ShimStock
from qa.queries.plans import shims as queries
from qa.rules import planning, shims
from shop import roles
from shop.ledger import Refused
from shop.queries.paging import all_of
from shop.views.acting import attempt, form_page, posted
from shop.views.list_files import list_page

from . import list_columns


@require_GET
def stock(request):
    roles.require(request.user, "look")
    context = {
        "page": all_of(list(ShimStock.objects.all())),
        "may_keep": roles.may(request.user, "keep materials"),
    }
    file = list_columns.SHIMS
    return list_page(request, "qa/shims/shim_stock.html", context, file)


def edit_stock(request, pk=None):
    roles.require(request.user, "keep materials")
    row = get_object_or_404(ShimStock, pk=pk) if pk is not None else None
    form = ShimStockForm(
        posted(request), initial=ShimStockForm.initial_of(row, request.user.units)
    )
    return form_page(
        request,
        form,
        lambda **data: acts.save_stock(by=request.user, stock=row, **data),
        heading=_("Change a shim") if row else _("Add a shim"),
        back=reverse("shim_stock"),
        above=(_("Shims"), reverse("shim_stock")),
    )


def plan_shims(request, uuid):
    """The best stacks; a POST says which were put in and opens the next fit-up."""
    roles.require(request.user, "look")
    if request.method == "POST":
        roles.require(request.user, "cut parts")
    rows = Check.objects.select_related(*planning.RELATED)
    check = roles.fetch(request.user, "look", rows, entry_id=uuid)
    most = MostForm(request.GET or None)
    wished = most.cleaned_data["most"] if most.is_valid() else None
    view = queries.shim_view(check, request.user.units, wished or queries.MOST)
    form = StacksForm(posted(request), points=view.points, unit=view.unit)

    def act(**_data):
        if not view.live:
            raise Refused(_("The part changed since this check: measure again first."))
        return acts.record_shims(
            by=request.user,
            check=check,
            stacks=form.stacks,
            changes=shims.changes(view.basis, form.stacks),
        )

    if request.method == "POST":
        done, opened = attempt(form, act)
        if done:
            messages.success(request, _("Recorded. Every station is stale now."))
            return redirect(
                "joint_on_airframe", pk=opened.joint_id, airframe=opened.airframe_id
            )
    context = {
        "view": view,
        "form": form,
        "most": most if most.is_bound else MostForm(initial={"most": queries.MOST}),
        "check": check,
        "fit_up": check.fit_up,
        "may_cut": roles.may(request.user, "cut parts") and view.live,
    }
    return render(request, "qa/shims/shims.html", context)
