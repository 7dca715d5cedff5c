"""Who is at the door: a password is proven, and guessing gets slow."""

import contextlib
import hashlib
import hmac
import logging
from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth import authenticate
from django.contrib.auth.hashers import get_hasher, identify_hasher, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform, writing
from shop.models import Person, SignInTry, Tried
from shop.rules import throttling
from shop.wording.spans import wait

log = logging.getLogger(__name__)

# Older ones are forgotten: until then the lead can look through them.
TRIES_KEPT_FOR = timedelta(days=90)


class TooManyTries(Refused):
    """Wrong ones were tried: nobody may go on there for a while."""

    def __init__(self, pause: timedelta, tried: str):
        sentence = (
            _("Too many wrong codes. Wait %(time)s, or ask the lead.")
            if tried == Tried.CODE
            else _("Too many wrong passwords. Wait %(time)s, or ask the lead.")
        )
        super().__init__(sentence % {"time": wait(pause)}, code="wait")


def digest_of_name(username: str) -> str:
    """A keyed digest: people type their password into the field of the name, too."""
    name = username.strip().casefold().encode("utf-8", "replace")
    return hmac.new(settings.SECRET_KEY.encode(), name, hashlib.sha256).hexdigest()


def prove_password(
    *, username: str, password: str, address: str, device: str = ""
) -> Person | None:
    """Return the person whose name and password these are; None when they are not.

    address: where the request came from. device: names a browser in which this person
    was right before ("": none). Raises TooManyTries. The slow hash runs outside of any
    transaction.
    """
    name = digest_of_name(username)
    person = named(username)
    with counted(name, person, address=address, device=device) as attempt:
        person_proven = _authenticate(username, password)
        attempt.right = person_proven is not None
    if person_proven is None:
        log.warning("wrong password from %s", address)
        return None
    _renew_hash(person_proven, password)
    return person_proven


@contextlib.contextmanager
def counted(
    name: str,
    person: Person | None,
    *,
    address: str,
    device: str,
    tried: str = Tried.PASSWORD,
):
    """Count a try before it is looked at, so that guesses sent at once count too.

    The block says whether it was `right`. One that was refused for another reason, the
    server being busy for instance, is not counted. Raises TooManyTries.
    """
    about = {"address": address, "device": device, "tried": tried, "person": person}
    with writing():
        _one_at_a_time()
        now = timezone.now()
        SignInTry.objects.filter(at__lt=now - TRIES_KEPT_FOR).delete()
        where = {"name": name, "address": address, "device": device, "tried": tried}
        shut = throttling.too_many(**where, now=now)
        if shut:
            # Once in a while, so that whoever goes on and on fills no disk.
            tries = SignInTry.objects.filter(
                **{**shut.where, "address": address}, refused=True
            )
            if not tries.filter(at__gt=now - throttling.WINDOW).exists():
                SignInTry.objects.create(name=name, at=now, refused=True, **about)
        else:
            attempt = SignInTry.objects.create(name=name, at=now, **about)
    if shut:
        raise TooManyTries(shut.until - now, tried)
    try:
        yield attempt
    except Refused:
        SignInTry.objects.filter(pk=attempt.pk).delete()
        raise
    if attempt.right:
        SignInTry.objects.filter(pk=attempt.pk).update(right=True)


def came_in(*, person: Person, address: str, browser: str) -> None:
    """Keep for the lead who was let in, from where."""
    SignInTry.objects.create(
        name=digest_of_name(person.username),
        person=person,
        address=address,
        browser=browser,
        tried=Tried.CAME,
        at=timezone.now(),
        right=True,
    )


def named(username: str) -> Person | None:
    """Return who has this name; a text that no database can look for is nobody's."""
    if "\0" in username or not username.isprintable():
        return None
    return Person.objects.filter(username=username).first()


def _renew_hash(person: Person, password: str) -> None:
    """Hash a right password anew when the shop's way of hashing has become stronger."""
    usual = get_hasher()
    kept = identify_hasher(person.password)
    if kept.algorithm == usual.algorithm and not usual.must_update(person.password):
        return
    try:
        # As it is: the demo's public password may stay the demo's. Slow, so nobody who
        # saves waits for it.
        renewed = make_password(password)
    except Refused:
        return  # others wait to be let in: another time
    with writing():
        now = Person.objects.select_for_update(of=("self",), no_key=True)
        now = now.get(pk=person.pk)
        if now.password != person.password:
            return  # another password was set meanwhile
        with perform("password_hash/1", by=now, said={"person": now.username}):
            now.password = renewed
            now.save(update_fields=["password"])
    person.password = renewed


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


def locked_out(people: list[Person]) -> dict[int, datetime]:
    """Return until when somebody has to wait somewhere, by key of those among people
    who have to: two statements."""
    now = timezone.now()
    keys = {digest_of_name(person.username): person.pk for person in people}
    shut = throttling.shut_pins(people, now)
    for name, until in throttling.shut_names(keys, now).items():
        shut[keys[name]] = max(until, shut.get(keys[name], until))
    return shut


def let_try_again(*, by: Person, person: Person) -> None:
    """Forget the wrong passwords and PINs of somebody who was locked out."""
    roles.require(by, "manage people")
    with perform("let_try_again/1", by=by, said={"person": person.username}):
        lift(person)


def lift(person: Person) -> None:
    """Count no wrong one of a person any more, password, code or PIN."""
    SignInTry.objects.filter(name=digest_of_name(person.username), right=False).update(
        lifted=True
    )
    person.pin_tries.filter(right=False).update(lifted=True)


def let_address_try_again(*, by: Person, address: str) -> None:
    """Forget what was tried at an address, and let everybody try there."""
    roles.require(by, "manage people")
    if address not in throttling.shut_addresses():
        raise Refused(_("Nobody has to wait at this address."), code="done")
    with perform("let_address_try_again/1", by=by, said={"address": address}):
        SignInTry.objects.filter(address=address, right=False).update(lifted=True)


def change_own_password(
    *, by: Person, password: str, new: str, address: str = "", device: str = ""
) -> Person:
    """Choose one's own password; the present one proves who asks.

    It ends the person's sessions on every device but the one that the caller renews.
    """
    person = prove_password(
        username=by.username, password=password, address=address, device=device
    )
    if person is None or person.pk != by.pk:
        raise Refused(_("That is not your password."), field="password")
    if new == password:
        raise Refused(_("Choose another one than now."), field="new")
    try:
        validate_password(new, by)
    except ValidationError as no:
        raise ValidationError({"new": no.messages}) from None
    content = {"person": by.username}
    with perform("own_password/1", by=by, said=content):
        by = hold_row(Person, by.pk)
        if by.password != person.password:  # the lead gave another meanwhile
            raise Refused(_("That is not your password."), field="password")
        by.set_password(new)
        by.must_change_password = False
        by.save(update_fields=["password", "must_change_password"])
        by.sessions.all().delete()
    return by
