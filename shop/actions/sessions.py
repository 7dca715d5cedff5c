"""Ending sessions: one's own, and by the lead those of anyone."""

from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Refused, perform
from shop.models import Person, Session


def _require(by: Person, person: Person) -> None:
    roles.require(by, "look" if by.pk == person.pk else "manage people")


def end_session(*, by: Person, person: Person, session: Session) -> None:
    """Sign a person out in one browser, at once."""
    _require(by, person)
    content = {
        "person": person.username,
        "browser": session.browser,
        "address": session.address,
    }
    with perform("session_ended/1", by=by, said=content):
        ended, _each = person.sessions.filter(pk=session.pk).delete()
        if not ended:
            raise Refused(_("This session has ended already."), code="done")


def end_sessions(*, by: Person, person: Person, but: str = "") -> int:
    """Sign a person out everywhere but in one browser (the key of its session), also
    on tablets where a PIN was proven; return in how many browsers."""
    _require(by, person)
    with perform("sessions_ended/1", by=by, said={"person": person.username}) as act:
        ended, _each = person.sessions.exclude(pk=but).delete()
        proofs, _each = person.proofs.all().delete()
        act.result = {"ended": ended, "tablets": proofs}
    return ended
