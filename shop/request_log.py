"""One line of the log for each request that was answered, and an id for each request.

The id stands in the answer's header too: who reports a fault can name it. No line holds
what must stay secret: no query, no body, no cookie; and where an error's own words hold
something that was sent as a password, a PIN or a token, that is taken out.
"""

import contextlib
import json
import logging
import operator
import re
import secrets
import time
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import timedelta

from django.utils.functional import LazyObject, empty

HEADER = "X-Request"
HIDDEN = "…"
SECRET_NAMES = re.compile(
    "pass|pin|token|secret|session|csrf|new|old|again|code|key", re.IGNORECASE
)
# Shorter ones would take apart the words around them.
SHORTEST = 4
# What an address names by a number or a uuid may be told, a longer text is a token.
LONGEST_PLAIN = 36
# Somebody's file is not looked through for a password.
LONGEST_BODY = 100_000

log = logging.getLogger("fayline.requests")
_present: ContextVar = ContextVar("request", default=None)


def logged(get_response):
    """Give each request an id, and put a line in the log when it was answered."""

    def middleware(request):
        request.id = secrets.token_hex(6)
        # Until the next one: Django says of some answers what they are after this.
        _present.set(request)
        began = time.perf_counter()
        response = get_response(request)
        response.headers[HEADER] = request.id
        log.info("request", extra={"fields": _told(request, response, began)})
        return response

    return middleware


def _told(request, response, began: float) -> dict:
    person = getattr(request, "user", None)
    if isinstance(person, LazyObject) and person._wrapped is empty:
        # Nobody is looked up for this: an open view may not want to know who asks.
        person = None
    tablet = getattr(request, "tablet", None)
    took = timedelta(seconds=time.perf_counter() - began)
    return {
        "method": request.method,
        "path": hide(request.path)[:200],
        "status": response.status_code,
        "ms": round(took / timedelta(milliseconds=1), 1),
        "by": getattr(person, "username", "") or "",
        "tablet": str(tablet.pk) if tablet else "",
        "from": request.META.get("REMOTE_ADDR", ""),
    }


def present_id() -> str:
    """The id of the request that is answered here, or was last; "" before any."""
    return getattr(_present.get(), "id", "")


def hide(text: str) -> str:
    """Take out of a text what came with the present request and is a secret."""
    request = _present.get()
    if request is None:
        return text
    # Nothing that goes wrong here may keep the line from being written.
    with contextlib.suppress(Exception):
        for value in _known_secrets(request):
            text = text.replace(value, HIDDEN)
    return text


def _known_secrets(request) -> list[str]:
    """The longest first; looked for again only where more was read meanwhile."""
    read = (
        request.resolver_match,
        getattr(request, "_post", None),
        getattr(request, "_body", None),
    )
    known = getattr(request, "known_secrets", None)
    if known is None or any(map(operator.is_not, known[0], read)):
        secrets = sorted(set(_secrets(request)), key=len, reverse=True)
        request.known_secrets = known = read, secrets
    return known[1]


def _secrets(request) -> Iterator[str]:
    candidates = [request.headers.get("Authorization", "").partition(" ")[2]]
    candidates += [
        v for name, v in request.COOKIES.items() if SECRET_NAMES.search(name)
    ]
    match = request.resolver_match
    for name, value in match.kwargs.items() if match else ():
        is_long = len(str(value)) > LONGEST_PLAIN
        if isinstance(value, str) and (is_long or SECRET_NAMES.search(name)):
            candidates.append(value)
    # Only what was read already: to read it now may fail once more.
    posted = getattr(request, "_post", None)
    for name, values in posted.lists() if hasattr(posted, "lists") else ():
        candidates += values if SECRET_NAMES.search(name) else ()
    body = getattr(request, "_body", b"")
    if body[:1] in (b"{", b"[") and len(body) <= LONGEST_BODY and _may_name(body):
        with contextlib.suppress(ValueError):
            candidates += _named_secrets(json.loads(body))
    return (value for value in candidates if len(value) >= SHORTEST)


def _may_name(body: bytes) -> bool:
    """Whether a body can hold such a name at all: most readings do not."""
    if b"\\" in body or not body.isascii():
        return True
    return bool(SECRET_NAMES.search(body.decode("ascii")))


def _named_secrets(body) -> Iterator[str]:
    if isinstance(body, list):
        for member in body:
            yield from _named_secrets(member)
    elif isinstance(body, dict):
        for name, value in body.items():
            if isinstance(value, str) and SECRET_NAMES.search(name):
                yield value
            yield from _named_secrets(value)
