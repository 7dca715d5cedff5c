"""Tablets at the desk: which there are, ending one's access, what a lost one held."""

from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from qa.forms.tablets import PinForm, RecoverForm, RevokeForm
from qa.recovery import LARGEST, read_file, recover_file
from shop import roles
from shop.actions import tablets as actions
from shop.ledger import Refused
from shop.models import Tablet
from shop.queries.paging import page_of
from shop.views.account import whence
from shop.views.acting import attempt, form_page, posted
from shop.views.list_files import list_page, page_asked

from . import list_columns

form_view = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def tablets(request):
    roles.require(request.user, "manage tablets")
    rows = Tablet.objects.select_related("enrolled_by")
    rows = rows.order_by("name", "enrolled_at", "pk")
    page = page_of(rows, page_asked(request), lambda row: row)
    context = {"page": page}
    return list_page(request, "qa/tablets/tablets.html", context, list_columns.TABLETS)


@form_view
def revoke_tablet(request, pk):
    tablet = roles.fetch(request.user, "manage tablets", Tablet.objects.all(), pk=pk)
    return form_page(
        request,
        RevokeForm(posted(request)),
        lambda **data: actions.revoke(by=request.user, tablet=tablet, **data),
        heading=_("Revoke %(name)s") % {"name": tablet.name},
        back=reverse("tablets"),
        above=(_("Tablets"), reverse("tablets")),
        button=_("Revoke"),
        notes=[
            _("It can send and fetch nothing from now on. What it still holds can be "
              "saved there as a file and taken in here.")
        ],
    )  # fmt: skip


@sensitive_post_parameters()
@form_view
def own_pin(request):
    roles.require(request.user, "measure")
    return form_page(
        request,
        PinForm(posted(request)),
        lambda **data: actions.set_pin(
            by=request.user, **whence(request, request.user.username), **data
        ),
        heading=_("Your PIN for tablets"),
        back=reverse("front"),
        notes=[
            _("It shows the server who is measuring on a tablet, once a shift, and "
              "signs in place of your password. It lies on no tablet.")
        ],
    )  # fmt: skip


@form_view
def recover(request):
    roles.require(request.user, "manage tablets")
    form = RecoverForm(posted(request), request.FILES or None)
    receipt = None
    if request.method == "POST":
        _done, receipt = attempt(form, _recover)
    context = {"form": form, "receipt": receipt}
    return render(request, "qa/tablets/recover.html", context)


def _recover(file) -> dict:
    if file.size > LARGEST:
        raise Refused(_("This file is too large."), field="file")
    return recover_file(read_file(file.read()))
