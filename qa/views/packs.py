"""Inspection packs: ordered, made beside the server, fetched, tried by their code."""

from functools import partial, wraps
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from qa import press
from qa.actions import pack_remarks as acts
from qa.actions.packs import order_pack
from qa.forms.packs import PackForm, RemarkForm
from qa.queries.packs import lists, reading
from qa.rules import kept_packs
from qa.rules.offering import nothing_to_tell
from qa.views.papers import answer, plain_name
from shop import roles
from shop.ledger import Refused
from shop.queries.identity import the_shop
from shop.queries.paging import page_of
from shop.queries.signatures import panel_of
from shop.serving import signing
from shop.views.acting import attempt, posted
from shop.views.list_files import list_page, page_asked

from . import list_columns

LOOK_AGAIN = "3"


def panel(request, airframe):
    """The newest packs of an airframe, on its own page."""
    rows = lists.orders().filter(airframe=airframe)[:5]
    may = roles.may(request.user, "issue packs") and not nothing_to_tell(airframe)
    context = {"rows": [lists.row_of(x) for x in rows], "airframe": airframe}
    return "qa/packs/panel.html", {**context, "may": may}


@require_GET
def packs(request):
    page = page_of(lists.orders(), page_asked(request), lists.row_of)
    may = roles.may(request.user, "issue packs")
    context = {"page": page, "may": may}
    return list_page(request, "qa/packs/packs.html", context, list_columns.PACKS)


@require_http_methods(["GET", "POST"])
def new_pack(request):
    """Order a pack; the press begins at once, and its page shows how far it is."""
    roles.require(request.user, "issue packs")
    start = {"paper": the_shop().paper, **request.GET.dict()}
    form = PackForm(posted(request), initial=start)
    if request.method == "POST":
        address = request.build_absolute_uri("/")
        done, order = attempt(
            form,
            lambda **data: order_pack(by=request.user, address=address, **data),
        )
        if done:
            press.begin(order)
            return redirect("pack", number=order.number)
    return render(request, "qa/packs/new_pack.html", {"form": form})


def _order(request, number: int, verb: str = "look"):
    return roles.fetch(request.user, verb, lists.orders(), number=number)


@require_GET
def pack(request, number):
    order = _order(request, number)
    view = lists.view_of(order)
    progress = None if view.row.issued else press.progress_of(order)
    context = {
        "order": order,
        "view": view,
        "row": view.row,
        "issued": view.row.issued,
        "signed": view.row.issued and panel_of("pack", view.row.issued.pk),
        "progress": progress,
        "may": roles.may(request.user, "issue packs"),
    }
    response = render(request, "qa/packs/pack.html", context)
    # What is printed is issued a moment later, by the thread that waits for the press.
    if progress and not progress.failed:
        response["Refresh"] = LOOK_AGAIN
    return response


def as_issued(view):
    """Of a pack whose files are gone there is nothing; one whose files on disk are not
    those that were issued says so on its page, and gives none of them."""

    @wraps(view)
    def given(request, number):
        try:
            return view(request, number)
        except FileNotFoundError:
            raise Http404 from None
        except Refused as no:
            messages.error(request, no.message)
            return redirect("pack", number=number)

    return given


def _issued(request, number: int, verb: str = "look"):
    order = _order(request, number, verb)
    issued = getattr(order, "issued", None)
    if issued is None:
        raise Http404
    issued.order = order
    name = plain_name(f"{order.label}-{order.subject}-issue-{order.issue}")
    return issued, name


@require_GET
@as_issued
def pack_pdf(request, number):
    """The bytes as they were issued, for ever."""
    issued, name = _issued(request, number)
    return answer(kept_packs.pages_of(issued), f"{name}.pdf")


@require_GET
@as_issued
def pack_signed_inside(request, number):
    """The same pages with the shop's signature inside of the file, made on demand."""
    issued, name = _issued(request, number)
    data = signing.signed_inside(kept_packs.pages_of(issued))
    return answer(data, f"{name}-signed.pdf")


@require_GET
@as_issued
def pack_signature(request, number):
    issued, name = _issued(request, number)
    data = kept_packs.signature_of(issued)
    return answer(data, f"{name}.pdf.p7s", "application/pkcs7-signature")


def _read(request, number: int, verb: str):
    """An issued pack and the part of it that is asked for (?part=J-101)."""
    issued, _name = _issued(request, number, verb)
    return issued.order, issued, reading.read_pack(issued, request.GET.get("part"))


@require_GET
@as_issued
def read_pack(request, number):
    """The pack as it was issued, to be read and remarked on at a tablet."""
    order, issued, shown = _read(request, number, "look")
    context = {
        "order": order,
        "row": lists.row_of(order),
        "issued": issued,
        "shown": shown,
        "may": roles.may(request.user, "raise nonconformances"),
    }
    return render(request, "qa/packs/read_pack.html", context)


@require_http_methods(["GET", "POST"])
@as_issued
def remark_on_pack(request, number):
    """A remark against one line (?part=J-101&line=J-101.5G): it becomes an item."""
    order, issued, shown = _read(request, number, "raise nonconformances")
    line = shown.line(request.GET.get("line", ""))
    if line is None:
        raise Http404
    form = RemarkForm(posted(request))
    act = partial(acts.remark_on_pack, by=request.user, pack=issued, line=line.for_item)
    if request.method == "POST":
        done, remark = attempt(form, act)
        if done:
            message = _("It is %(item)s now.") % {"item": remark.item.label}
            messages.success(request, message)
            part = urlencode({"part": shown.part})
            return redirect(f"{reverse('read_pack', args=[number])}?{part}")
    context = {"order": order, "line": line, "shown": shown, "form": form}
    context["row"] = lists.row_of(order)
    return render(request, "qa/packs/remark.html", context)


@require_POST
def take_pack(request, number):
    """Issue what the press left, where the server was stopped before it could."""
    order = _order(request, number, "issue packs")
    if getattr(order, "issued", None) is None:
        try:
            press.take(order, by=request.user)
        except Refused as no:
            messages.error(request, no.message)
        except OSError:
            raise BadRequest(_("The press has left nothing for this order.")) from None
    return redirect("pack", number=number)


@require_GET
def pack_page(request, number, digest):
    """Where the code on a printed page leads: whether the page is of what was issued,
    and whether something newer was."""
    order = _order(request, number)
    view = lists.view_of(order)
    issued = view.row.issued
    # Typed from paper: in either case, with blanks.
    plain = "".join(digest.split()).lower()
    same = bool(issued and len(plain) >= 16) and issued.content_digest.startswith(plain)
    context = {
        "order": order,
        "view": view,
        "row": view.row,
        "issued": issued,
        "same": same,
        "digest": digest,
    }
    return render(request, "qa/packs/pack_page.html", context)
