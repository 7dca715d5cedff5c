"""Tablets: enrolled by the lead, revoked when lost; PINs proven once a shift."""

import logging
import secrets
from datetime import timedelta

from django.contrib.auth.hashers import check_password, make_password
from django.db.models import Exists, OuterRef
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform, writing
from shop.models import Person, PinTry, Proof, Tablet, digest_of_token
from shop.models.prepared_statements import Prepared, Slot
from shop.rules import throttling
from shop.wording.spans import wait

from .signing_in import prove_password

log = logging.getLogger(__name__)

SHIFT = timedelta(hours=12)
SHORTEST_PIN, LONGEST_PIN = 4, 12


class TooManyTries(Refused):
    """Wrong PINs were tried: nobody may try again for a while."""

    def __init__(self, pause: timedelta):
        message = f"Too many wrong PINs. Wait {wait(pause)}, or ask the lead."
        super().__init__(message, field="pin", code="wait")


class WrongPin(Refused):
    def __init__(self):
        super().__init__("That is not the PIN.", field="pin", code="pin")


def enroll(*, by: Person, name: str) -> tuple[Tablet, str]:
    """Enroll a tablet and return it with its token, which is told only now."""
    roles.require(by, "manage tablets")
    name = name.strip()
    if not name or len(name) > 60:
        raise Refused(_("Give the tablet a name of at most 60 signs."), field="name")
    token = secrets.token_urlsafe(32)
    with perform("tablet/1", by=by, said={"name": name}) as act:
        tablet = Tablet.objects.create(
            name=name,
            token_sha256=digest_of_token(token),
            enrolled_by=by,
            enrolled_at=act.now,
        )
        act.result = {"tablet": str(tablet.pk)}
    return tablet, token


def revoke(*, by: Person, tablet: Tablet, reason: str) -> None:
    """End a tablet's access at once; what it still holds can be recovered."""
    roles.require(by, "manage tablets")
    if not reason.strip():
        raise Refused(_("Say why it is revoked."), field="reason")
    content = {"tablet": str(tablet.pk), "reason": reason}
    with perform("tablet_revoked/1", by=by, said=content) as act:
        tablet = hold_row(Tablet, tablet.pk)
        if tablet.revoked_at:
            raise Refused(_("This tablet is revoked already."), code="done")
        tablet.revoked_at = act.now
        tablet.save(update_fields=["revoked_at"])
        tablet.proofs.all().delete()


def set_pin(
    *, by: Person, pin: str, password: str, address: str = "", device: str = ""
) -> None:
    """Set one's own PIN; the password proves who asks.

    What was guessed of the old one counts no more, so that nobody can keep its owner
    from having one.
    """
    proven = prove_password(
        username=by.username, password=password, address=address, device=device
    )
    if proven != by:
        raise Refused(_("That is not your password."), field="password")
    if not looks_like_a_pin(pin):
        raise Refused(_("A PIN is 4 to 12 digits."), field="pin")
    if len(set(pin)) == 1 or pin in "01234567890" or pin in "09876543210":
        raise Refused(_("That PIN is the first that anybody tries."), field="pin")
    with perform("pin/1", by=by, said={"person": by.username}):
        by.pin = make_password(pin)
        by.save(update_fields=["pin"])
        # A new PIN starts with a clean sheet, on the tablets too.
        by.proofs.all().delete()
        by.pin_tries.filter(right=False).update(lifted=True)


def looks_like_a_pin(text: str) -> bool:
    return (
        text.isascii() and text.isdigit() and SHORTEST_PIN <= len(text) <= LONGEST_PIN
    )


def prove(*, tablet: Tablet, person: Person, pin: str) -> Proof:
    """Prove a PIN on a tablet for a shift.

    What was claimed before is not confirmed by it: the person looks at each act.
    """
    prove_pin(person=person, pin=pin, tablet=tablet)
    content = {"tablet": str(tablet.pk), "person": person.username}
    with perform("prove/1", by=person, said=content, device=str(tablet.pk)) as act:
        proof, _new = Proof.objects.update_or_create(
            tablet=tablet, person=person, defaults={"until": act.now + SHIFT}
        )
    return proof


def prove_pin(*, person: Person, pin: str, tablet: Tablet | None = None) -> None:
    """Prove that this is the person's PIN, on a tablet or to sign with.

    Raises WrongPin, and TooManyTries after five wrong ones in a quarter of an hour or
    twenty in a day, by person wherever it was, so that a stack of tablets buys no more
    guesses.
    """
    if not person.pin:
        message = _("Set your PIN first: sign in and choose PIN.")
        raise Refused(message, field="pin", code="no_pin")
    with writing():
        # One try at a time for one person: guesses sent at once are counted too.
        hold_row(Person, person.pk)
        now = timezone.now()
        if until := throttling.too_many_pins(person, now):
            raise TooManyTries(until - now)
        tried = PinTry.objects.create(tablet=tablet, person=person, at=now, right=False)
    # The slow hash keeps nobody from writing.
    try:
        right = check_password(pin, person.pin)
    except Refused:
        PinTry.objects.filter(pk=tried.pk).delete()
        raise
    if not right:
        where = f"on tablet {tablet.pk}" if tablet else "to sign"
        log.warning("wrong PIN for %s %s", person.username, where)
        raise WrongPin
    PinTry.objects.filter(pk=tried.pk).update(right=True)


OF_THE_CREW = Prepared(
    lambda: Person.objects.filter(username=Slot("username"), is_active=True).annotate(
        has_proven=Exists(
            Proof.objects.filter(
                tablet=Slot("tablet"), person=OuterRef("pk"), until__gt=Slot("now")
            )
        )
    )
)


def of_the_crew(tablet: Tablet, username: str) -> Person | None:
    """Who goes by that name; has_proven: by a PIN, on this tablet, in this shift."""
    return OF_THE_CREW.first(username=username, tablet=tablet.pk, now=timezone.now())
