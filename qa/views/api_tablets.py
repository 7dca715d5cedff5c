"""Tablets by JSON: enrolling one, proving a PIN, and what a lost one still holds."""

import uuid

from django.core.exceptions import PermissionDenied, ValidationError
from django.http import JsonResponse
from django.views.decorators.debug import sensitive_variables

from qa import sync
from shop import roles
from shop.actions import tablets
from shop.ledger import Refused
from shop.models import Person

from .api import SignIn, api, read_json

MOST_RECOVERED = 20_000


@api("POST")
def enroll(request):
    """Enroll the tablet at hand; the lead is signed in on it for this."""
    name = str(read_json(request).get("name", ""))
    tablet, token = tablets.enroll(by=request.user, name=name)
    told = {"tablet": {"id": str(tablet.pk), "name": tablet.name}, "token": token}
    return JsonResponse(told, status=201)


@sensitive_variables("said")
@api("POST")
def prove(request):
    """Prove a PIN for a shift; what was claimed on this tablet is confirmed."""
    if not request.tablet:
        raise SignIn("enroll", "This tablet is not enrolled.")
    said = read_json(request)
    person = Person.objects.filter(
        username=str(said.get("username", "")), is_active=True
    ).first()
    if person is None:
        raise PermissionDenied("Nobody of this crew has that name.")
    proof = tablets.prove(
        tablet=request.tablet, person=person, pin=str(said.get("pin", ""))
    )
    told = {"username": person.username, "until": proof.until.isoformat()}
    return JsonResponse(told)


@api("POST")
def recover(request):
    """Take the file that a tablet's store page saved: nothing is counted twice.

    A lead answers for it; what it says of who measured stays claimed.
    """
    roles.require(request.user, "manage tablets")
    acts = read_json(request).get("outbox")
    if not isinstance(acts, list) or len(acts) > MOST_RECOVERED:
        raise Refused("This is not a file of a tablet.", code="unreadable")
    told = {"stored": 0, "known": 0, "refused": []}
    for one in acts:
        _recover(one, told)
    return JsonResponse({"database": sync.database_id(), **told})


def _recover(one, told: dict) -> None:
    try:
        act = uuid.UUID(str(one["id"]))
        envelope = sync.check_envelope(one["body"])
        person = Person.objects.get(username=envelope["by"])
        _entry, new = sync.take(act, envelope, person, claimed=True)
    except Refused as no:
        problem = no.message
    except ValidationError as no:
        problem = " ".join(no.messages)
    except PermissionDenied as no:
        problem = str(no)
    except (KeyError, TypeError, ValueError, Person.DoesNotExist):
        problem = "This is no act of anybody here."
    else:
        told["stored" if new else "known"] += 1
        return
    name = str(one.get("id", "?")) if isinstance(one, dict) else "?"
    told["refused"].append({"id": name, "message": problem})
