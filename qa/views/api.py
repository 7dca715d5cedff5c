"""The tablet's road to the server: JSON in, JSON out, never a redirect."""

import contextlib
import json
import logging
import uuid
from functools import wraps

from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    ValidationError,
)
from django.http import Http404, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_http_methods

from qa import envelopes, sync
from qa.models import Check
from qa.queries.tablet.carried_checks import check_for_tablet, people_for_tablet
from qa.queries.tablet.offline_copy import carry as everything_to_carry
from shop import roles
from shop.actions import tablets
from shop.actions.signing_in import prove_password
from shop.ledger import Refused, together, writing
from shop.ledger.canonical import canonical, digest
from shop.ledger.snapshot import READING, snapshot
from shop.middleware import must_change, must_set_second_factor
from shop.models import Entry, Person
from shop.queries.api_requests import ApiRequest, by_session, by_token
from shop.queries.identity import in_zone
from shop.queries.incarnations import database_ids
from shop.queries.second_factor import asks_for_code
from shop.serving import addresses
from shop.serving.storage_errors import what_failed
from shop.views.account import whence
from shop.views.devices import remember

log = logging.getLogger(__name__)

ACTS_MOST = 50
CHANGE_FIRST = (
    "Somebody else set this password. Sign in at the desk and choose one of your own "
    "first."
)
CODE_FIRST = (
    "You need your second factor. Open the sign-in page in this browser, sign in there "
    "with the code, then come back."
)
CONFLICTS = {"finished", "clash", "done", "stale", "other_database", "other_copy"}
STATUS = {
    "wait": 429,
    "pin": 403,
    "no_pin": 403,
    "no_room": 507,
    "unreadable": 400,
    "too_large": 413,
}


def error(
    status: int, code: str, message: str, field: str = "", **more: str
) -> JsonResponse:
    body = {"error": {"code": code, "message": message, "field": field, **more}}
    return JsonResponse(body, status=status)


def refusal(no: Refused) -> JsonResponse:
    status = STATUS.get(no.code, 409 if no.code in CONFLICTS else 422)
    return error(status, no.code, no.message, no.field)


class SignIn(Exception):
    """Nobody is signed in, or the tablet was revoked."""

    def __init__(self, code="sign_in", message="Sign in again."):
        self.code, self.message = code, message


def asked_by_tablet(request) -> ApiRequest | None:
    """Return who asks, where an enrolled tablet's token came with the request."""
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    if scheme != "Bearer":
        return None
    asked = by_token(token, _known_head(request))
    if asked is None or asked.tablet.revoked_at:
        raise SignIn("revoked", "This tablet is not enrolled any more.")
    return asked


def _known_head(request) -> str:
    return request.headers.get("X-Head", "")


def api(*methods: str, signed: bool = True):
    """A view that answers in JSON, whatever happens.

    What nobody thought of is a fault of ours: logged, and told with a code by which a
    tablet puts the act aside for a person instead of sending it for ever.
    signed: only to an enrolled tablet or to who is signed in; request.tablet is the
    tablet or None, request.database the id of the database. A token in the request is
    all that counts, cookies then do not.
    """

    def wrap(view):
        @login_not_required
        @never_cache
        @require_http_methods(methods)
        @wraps(view)
        def answer(request, *args, **kwargs):
            try:
                asked = asked_by_tablet(request)
                request.tablet = asked and asked.tablet
                known = request.tablet or request.user.is_authenticated
                if signed and not known:
                    raise SignIn
                if signed and not request.tablet and must_change(request.user):
                    raise SignIn(message=CHANGE_FIRST)
                if signed and not request.tablet and must_set_second_factor(request):
                    raise SignIn(message=CODE_FIRST)
                reads = request.method in READING
                with snapshot() if reads else contextlib.nullcontext():
                    if signed:
                        asked = asked or by_session(_known_head(request))
                        in_zone(asked.time_zone)
                        _same_database(request, asked)
                    response = view(request, *args, **kwargs)
                    return _witnessed(request, response, asked)
            except NO as no:
                return said_no(no)
            except RequestDataTooBig:
                return error(413, "too_large", "This is too large for the server.")
            except Exception as why:
                if failing := what_failed(why):
                    log.error("%s %s: %s", request.method, request.path, why)
                    words = {"message": failing.message, "short": failing.short}
                    return error(failing.status, failing.code, **words)
                log.exception("a fault of ours: %s %s", request.method, request.path)
                return error(500, "fault", FAULT)

        return answer

    return wrap


