"""What people may change about themselves, and what the lead may about people."""

from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db.models import Q
from django.utils.translation import gettext as _

from shop import roles
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform
from shop.models import Person, Role, ShopIdentity, Unit


def set_units(person: Person, *, units: str) -> None:
    """Show lengths in "mm" or "in" to this person; what was typed stays as typed."""
    content = {"person": person.username, "units": units}
    with perform("person_units/1", by=person, said=content):
        person.units = units
        person.save(update_fields=["units"])


def add_person(
    *,
    by: Person,
    username: str,
    name: str,
    role: str,
    password: str,
    certificate_kind: str = "",
    certificate_number: str = "",
) -> Person:
    """Give somebody an account. The password goes nowhere but into its hash.

    Whoever gave it knows it: it opens the page to choose one of one's own, no more.
    """
    roles.require(by, "manage people")
    fields = {
        "name": name,
        "role": role,
        "certificate_kind": certificate_kind,
        "certificate_number": certificate_number,
    }
    with perform("person/1", by=by, said={"username": username, **fields}) as act:
        newest = ShopIdentity.objects.order_by("-id").first()
        person = Person.objects.create_user(
            username,
            password,
            must_change_password=True,
            units=newest.units if newest else Unit.MM,
            **fields,
        )
        act.result = {"person": person.pk}
    return person


def somebody_can_sign_in() -> bool:
    """Whether anybody has a password; where an export was imported nobody has."""
    with_one = ~Q(password__startswith=UNUSABLE_PASSWORD_PREFIX)
    return Person.objects.filter(with_one).exists()


def add_first_lead(*, username: str, name: str, password: str) -> Person:
    """Give a new shop its lead, who then adds everybody else on the people page.

    Asked at the server's own terminal, where nobody can be signed in yet; refused as
    soon as anybody can. Where people came without their passwords (an export holds
    none), a lead who is there gets one.
    """
    content = {"username": username, "name": name, "role": Role.LEAD.value}
    with perform("first_person/1", by=None, said=content) as act:
        if somebody_can_sign_in():
            raise Refused(_("There are people already: the lead adds others."))
        person = Person.objects.filter(username=username).first()
        if person is None:
            person = Person.objects.create_user(
                username, password, name=name, role=Role.LEAD
            )
        elif person.role != Role.LEAD or not person.is_active:
            raise Refused(_("%(name)s does not lead the shop.") % {"name": person})
        else:
            person.set_password(password)
            person.save(update_fields=["password"])
        act.result = {"person": person.pk}
    return person


def _locked(person: Person) -> Person:
    return hold_row(Person, person.pk)


def _refuse_losing_the_last_lead(person: Person, field: str) -> None:
    leads = Person.objects.filter(role=Role.LEAD, is_active=True)
    if person.role == Role.LEAD and not leads.exclude(pk=person.pk).exists():
        raise Refused(_("Somebody must remain who leads the shop."), field=field)


def change_role(*, by: Person, person: Person, role: str) -> Person:
    """Give a person another role; there is always one lead left."""
    roles.require(by, "manage people")
    content = {"person": person.username, "role": role}
    with perform("person_role/1", by=by, said=content) as act:
        person = _locked(person)
        if role != Role.LEAD:
            _refuse_losing_the_last_lead(person, "role")
        act.result = {"before": person.role}
        person.role = role
        person.full_clean(exclude=["password"])
        person.save(update_fields=["role"])
    return person


def set_certificate(
    *, by: Person, person: Person, certificate_kind: str, certificate_number: str
) -> Person:
    """Say which certificate a person holds, as its paper says. Signatures before keep
    what was held then."""
    roles.require(by, "manage people")
    fields = {
        "certificate_kind": certificate_kind.strip(),
        "certificate_number": certificate_number.strip(),
    }
    with perform(
        "person_certificate/1", by=by, said={"person": person.username, **fields}
    ) as act:
        person = _locked(person)
        for name, value in fields.items():
            act.result[name] = getattr(person, name)
            setattr(person, name, value)
        if not all(fields.values()) and any(fields.values()):
            lacking = next(name for name, value in fields.items() if not value)
            raise Refused(_("A certificate has a kind and a number."), field=lacking)
        person.full_clean(exclude=["password"])
        person.save(update_fields=[*fields])
    return person


def set_active(*, by: Person, person: Person, active: bool) -> Person:
    """Let a person sign in, or no longer. Records keep naming them.

    With the person end the sessions on every device, and what a PIN proved.
    """
    roles.require(by, "manage people")
    content = {"person": person.username, "active": active}
    with perform("person_active/1", by=by, said=content):
        person = _locked(person)
        if not active:
            _refuse_losing_the_last_lead(person, "active")
            person.sessions_ended += 1
            person.proofs.all().delete()
            person.sessions.all().delete()
        person.is_active = active
        person.save(update_fields=["is_active", "sessions_ended"])
    return person


def reset_password(*, by: Person, person: Person, password: str) -> Person:
    """Set a new password, which ends the person's sessions on every device.

    It opens nothing but the page to choose another, so that whoever set it cannot act
    as that person unseen: then its owner's no longer opens anything either.
    """
    roles.require(by, "manage people")
    with perform("person_password/1", by=by, said={"person": person.username}):
        person = _locked(person)
        person.set_password(password)
        person.must_change_password = True
        person.save(update_fields=["password", "must_change_password"])
        person.sessions.all().delete()
    return person
