"""Headers of every answer, cookies by scheme, and one moment for what a page reads."""

from contextlib import suppress

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.sessions.middleware import SessionMiddleware
from django.core.exceptions import BadRequest, DisallowedHost, TooManyFieldsSent
from django.db import Error as DatabaseFails
from django.http import HttpResponseBadRequest, QueryDict
from django.http.request import split_domain_port, validate_host
from django.middleware.csrf import CsrfViewMiddleware
from django.shortcuts import redirect
from django.utils import timezone

from shop.ledger.snapshot import READING, snapshot
from shop.queries.identity import in_zone, the_shop
from shop.rules.second_factor import PROVEN, is_wanted_of
from shop.serving import addresses
from shop.serving.authority import is_address


def strict_headers(get_response):
    """Send the content security policy (the setting has the name Django 6 uses)."""
    policy = "; ".join(f"{key} {value}" for key, value in settings.SECURE_CSP.items())

    def middleware(request):
        response = get_response(request)
        if getattr(request, "is_private", False):
            # Nobody who comes to this browser later finds it in its cache.
            response.headers.setdefault("Cache-Control", "private, no-store")
        response.headers.setdefault(
            "Content-Security-Policy", FILE_POLICY if is_file(response) else policy
        )
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault(
            "Permissions-Policy", "geolocation=(), microphone=(), payment=()"
        )
        return response

    return middleware


# What pages of ours show or run; PDF is shown by a viewer that works in no sandbox, and
# is made here, never brought.
OURS = {
    *("text/html", "text/css", "text/javascript", "application/javascript"),
    *("application/json", "application/manifest+json", "application/pdf"),
}
FILE_POLICY = "default-src 'none'; sandbox; frame-ancestors 'none'"


def is_file(response) -> bool:
    """Whether this is what somebody brought or takes away: nothing in it is run, even
    where a browser takes it for a page."""
    kind = response.headers.get("Content-Type", "").partition(";")[0].strip().lower()
    return bool(kind) and kind not in OURS


class KnownHost:
    """Answer to the names and addresses of this machine only, and to those that
    FAYLINE_HOSTS lists: another site's name that was turned towards us is none.

    An address typed as numbers is always ours: nobody can turn it.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        with suppress(DisallowedHost):
            name = split_domain_port(request.get_host())[0].strip("[]")
            if is_address(name) or validate_host(name, known_hosts()):
                return self.get_response(request)
        words = "This server does not go by that name. FAYLINE_HOSTS lists its names."
        refused = HttpResponseBadRequest(words, content_type="text/plain")
        refused["X-Content-Type-Options"] = "nosniff"
        return refused


def known_hosts() -> list[str]:
    """Those that were listed; where none were, the names of this machine."""
    listed = [name for name in settings.ALLOWED_HOSTS if name != "*"]
    if len(listed) < len(settings.ALLOWED_HOSTS):
        listed += addresses.machine_names()
        listed += addresses.names_of_routers()
    return listed


class ClosedByDefault(LoginRequiredMiddleware):
    """A view is open only when it says login_not_required.

    Django's own asks who is there for an open view too: the tablet's shell would vary
    by cookie, and a browser's cache would lose it with the session.
    """

    def process_view(self, request, view, args, kwargs):
        if not getattr(view, "login_required", True):
            return None
        request.is_private = True
        sent_away = super().process_view(request, view, args, kwargs)
        if sent_away or not must_change(request.user):
            return sent_away
        opens = getattr(view, "opens_before_change", False)
        return None if opens else redirect("own_password")


def must_change(person) -> bool:
    """Whether somebody else chose this person's password and knows it still."""
    return bool(getattr(person, "must_change_password", False))


def must_set_second_factor(request) -> bool:
    """Whether the shop wants one of who asks, who has proven none in this session: then
    there is none, since setting it ends all other sessions."""
    if not is_wanted_of(request.user) or request.session.get(PROVEN):
        return False
    shop = getattr(request, "shop", None) or the_shop()
    return shop.second_factor


