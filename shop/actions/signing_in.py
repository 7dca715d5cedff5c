"""Who is at the door: a password is proven, and guessing gets slow."""

import hashlib
import hmac
import logging
from datetime import timedelta

from django.conf import settings
from django.contrib.auth import authenticate
from django.contrib.auth.hashers import get_hasher, identify_hasher, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform, writing
from shop.models import Person, SignInTry
from shop.numeric.units import S_PER_MIN

log = logging.getLogger(__name__)

WINDOW = timedelta(minutes=15)
TRIES_KEPT_FOR = timedelta(days=1)
# Wrong ones in the window. One name is shut to one address only: whoever guesses from
# elsewhere cannot lock its owner out; all addresses together are slowed far later.
FOR_NAME_AT_ADDRESS = 5
FOR_ADDRESS = 20
FOR_NAME = 100


class TooManyTries(Refused):
    """Wrong passwords were tried: this address may not go on for a while."""

    def __init__(self):
        message = _(
            "Too many wrong passwords. Wait %(minutes)d minutes, or ask the lead."
        ) % {"minutes": WINDOW.total_seconds() // S_PER_MIN}
        super().__init__(message, code="wait")


def digest_of_name(username: str) -> str:
    """A keyed digest: people type their password into the field of the name, too."""
    name = username.strip().casefold().encode("utf-8", "replace")
    return hmac.new(settings.SECRET_KEY.encode(), name, hashlib.sha256).hexdigest()


def prove_password(*, username: str, password: str, address: str) -> Person | None:
    """Return the person whose name and password these are; None when they are not.

    address: where the request came from. Raises TooManyTries. The try is counted before
    the password is looked at, so that guesses sent at once count too, and the slow
    hash runs outside of any transaction.
    """
    name = digest_of_name(username)
    with writing():
        _one_at_a_time()
        now = timezone.now()
        SignInTry.objects.filter(at__lt=now - TRIES_KEPT_FOR).delete()
        if _too_many(name, address, now):
            raise TooManyTries
        tried = SignInTry.objects.create(name=name, address=address, at=now)
    try:
        person = _authenticate(username, password)
    except Refused:
        SignInTry.objects.filter(pk=tried.pk).delete()
        raise
    if person is None:
        log.warning("wrong password from %s", address)
        return None
    SignInTry.objects.filter(pk=tried.pk).update(right=True)
    _renew_hash(person, password)
    return person


def _renew_hash(person: Person, password: str) -> None:
    """Hash a right password anew when the shop's way of hashing has become stronger."""
    usual = get_hasher()
    kept = identify_hasher(person.password)
    if kept.algorithm == usual.algorithm and not usual.must_update(person.password):
        return
    with perform("password_hash/1", by=person, said={"person": person.username}):
        # As it is: the demo's public password may stay the demo's.
        person.password = make_password(password)
        person.save(update_fields=["password"])


def _one_at_a_time() -> None:
    """Let no two tries be counted at once; SQLite writes one at a time anyway."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {SignInTry._meta.db_table} IN EXCLUSIVE MODE")


def _authenticate(username: str, password: str) -> Person | None:
    """Ask Django; a text that no database can look for is nobody's name."""
    if "\0" in username or not username.isprintable():
        return None
    return authenticate(username=username, password=password)


def _too_many(name: str, address: str, now) -> bool:
    lately = SignInTry.objects.filter(at__gt=now - WINDOW)
    wrong = lately.filter(right=False)
    here = wrong.filter(name=name, address=address)
    last = lately.filter(name=name, address=address, right=True).order_by("-at")
    if right := last.values_list("at", flat=True).first():
        here = here.filter(at__gt=right)
    return (
        here.count() >= FOR_NAME_AT_ADDRESS
        or wrong.filter(address=address).count() >= FOR_ADDRESS
        or wrong.filter(name=name).count() >= FOR_NAME
    )


def locked_out(people: list[Person]) -> set[int]:
    """Return the keys of those among people who must wait somewhere: one statement."""
    names = {digest_of_name(one.username): one.pk for one in people}
    since = timezone.now() - WINDOW
    wrong: dict[tuple[str, str], int] = {}
    tries = SignInTry.objects.filter(name__in=names, at__gt=since).order_by("at")
    for name, address, right in tries.values_list("name", "address", "right"):
        wrong[name, address] = 0 if right else wrong.get((name, address), 0) + 1
    return {
        names[name]
        for (name, _address), count in wrong.items()
        if count >= FOR_NAME_AT_ADDRESS
    }


def let_try_again(*, by: Person, person: Person) -> None:
    """Forget the wrong passwords and PINs of somebody who was locked out."""
    roles.require(by, "manage people")
    with perform("let_try_again/1", by=by, said={"person": person.username}):
        SignInTry.objects.filter(
            name=digest_of_name(person.username), right=False
        ).delete()
        person.pin_tries.filter(right=False).delete()


def change_own_password(
    *, by: Person, password: str, new: str, address: str = ""
) -> Person:
    """Choose one's own password; the present one proves who asks.

    It ends the person's sessions on every device but the one that the caller renews.
    """
    person = prove_password(username=by.username, password=password, address=address)
    if person is None or person.pk != by.pk:
        raise Refused(_("That is not your password."), field="password")
    if new == password:
        raise Refused(_("Choose another one than now."), field="new")
    try:
        validate_password(new, by)
    except ValidationError as no:
        raise ValidationError({"new": no.messages}) from None
    said = {"person": by.username}
    with perform("own_password/1", by=by, said=said):
        by = Person.objects.select_for_update(of=("self",), no_key=True).get(pk=by.pk)
        by.set_password(new)
        by.must_change_password = False
        by.save(update_fields=["password", "must_change_password"])
    return by
