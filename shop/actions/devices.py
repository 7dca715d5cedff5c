"""Devices: tokens for gauges, scripts and calendars, made and withdrawn."""

import secrets
from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.actions.locks import locked
from shop.ledger import Refused, perform, writing
from shop.models import (
    Device,
    Opens,
    Person,
    SignInTry,
    Tried,
    digest_of_token,
)
from shop.numeric.units import S_PER_MIN
from shop.rules import throttling

from .signing_in import digest_of_name, prove_password

NOBODY = ""
SEEN_EVERY = timedelta(minutes=5)


class TooManyTokens(Refused):
    """Wrong tokens were tried: this address may not go on for a while."""

    def __init__(self):
        minutes = throttling.WINDOW.total_seconds() // S_PER_MIN
        sentence = _("Too many wrong tokens. Wait %(minutes)d minutes.")
        super().__init__(sentence % {"minutes": minutes}, code="wait")


def make_device(
    *,
    by: Person,
    name: str,
    person: Person,
    opens: str,
    password: str,
    whole_shop: bool = False,
    address: str = "",
) -> tuple[Device, str]:
    """Make a token and return it with its device; it is told only now.

    password: of the person for whom it will act, who so agrees to it. A calendar of
    one's own everybody makes; all else is the lead's.
    """
    own = person == by and opens == Opens.CALENDAR
    roles.require(by, "look" if own else "manage tablets")
    if opens not in Opens.values:
        raise Refused(_("Choose what it opens."), field="opens")
    if opens == Opens.WRITES and not roles.may(person, "measure"):
        complaint = _("%(name)s may record nothing: choose to read, or another person.")
        raise Refused(complaint % {"name": person.name}, field="opens")
    if prove_password(username=person.username, password=password, address=address) != (
        person
    ):
        complaint = _("That is not the password of %(name)s.") % {"name": person.name}
        raise Refused(complaint, field="password")
    if person.must_change_password:
        complaint = _("%(name)s signs in first, and chooses a password.")
        raise Refused(complaint % {"name": person.name}, field="person")
    token = secrets.token_urlsafe(32)
    content = {"name": name, "person": person.username, "opens": opens}
    content["whole_shop"] = whole_shop
    with perform("device/1", by=by, said=content) as act:
        device = Device(
            name=name.strip(),
            opens=opens,
            whole_shop=whole_shop,
            token_sha256=digest_of_token(token),
            person=person,
            made_by=by,
            made_at=act.now,
        )
        device.full_clean()
        device.save()
        act.result = {"device": str(device.pk)}
    return device, token


def withdraw_device(*, by: Person, device: Device) -> None:
    """End what a token opens, at once. The lead does, and for whom it acts."""
    roles.require(by, "look" if device.person_id == by.pk else "manage tablets")
    content = {"device": str(device.pk)}
    with perform("device_withdrawn/1", by=by, said=content) as act:
        device = locked(device)
        if device.withdrawn_at:
            raise Refused(_("This was withdrawn already."), code="done")
        device.withdrawn_at = act.now
        device.save(update_fields=["withdrawn_at"])


def device_of(token: str, *opens: str) -> Device | None:
    """Return the device that holds a token and may come in; None where none does."""
    rows = Device.objects.select_related("person")
    device = rows.filter(token_sha256=digest_of_token(token)).first()
    if (
        device is None
        or device.withdrawn_at
        or device.opens not in opens
        or device.refused_because
    ):
        return None
    return device


def may_try(address: str) -> bool:
    """Whether an address may go on trying tokens that open nothing.

    A right token is never asked this, so that whoever guesses locks nobody out.
    """
    since = timezone.now() - throttling.WINDOW
    tries = throttling.wrong_tries(since).filter(tried=Tried.TOKEN, address=address)
    return tries.count() < throttling.FOR_ADDRESS


def count_wrong(address: str) -> None:
    """Count a wrong token; it shuts no door to passwords, being of a device."""
    with writing():
        SignInTry.objects.create(
            name=digest_of_name(NOBODY),
            device=Tried.TOKEN,
            tried=Tried.TOKEN,
            address=address,
            at=timezone.now(),
        )


def note_seen(device: Device) -> None:
    """Note now and then that it is still there."""
    now = timezone.now()
    if device.seen_at is None or device.seen_at < now - SEEN_EVERY:
        with writing():
            Device.objects.filter(pk=device.pk).update(seen_at=now)