def _witnessed(request, response, asked: ApiRequest | None):
    """Tell a head of the ledger to keep, and prove that it goes on from the one that
    the tablet was told before: the tablet compares."""
    if not asked and request.user.is_authenticated:
        asked = by_session(_known_head(request))
    if asked and asked.head:
        response["X-Head"] = asked.head
    return response


FAULT = (
    "The server made a mistake over this and kept nothing of it. It stays here: tell "
    "the lead, who finds why in the server's log."
)
NO = (SignIn, PermissionDenied, Refused, ValidationError, Http404)


def said_no(no: Exception) -> JsonResponse:
    """The answer to what was refused, for one of NO."""
    if isinstance(no, SignIn):
        return error(401, no.code, no.message)
    if isinstance(no, PermissionDenied):
        code = getattr(no, "code", "not_allowed")
        return error(403, code, str(no) or "You may not do this.")
    if isinstance(no, Refused):
        return refusal(no)
    if isinstance(no, ValidationError):
        return error(422, "refused", " ".join(no.messages), _field(no))
    return error(404, "unknown", "The server does not know this.")


def _field(no: ValidationError) -> str:
    return next(iter(no.message_dict), "") if hasattr(no, "error_dict") else ""


def _same_database(request, asked: ApiRequest) -> None:
    """Refuse what was meant for another database at the same address."""
    request.database = asked.database
    meant = request.headers.get("X-Database") or request.database
    if meant != request.database:
        raise Refused(
            "Another database answers at this address.", code="other_database"
        )


def read_json(request) -> dict:
    content = envelopes.parse(request.body)
    envelopes.check_keepable(content)
    if not isinstance(content, dict):
        raise Refused("This is no JSON object.", code="unreadable")
    return content


@sensitive_variables("body", "password")
@api("GET", "POST", "DELETE", signed=False)
def session(request):
    """Who is signed in here, and the token that the next act must carry."""
    if request.method == "DELETE":
        logout(request)
    elif request.method == "POST":
        body = read_json(request)
        name, password = (str(body.get(key, "")) for key in ("username", "password"))
        person = prove_password(
            username=name, password=password, **whence(request, name)
        )
        if person is None:
            return error(403, "sign_in", "That name and password do not match.")
        if person.must_change_password:
            return error(403, "password", CHANGE_FIRST)
        if asks_for_code(person):
            return error(403, "second_factor", CODE_FIRST)
        login(request, person)
        return remember(request, JsonResponse(_session(request)), person)
    return JsonResponse(_session(request))


def _session(request) -> dict:
    user = request.user
    newest, *before = database_ids()
    answer = {
        "user": None,
        "csrf": get_token(request),
        "database": newest,
        "before": before,
        "now": timezone.now().isoformat(),
        "people": [],
        "tablet": None,
        "proven": [],
    }
    if user.is_authenticated:
        answer["user"] = {
            "username": user.username,
            "name": user.name,
            "role": user.role,
            "units": user.units,
        }
    if request.tablet:
        answer["tablet"] = {"id": str(request.tablet.pk), "name": request.tablet.name}
        answer["proven"] = [
            {"username": proof.person.username, "until": proof.until.isoformat()}
            for proof in request.tablet.proofs.filter(
                until__gt=timezone.now()
            ).select_related("person")
        ]
    if request.tablet or user.is_authenticated:
        answer["people"] = people_for_tablet()
    return answer


@api("PUT")
def act(request, act: uuid.UUID):
    envelope = envelopes.read_envelope(request.body)
    if envelope["form"] in sync.SHORT:
        return together(lambda: _take(request, act, envelope))
    return _take(request, act, envelope)


