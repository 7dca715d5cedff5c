"""The tablet's road to the server: JSON in, JSON out, never a redirect."""

import json
import uuid
from functools import wraps

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import OperationalError
from django.http import JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from qa import sync
from qa.models import Check
from qa.queries.tablet import check_for_tablet, people_for_tablet
from shop import roles
from shop.ledger import Refused
from shop.models import Person

CONFLICTS = {"finished", "clash", "done", "stale"}


def error(status: int, code: str, message: str, field: str = "") -> JsonResponse:
    body = {"error": {"code": code, "message": message, "field": field}}
    return JsonResponse(body, status=status)


def api(*methods: str):
    """A view that answers in JSON, whatever happens, and only to who is signed in."""

    def wrap(view):
        @login_not_required
        @never_cache
        @require_http_methods(methods)
        @wraps(view)
        def answer(request, *args, **kwargs):
            if not request.user.is_authenticated:
                return error(401, "sign_in", "Sign in again.")
            try:
                return view(request, *args, **kwargs)
            except PermissionDenied as no:
                return error(403, "not_allowed", str(no) or "You may not do this.")
            except Refused as no:
                status = 409 if no.code in CONFLICTS else 422
                return error(status, no.code, no.message, no.field)
            except ValidationError as no:
                return error(422, "refused", " ".join(no.messages), _field(no))
            except OperationalError:
                return error(503, "busy", "The database is busy: try again.")

        return answer

    return wrap


def _field(no: ValidationError) -> str:
    return next(iter(no.message_dict), "") if hasattr(no, "error_dict") else ""


@login_not_required
@never_cache
@require_http_methods(["GET"])
def session(request):
    """Who is signed in here, and the token that the next act must carry."""
    user = request.user
    told = {
        "user": None,
        "csrf": get_token(request),
        "database": sync.database_id(),
        "now": timezone.now().isoformat(),
        "people": [],
    }
    if user.is_authenticated:
        told["user"] = {
            "username": user.username,
            "name": user.name,
            "role": user.role,
            "units": user.units,
        }
        told["people"] = people_for_tablet()
    return JsonResponse(told)


@api("PUT")
def act(request, act: uuid.UUID):
    envelope = sync.read_envelope(request.body)
    by = _author(request, envelope["by"])
    entry, new = sync.take(act, envelope, by)
    return JsonResponse(sync.receipt(entry), status=201 if new else 200)


def _author(request, username: str) -> Person:
    """Return who did it. Nobody is given another person's readings."""
    if username != request.user.username:
        raise PermissionDenied(f"This was done by {username}: sign in as {username}.")
    return request.user


@api("POST")
def have(request):
    try:
        ids = [uuid.UUID(one) for one in json.loads(request.body)["ids"]][:5000]
    except (ValueError, TypeError, KeyError, AttributeError):
        return error(422, "unreadable", "ids is a list of act ids.")
    return JsonResponse({"database": sync.database_id(), "missing": sync.missing(ids)})


@api("GET")
def check(request, check: uuid.UUID):
    related = (
        "state",
        "instrument",
        "fit_up__airframe",
        "fit_up__joint",
        "fit_up__revision",
        "fit_up__part__design",
    )
    rows = Check.objects.select_related(*related)
    return JsonResponse(
        check_for_tablet(roles.fetch(request.user, "look", rows, entry_id=check))
    )
