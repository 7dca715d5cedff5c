"""The kinds of defect that the shop names."""

from django.contrib import messages
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from qa.actions import defects as acts
from qa.forms.nonconformances import DefectKindForm
from qa.models import DefectKind
from shop import roles
from shop.ledger import Refused
from shop.queries.paging import all_of
from shop.views.acting import form_page, posted
from shop.views.list_files import list_page

from . import list_columns


@require_GET
def kinds(request):
    roles.require(request.user, "look")
    context = {
        "page": all_of(list(DefectKind.objects.all())),
        "may_define": roles.may(request.user, "define defects"),
    }
    file = list_columns.DEFECT_KINDS
    return list_page(request, "qa/nonconformances/defect_kinds.html", context, file)


def edit_kind(request, pk=None):
    roles.require(request.user, "define defects")
    row = None
    if pk is not None:
        row = roles.fetch(request.user, "define defects", DefectKind.objects, pk=pk)
    start = {"name": row.name, "in_use": row.in_use} if row else None
    return form_page(
        request,
        DefectKindForm(posted(request), initial=start),
        lambda **data: acts.save_kind(by=request.user, kind=row, **data),
        heading=_("Change a kind of defect") if row else _("Add a kind of defect"),
        back=reverse("defect_kinds"),
        above=(_("Kinds of defect"), reverse("defect_kinds")),
    )


@require_POST
def add_usual(request):
    roles.require(request.user, "define defects")
    try:
        acts.add_usual(by=request.user)
    except Refused as no:
        messages.error(request, no.message)
    return redirect("defect_kinds")