@api("POST")
def acts(request):
    """Many acts of one tablet, in their order: each is answered as if it came alone.

    They are kept by one transaction, since a commit costs more than an act; when it
    fails nothing was acknowledged, and the tablet sends each by itself.
    """
    # Each act is looked through by itself: one that cannot be read spoils no other.
    content = envelopes.parse(request.body)
    sent = content.get("acts") if isinstance(content, dict) else None
    if not isinstance(sent, list) or len(sent) > ACTS_MOST:
        raise Refused(f"acts is a list of at most {ACTS_MOST}.", field="acts")
    with writing():
        answers = [_answer_one(request, act) for act in sent]
    return JsonResponse({"answers": answers})


def _answer_one(request, sent) -> dict:
    try:
        try:
            act, body = uuid.UUID(sent["id"]), json.dumps(sent["body"])
        except (TypeError, KeyError, ValueError, AttributeError, RecursionError):
            raise Refused("An act has an id and a body.", code="unreadable") from None
        response = _take(request, act, envelopes.read_envelope(body.encode()))
    except NO as no:
        response = said_no(no)
    return {"status": response.status_code, "json": json.loads(response.content)}


def _take(request, act: uuid.UUID, envelope: dict) -> JsonResponse:
    by, claimed = author(request, envelope["by"])
    # Made before the person had proven to be there: a PIN since says nothing of it.
    claimed = claimed or envelope["claimed"]
    if request.tablet:
        # The token says which tablet it is, whatever the act itself says.
        envelope["device"] = str(request.tablet.pk)
    entry, new = sync.take(act, envelope, by, claimed=claimed)
    return JsonResponse(
        sync.receipt(entry, request.database), status=201 if new else 200
    )


def author(request, username: str) -> tuple[Person, bool]:
    """Return who did it, and whether that is only claimed.

    Nobody is given another person's readings: by cookie it must be who is signed in;
    on an enrolled tablet anybody of the crew, claimed until a PIN proves it.
    """
    if request.tablet:
        person = tablets.of_the_crew(request.tablet, username)
        if person is None:
            raise PermissionDenied(f"{username or 'Nobody'} is not of this crew.")
        return person, not person.has_proven
    if username != request.user.username:
        no = PermissionDenied(f"This was done by {username}: sign in as {username}.")
        no.code = "other_person"
        raise no
    return request.user, False


@api("POST")
def have(request):
    try:
        ids = [uuid.UUID(text) for text in read_json(request)["ids"]][:5000]
    except (ValueError, TypeError, KeyError, AttributeError):
        return error(422, "unreadable", "ids is a list of act ids.")
    return JsonResponse({"database": request.database, "missing": sync.missing(ids)})


RELATED = (
    "state",
    "instrument",
    "fit_up__airframe",
    "fit_up__joint",
    "fit_up__revision",
    "fit_up__part__design",
)


@api("GET")
def check(request, check: uuid.UUID):
    """A check with all that a tablet needs; 304 to a tablet that has it already.

    Tablets ask every few seconds. The tag names the last act on the check and the
    newest of all: while both are the same, nothing is read again.
    """
    rows = Check.objects.select_related(*RELATED)
    row = rows.filter(entry_id=check).first()
    if row is None:
        raise Http404
    newest = Entry.objects.order_by("-id").values_list("id", flat=True).first()
    at = f"{newest}.{row.state.last_entry_id}"
    known = request.headers.get("If-None-Match", "").strip('"').rpartition("-")
    if known[0] == at:
        return HttpResponse(status=304, headers={"ETag": f'"{"".join(known)}"'})
    answer = check_for_tablet(row)
    content = digest(canonical(answer))[:32]
    headers = {"ETag": f'"{at}-{content}"'}
    if known[2] == content:
        return HttpResponse(status=304, headers=headers)
    return JsonResponse(answer, headers=headers)


@api("GET")
def carry(request):
    if not request.tablet:
        roles.require(request.user, "look")
    return JsonResponse(everything_to_carry(addresses.hosts_on_labels()))
