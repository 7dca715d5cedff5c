"""The front page: three doors, and today below them."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from qa.actions import raising
from qa.models import Check, Joint
from qa.queries.checks import check_pages as check_queries
from qa.queries.today import today
from shop import roles
from shop.actions import handover
from shop.forms.fields import number_in
from shop.ledger import Refused


@require_GET
def front(request):
    # A shop without a joint can check nothing: it is told where to begin.
    context = {"today": today(request.user), "fresh": not Joint.objects.exists()}
    return render(request, "qa/home/home.html", context)


@require_POST
def read_changes(request):
    """The reader has read what others did, up to the entry that the page showed."""
    roles.require(request.user, "set own preferences")
    up_to = number_in(request.POST.get("up_to"))
    handover.mark_read(by=request.user, up_to=up_to)
    return redirect("front")


@require_POST
def raise_findings(request, uuid):
    """Raise every proposed item of a finished check from its page."""
    rows = Check.objects.select_related(*check_queries.RELATED)
    check = roles.fetch(request.user, "raise nonconformances", rows, entry_id=uuid)
    try:
        items = raising.raise_findings(by=request.user, check=check)
    except Refused as no:
        messages.error(request, no.message)
    else:
        numbers = ", ".join(item.label for item in items)
        messages.success(request, _("Raised: %(numbers)s.") % {"numbers": numbers})
    return redirect("check", uuid=uuid)