class ReadableAddress:
    """Refuse (400) what no page can have asked for: hundreds of values in an address,
    a NUL in it (PostgreSQL keeps none), a body that is not UTF-8 (such text could hold
    half a character, which no database keeps).

    Text that is typed into a form is refused by its field, beside it: forms.CharField
    takes no NUL.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        if (request.encoding or "utf-8").lower() not in ("utf-8", "utf8", "us-ascii"):
            request.encoding = "utf-8"
            raise BadRequest("Only UTF-8 is read here.")
        try:
            asked = request.GET
        except TooManyFieldsSent:
            # The page that says so shows what was looked for, and would fail as well.
            request.GET = QueryDict()
            raise BadRequest("There is too much in this address.") from None
        texts = [*asked, *(value for _key, many in asked.lists() for value in many)]
        if any("\0" in text for text in (request.path_info, *texts)):
            request.GET = QueryDict()
            raise BadRequest("This address holds a character that no text has.")
        return None


class ShopsOwn:
    """Reckon days and tell times in the shop's zone, as the lead has said it, for who
    is signed in.

    Open views read nothing; what finds out by itself who asks says `in_zone` then. The
    api tells its moments in UTC all the same.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        try:
            return self.get_response(request)
        finally:
            timezone.deactivate()

    def process_view(self, request, view, args, kwargs):
        protected = getattr(view, "login_required", True)
        if protected and not request.path_info.startswith("/api/"):
            request.shop = the_shop()
            if must_set_second_factor(request):
                opens = ("opens_before_change", "opens_before_code")
                if not any(hasattr(view, mark) for mark in opens):
                    return redirect("second_factor")
            in_zone(request.shop.time_zone)
        return None


class OneMoment:
    """Answer what only reads from one state of the database.

    An open view reads nothing, or finds out by itself who asks (which removes a session
    that has ended) and reads then, as the api does. One that must write first says
    own_moment, and reads in a snapshot of its own.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        signed_in = getattr(view, "login_required", True)
        if request.method in READING and signed_in and not hasattr(view, "own_moment"):
            with snapshot():
                return view(request, *args, **kwargs)
        return None


def _host_cookie(response, name: str) -> None:
    """Rename the cookie `name` to its __Host- form: bound to this host, https only."""
    if name in response.cookies:
        morsel = response.cookies.pop(name)
        renamed = f"__Host-{name}"
        response.cookies[renamed] = morsel.value
        response.cookies[renamed].update(morsel)
        response.cookies[renamed]["secure"] = True
        response.cookies[renamed]["domain"] = ""
        response.cookies[renamed]["path"] = "/"


def _read_host_cookie(request, name: str) -> None:
    if request.is_secure():
        # A cookie set over plain http must never count as one of https.
        request.COOKIES.pop(name, None)
        if f"__Host-{name}" in request.COOKIES:
            request.COOKIES[name] = request.COOKIES[f"__Host-{name}"]


class SchemeSessionMiddleware(SessionMiddleware):
    def process_request(self, request):
        _read_host_cookie(request, settings.SESSION_COOKIE_NAME)
        super().process_request(request)

    def process_response(self, request, response):
        # What cannot be written spoils no answer.
        with suppress(DatabaseFails):
            request.session.was_used()
        response = super().process_response(request, response)
        if request.is_secure():
            _host_cookie(response, settings.SESSION_COOKIE_NAME)
        return response


class SchemeCsrfMiddleware(CsrfViewMiddleware):
    def process_view(self, request, callback, args, kwargs):
        bearer = request.headers.get("Authorization", "").startswith("Bearer ")
        if bearer and request.path.startswith("/api/"):
            # No other site can make a browser send this header to us, and the api
            # takes no cookie into account when it is there. Pages do.
            return None
        return super().process_view(request, callback, args, kwargs)

    def process_request(self, request):
        _read_host_cookie(request, settings.CSRF_COOKIE_NAME)
        super().process_request(request)

    def process_response(self, request, response):
        response = super().process_response(request, response)
        if request.is_secure():
            _host_cookie(response, settings.CSRF_COOKIE_NAME)
        return response
