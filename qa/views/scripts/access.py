"""Who comes in to the API, and how it says no: always JSON, never a redirect."""

import logging
from functools import wraps

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    ValidationError,
)
from django.http import Http404
from django.views.decorators.cache import never_cache
from ninja import NinjaAPI
from ninja.errors import AuthenticationError, HttpError
from ninja.errors import ValidationError as Unreadable
from ninja.security import HttpBearer

from qa.views.api import FAULT, NO, error, said_no
from shop.actions import devices
from shop.ledger import Refused
from shop.ledger.snapshot import snapshot
from shop.models import Opens
from shop.queries.identity import in_zone, the_shop
from shop.serving.storage_errors import what_failed
from shop.views.account import address

log = logging.getLogger(__name__)

# What a rule of the library says, in words for whoever writes a script for a gauge.
WORDS = {
    "missing": "This is needed.",
    "extra_forbidden": "This is no field of it.",
    "string_type": 'Give this as a text: "0.62", not 0.62.',
    "string_too_long": "This is too long.",
    "string_too_short": "This must not be empty.",
    "string_pattern_mismatch": "Give a number as it is typed, without its unit: 0.62",
    "uuid_parsing": "This is no id (UUID).",
    "uuid_type": "Give the id (UUID) as a text.",
    "bool_type": "Say true or false.",
    "bool_parsing": "Say true or false.",
    "int_parsing": "Give a whole number.",
    "int_type": "Give a whole number.",
    "greater_than_equal": "This is too small, or too early.",
    "less_than_equal": "This is too large, or too late.",
}
OTHER_WORDS = {"date": "Give a date as 2026-11-29.", "literal": "Choose one of these: "}


class Token(HttpBearer):
    """`Authorization: Bearer TOKEN`. A device may what its person may."""

    def authenticate(self, request, token):
        device = devices.device_of(token, Opens.READS, Opens.WRITES)
        if device is None:
            where = address(request)
            if not devices.may_try(where):
                raise devices.TooManyTokens
            devices.count_wrong(where)
            return None
        devices.note_seen(device)
        in_zone(the_shop().time_zone)
        request.user, request.device = device.person, device
        return device


api = NinjaAPI(
    title="Fayline",
    version="1",
    description=(
        "For gauges and scripts. The lead makes a token on the page Devices and "
        "calendars; a token may what the person may for whom it acts. Lengths are "
        "decimal texts with their unit beside. Whatever is recorded carries an id "
        "(UUID) that the sender chose: sent again, however late, it is one act with "
        "one receipt, and another content under the same id is refused."
    ),
    urls_namespace="scripts",
    docs_url=None,
    openapi_url=None,
    auth=Token(),
)


def reads(view):
    """Read everything that a view tells at one moment."""

    @wraps(view)
    def reading(request, *args, **kwargs):
        with snapshot():
            return view(request, *args, **kwargs)

    return reading


def writes(view):
    """Let in only a token that may record."""

    @wraps(view)
    def writing(request, *args, **kwargs):
        if request.device.opens != Opens.WRITES:
            raise PermissionDenied("This token only reads.")
        return view(request, *args, **kwargs)

    return writing


def closed(view):
    """What stands around each view: open to who has a token, kept by no cache."""

    @login_not_required
    @never_cache
    @wraps(view)
    def answer(request, *args, **kwargs):
        response = view(request, *args, **kwargs)
        if response.status_code == 405:
            refusal = error(405, "method", "This address does not take that method.")
            refusal["Allow"] = response["Allow"]
            return refusal
        return response

    return answer


@api.exception_handler(AuthenticationError)
def _no_token(request, _no):
    refusal = error(401, "token", "No token that opens this came with the request.")
    refusal["WWW-Authenticate"] = "Bearer"
    return refusal


@api.exception_handler(Unreadable)
def _unreadable(request, no):
    first = no.errors[0]
    names = [
        str(name) for name in first["loc"] if name not in ("body", "query", "path")
    ]
    field = names[-1] if names else ""
    if field == "page":
        field = ""
    return error(422, "unreadable", _words(first), field)


def _words(first: dict) -> str:
    kind = first["type"]
    if kind in WORDS:
        return WORDS[kind]
    if kind.startswith("date"):
        return OTHER_WORDS["date"]
    if kind == "literal_error":
        return f"{OTHER_WORDS['literal']}{first['ctx']['expected']}."
    return "This cannot be read."


@api.exception_handler(RequestDataTooBig)
def _too_large(request, _no):
    return error(413, "too_large", "This is too large for the server.")


@api.exception_handler(HttpError)
def _no_json(request, no):
    return error(no.status_code, "unreadable", "This is no JSON that can be read.")


@api.exception_handler(Exception)
def _refused(request, why):
    if isinstance(why, NO):
        return said_no(why)
    if failing := what_failed(why):
        log.error("%s %s: %s", request.method, request.path, why)
        return error(failing.status, failing.code, failing.message)
    log.exception("a fault of ours: %s %s", request.method, request.path)
    return error(500, "fault", FAULT_HERE)


FAULT_HERE = FAULT.partition(" It stays")[0]
for kind in (Http404, PermissionDenied, Refused, ValidationError):
    api.exception_handler(kind)(_refused)
