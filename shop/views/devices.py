"""Browsers in which people were right before: what is guessed elsewhere shuts none.

A cookie names the browser and, as digests, whose password was right in it. Without a
right password nobody can make one.
"""

import secrets

from django.core import signing

from shop.actions.signing_in import digest_of_name
from shop.models import Person
from shop.numeric.units import S_PER_DAY

SALT = "shop.views.devices"
AGE = 400 * S_PER_DAY
# A tablet of the shop is shared by many; a cookie holds 4 kB.
MOST, SHORT = 24, 24


def device_of(request, username: str) -> str:
    """Return by what this browser is known for a person, "" where it is not."""
    known = _read(request)
    return known["id"] if _short(username) in known["for"] else ""


def remember(request, response, person: Person):
    """Let this browser be known for who was right in it just now; give the response."""
    known = _read(request)
    short = _short(person.username)
    known["for"] = [short, *(name for name in known["for"] if name != short)][:MOST]
    response.set_cookie(
        _name(request),
        signing.dumps(known, salt=SALT),
        max_age=AGE,
        httponly=True,
        samesite="Lax",
        secure=request.is_secure(),
    )
    return response


def _short(username: str) -> str:
    return digest_of_name(username)[:SHORT]


def _name(request) -> str:
    # A cookie of plain http never counts as one of https (shop.middleware).
    return "__Host-device" if request.is_secure() else "device"


def _read(request) -> dict:
    try:
        return signing.loads(
            request.COOKIES.get(_name(request), ""),
            salt=SALT,
            max_age=AGE,
        )
    except signing.BadSignature:
        return {"id": secrets.token_hex(16), "for": []}
