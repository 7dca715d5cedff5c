"""A second factor: set, proven, taken away by its owner, reset by the lead."""

from django.utils import timezone
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Act, Refused, perform, writing
from shop.models import Person, RecoveryCode, SecondFactor, Tried
from shop.rules import second_factor as rules

from .locks import locked
from .signing_in import counted, digest_of_name, lift


def factor_of(person: Person) -> SecondFactor | None:
    return SecondFactor.objects.filter(person=person).first()


def set_second_factor(
    *, by: Person, offered: str, code: str, here: str = ""
) -> list[str]:
    """Set one's own second factor and return the recovery codes, told only now.

    offered: the secret as it was offered; the code shows that a device holds it. here:
    the key of the session that goes on; all others end, being proven by less.
    """
    secret = rules.opened(by, offered, rules.OFFER_SECONDS)
    if secret is None:
        message = _("This page was open for too long. Take the new picture below.")
        raise Refused(message, code="stale")
    step = rules.step_of(secret, rules.typed(code), timezone.now(), 0)
    if step is None:
        message = _("That is not the code just now. Does the device's clock run right?")
        raise Refused(message, field="code")
    with perform("second_factor/1", by=by, said={"person": by.username}) as act:
        by = locked(by)
        if factor_of(by):
            raise Refused(_("You have a second factor already."), code="done")
        factor = SecondFactor.objects.create(
            person=by,
            sealed_secret=rules.sealed({"person": by.pk, "secret": secret}),
            set_at=act.now,
            last_step=step,
        )
        codes = _recovery_codes(factor)
        by.sessions.exclude(pk=here).delete()
    return codes


def _recovery_codes(factor: SecondFactor) -> list[str]:
    codes = rules.new_recovery_codes()
    RecoveryCode.objects.bulk_create(
        RecoveryCode(factor=factor, sha256=rules.digest_of_code(code)) for code in codes
    )
    return codes


def prove_second_factor(
    *, person: Person, code: str, address: str, device: str = ""
) -> bool:
    """Whether this is a code of the person's, of the clock or of the paper.

    Each opens once. Raises TooManyTries, as for passwords, and after so many in a day.
    """
    name = digest_of_name(person.username)
    where = {"address": address, "device": device, "tried": Tried.CODE}
    with counted(name, person, **where) as attempt:
        attempt.right = _is_right(person, rules.typed(code))
    return attempt.right


def _is_right(person: Person, code: str) -> bool:
    factor = factor_of(person)
    if factor is None:
        return False
    if len(code) != rules.DIGITS:
        return _spend(factor, person, code)
    secret = rules.opened(person, factor.sealed_secret)
    step = secret and rules.step_of(secret, code, timezone.now(), factor.last_step)
    if not step:
        return False
    with writing():
        # Of two who show the same code at once, one is right.
        unused = SecondFactor.objects.filter(pk=factor.pk, last_step__lt=step)
        return bool(unused.update(last_step=step))


class _Spent(Exception):
    """There is no such code, or it was used."""


def _spend(factor: SecondFactor, person: Person, code: str) -> bool:
    unused = RecoveryCode.objects.filter(
        factor=factor, sha256=rules.digest_of_code(code), used_at=None
    )
    if not unused.exists():
        return False
    content = {"person": person.username}
    try:
        with perform("recovery_code/1", by=person, said=content) as act:
            locked(person)
            if not unused.update(used_at=act.now):
                raise _Spent
            act.result = {"left": factor.codes.filter(used_at=None).count()}
    except _Spent:
        return False
    return True


def _prove_own(by: Person, code: str, where: dict) -> None:
    if not prove_second_factor(person=by, code=code, **where):
        raise Refused(_("That is not a code that works now."), field="code")


def renew_recovery_codes(*, by: Person, code: str, **where) -> list[str]:
    """Return new recovery codes, told only now; those before open nothing more.

    where: address and device, as for prove_second_factor.
    """
    _prove_own(by, code, where)
    with perform("recovery_codes/1", by=by, said={"person": by.username}):
        factor = factor_of(locked(by))
        if factor is None:  # taken away meanwhile
            raise Refused(_("There is no second factor any more."), field="code")
        factor.codes.all().delete()
        return _recovery_codes(factor)


def remove_second_factor(*, by: Person, code: str, here: str = "", **where) -> None:
    """Take one's own away; a code shows that it is its owner who does."""
    _prove_own(by, code, where)
    with perform("second_factor_removed/1", by=by, said={"person": by.username}):
        by = locked(by)
        _delete(by)
        by.sessions.exclude(pk=here).delete()


def reset_second_factor(*, by: Person, person: Person) -> None:
    """Take away that of somebody who lost the device, and end their sessions.

    The password still has to be right; where the shop wants it they set another.
    """
    roles.require(by, "manage people")
    if by.pk == person.pk:
        message = _(
            "Take away your own with a code, on the page of your second factor."
        )
        raise Refused(message)
    with perform(
        "second_factor_reset/1", by=by, said={"person": person.username}
    ) as act:
        _reset(act, person)


def let_in_from_the_terminal(*, person: Person) -> None:
    """Forget wrong tries and the second factor of a person, the last lead for instance.

    Asked at the server's own terminal, where nobody is signed in.
    """
    content = {"person": person.username, "at": "terminal"}
    with perform("second_factor_reset/1", by=None, said=content) as act:
        lift(person)
        _reset(act, person)


def _reset(act: Act, person: Person) -> None:
    person = locked(person)
    act.result = {"was_set": _delete(person)}
    person.sessions.all().delete()


def _delete(person: Person) -> bool:
    deleted, _each = SecondFactor.objects.filter(person=person).delete()
    return bool(deleted)
