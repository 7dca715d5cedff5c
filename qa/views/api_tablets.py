"""Tablets by JSON: enrolling one, proving a PIN, and what a lost one still holds."""

from dataclasses import asdict

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.debug import sensitive_variables

from qa import envelopes
from qa.models import Check, CheckState, GaugeStudy
from qa.queries.checks import claims as claims_of
from qa.queries.tablet import next_work as queries
from qa.queries.tablet.studies import turns_read
from qa.recovery import recover_file
from qa.rules import planning
from shop import roles
from shop.actions import tablets
from shop.ledger import Refused
from shop.models import Entry, Person, Unit
from shop.queries.incarnations import database_id

from .api import SignIn, api, author, read_json

MOST_CLAIMS = 60


@api("POST")
def enroll(request):
    """Enroll the tablet at hand; the lead is signed in on it for this."""
    roles.require(request.user, "manage tablets")
    name = str(read_json(request).get("name", ""))
    tablet, token = tablets.enroll(by=request.user, name=name)
    content = {"tablet": {"id": str(tablet.pk), "name": tablet.name}, "token": token}
    return JsonResponse(content, status=201)


@sensitive_variables("body")
@api("POST")
def prove(request):
    """Prove a PIN for a shift; how much was claimed in that name is told."""
    if not request.tablet:
        raise SignIn("enroll", "This tablet is not enrolled.")
    body = read_json(request)
    person = Person.objects.filter(
        username=str(body.get("username", "")), is_active=True
    ).first()
    if person is None:
        raise PermissionDenied("Nobody of this crew has that name.")
    proof = tablets.prove(
        tablet=request.tablet, person=person, pin=str(body.get("pin", ""))
    )
    content = {
        "username": person.username,
        "until": proof.until.isoformat(),
        "claimed": claims_of.waiting_of(person).count(),
    }
    return JsonResponse(content)


@api("GET")
def claims(request):
    """What waits for a person to confirm or disown, told to that person only."""
    by, claimed = author(request, request.GET.get("by") or request.user.get_username())
    if claimed:
        raise Refused("Prove your PIN first.", field="pin", code="not_proven")
    waiting = claims_of.waiting_of(by)
    rows = [asdict(claim) for claim in claims_of.claims(list(waiting[:MOST_CLAIMS]))]
    return JsonResponse({"claims": rows, "count": waiting.count()})


@api("GET")
def study_turns(request, uuid):
    """Which turns of a study are read, of whatever tablet: one that has it open asks
    every few seconds. Never what was read."""
    row = get_object_or_404(GaugeStudy, entry_id=uuid)
    return JsonResponse({"read": turns_read(row)})


@api("GET")
def next_work(request, check):
    """What comes after a finished check; 304 while nothing at all was recorded since.

    It may plan, and any entry of the shop may change what comes next: a tablet asks
    when a check was finished or changed, when its page is opened, and on line again.
    """
    rows = Check.objects.select_related(*planning.RELATED)
    fit_check = get_object_or_404(rows, entry_id=check)
    if fit_check.state.state != CheckState.State.FINISHED:
        raise Refused("What comes next is told once the check is finished.")
    unit = request.GET.get("unit")
    unit = unit if unit in Unit.values else fit_check.fit_up.revision.units
    newest = Entry.objects.order_by("-id").values_list("act", flat=True).first()
    tag = f'"{newest}-{unit}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponse(status=304, headers={"ETag": tag})
    work = queries.next_work(fit_check, unit)
    context = {"work": work, "now": timezone.now()}
    content = work.as_json() | {
        "html": render_to_string("qa/tablet/next_work.html", context)
    }
    return JsonResponse(content, headers={"ETag": tag})


@api("POST")
def recover(request):
    """Take the file that a tablet's store page saved: nothing is counted twice.

    A lead answers for it; what it says of who measured stays claimed.
    """
    roles.require(request.user, "manage tablets")
    # Each act in it is looked through by itself, as in a batch.
    recovered = recover_file(envelopes.parse(request.body))
    return JsonResponse({"database": database_id(), **recovered})
