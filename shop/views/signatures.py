"""Signing: exactly what is signed is shown first; and all signatures, with whether
they hold."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_safe

from shop import roles
from shop.actions import signatures as actions
from shop.forms import signatures as forms
from shop.queries import signatures as queries
from shop.queries.heads import newest
from shop.queries.identity import the_shop
from shop.wording.times import zoned

from . import list_columns
from .account import whence
from .acting import attempt, posted
from .airframes import form_view
from .list_files import list_page, page_asked


@sensitive_post_parameters("secret")
@form_view
def sign(request, kind, key):
    roles.require(request.user, "sign")
    view = queries.to_sign(kind, key, request.user)
    if view is None:
        raise Http404
    form = forms.SignForm(
        posted(request),
        people=view.people,
        meanings=view.meanings,
        open_to=view.open_to,
        by=request.user,
        initial={"shown": view.digest},
    )
    if request.method == "POST":
        done, made = attempt(
            form,
            lambda **data: actions.sign(
                kind=kind,
                key=key,
                **whence(request, data["by"].username),
                **data,
            ),
        )
        if done:
            messages.success(request, _("Signed: %(s)s") % {"s": made})
            return redirect("sign", kind, key)
    context = {"view": view, "content": view.content, "form": form}
    return render(request, "shop/signatures/sign.html", context)


@require_safe
def ledger_head(request):
    """The newest head on a sheet of paper, for whoever keeps it elsewhere."""
    roles.require(request.user, "look")
    from shop.paper.head import head_sheet  # noqa: PLC0415 -- reportlab

    head, shop = newest(), the_shop()
    if head.at is None:
        raise Http404
    when = zoned(head.at, "seconds")
    sheet = head_sheet(head, owner=shop.name, when=when, paper=shop.paper)
    named = {"Content-Disposition": f'inline; filename="ledger-{head.position}.pdf"'}
    return HttpResponse(sheet, content_type="application/pdf", headers=named)


@require_safe
def signatures(request):
    roles.require(request.user, "look")
    form = forms.SignatureFilter(request.GET)
    rows = queries.signatures(**form.chosen)
    page = queries.signature_page(rows, page_asked(request))
    context = {"page": page, "filter": form}
    file = list_columns.SIGNATURES
    return list_page(request, "shop/signatures/signatures.html", context, file)
