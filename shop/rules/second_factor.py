"""Codes that run with the clock (RFC 6238), and codes on paper that work once."""

import base64
import hashlib
import hmac
import json
import secrets
from datetime import datetime

import pyotp
from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings

from shop import roles
from shop.models import Person

STEP_SECONDS = 30
DIGITS = 6
# A device's clock may be a step early or late; a code is open for no longer.
DRIFT = (0, -1, 1)
RECOVERY_CODES = 10
# How long a page that offers a secret may stay open.
OFFER_SECONDS = 3600
# In a session: its person proved a second factor in it.
PROVEN = "second_factor"


def code_at(secret: str, step: int) -> str:
    """The code of one step: so many times half a minute since 1970."""
    return pyotp.TOTP(secret, digits=DIGITS, interval=STEP_SECONDS).generate_otp(step)


def step_of(secret: str, code: str, now: datetime, after: int) -> int | None:
    """Return the step, later than `after`, of which this is the code just now."""
    present = int(now.timestamp()) // STEP_SECONDS
    for drift in DRIFT:
        step = present + drift
        right = hmac.compare_digest(code_at(secret, step), code)
        if right and step > after:
            return step
    return None


def typed(code: str) -> str:
    """A code as typed, without spaces and lines between."""
    bare = "".join(sign for sign in code.upper() if sign.isalnum())
    return bare if bare.isascii() else ""


def _box() -> Fernet:
    key = hmac.new(settings.SECRET_KEY.encode(), b"second factor", hashlib.sha256)
    return Fernet(base64.urlsafe_b64encode(key.digest()))


def offer(person: Person) -> str:
    """A new secret for a person, sealed: it travels in the form that takes its code."""
    return sealed({"person": person.pk, "secret": pyotp.random_base32()})


def sealed(content: dict) -> str:
    return _box().encrypt(json.dumps(content).encode()).decode()


def opened(person: Person, text: str, seconds: int | None = None) -> str | None:
    """The secret of a person that was sealed here; None when it was not, too long ago,
    or by a server with another key."""
    try:
        content = json.loads(_box().decrypt(text.encode(), ttl=seconds))
    except (InvalidToken, ValueError):
        return None
    return content["secret"] if content["person"] == person.pk else None


def address_of(secret: str, person: Person, shop: str) -> str:
    """What a device reads from the picture: otpauth://totp/…"""
    return pyotp.TOTP(secret, name=person.username, issuer=shop).provisioning_uri()


def new_recovery_codes() -> list[str]:
    """As they are told, once: four times four letters and digits."""
    made = []
    for _ in range(RECOVERY_CODES):
        text = base64.b32encode(secrets.token_bytes(10)).decode()
        made.append("-".join(text[i : i + 4] for i in range(0, 16, 4)))
    return made


def digest_of_code(code: str) -> str:
    return hashlib.sha256(typed(code).encode()).hexdigest()


def is_wanted_of(person: Person) -> bool:
    """Whether a shop that wants a second factor wants one of this person."""
    return getattr(person, "role", None) in roles.LEAD_ENGINEER
