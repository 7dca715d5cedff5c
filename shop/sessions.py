"""Sessions that know whose they are, so that they can be listed and ended."""

from datetime import timedelta

from django.contrib.auth import BACKEND_SESSION_KEY, SESSION_KEY
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.signals import user_logged_in
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from shop.actions.signing_in import came_in
from shop.ledger import writing
from shop.models import Person, Session
from shop.models.prepared_statements import Prepared, Slot
from shop.wording.browsers import words_of

# What a session that began under an earlier release names as who let it in.
EARLIER_BACKENDS = {
    "django.contrib.auth.backends.ModelBackend": "shop.sessions.PeopleOfTheShop"
}
# How a person came in, kept with the session where its key changes.
CAME = "came"
# When a session was used last is told to this many minutes, not more often written.
COARSE = timedelta(minutes=5)
# Asked by every page.
HOLDS = Prepared(
    lambda: Session.objects.filter(session_key=Slot("key"), expire_date__gt=Slot("now"))
)
BY_KEY = Prepared(lambda: Person.objects.filter(pk=Slot("key")).order_by())


class PeopleOfTheShop(ModelBackend):
    """Django's own, but for how it finds whose a session is."""

    def get_user(self, user_id):
        person = BY_KEY.first(key=user_id)
        return person if person and self.user_can_authenticate(person) else None


class SessionStore(DatabaseStore):
    used_at = None

    @classmethod
    def get_model_class(cls):
        return Session

    def decode(self, session_data):
        data = super().decode(session_data)
        backend = data.get(BACKEND_SESSION_KEY)
        if backend in EARLIER_BACKENDS:
            data[BACKEND_SESSION_KEY] = EARLIER_BACKENDS[backend]
        return data

    def _get_session_from_db(self):
        row = HOLDS.first(key=self.session_key, now=timezone.now())
        self.used_at = row.used_at if row else None
        if row is None:
            self._session_key = None
        return row

    def create_model_instance(self, data):
        row = super().create_model_instance(data)
        came = data.get(CAME, {})
        row.person_id = data.get(SESSION_KEY)
        row.browser = came.get("browser", "")
        row.address = came.get("address", "")
        row.since = parse_datetime(came["since"]) if came else None
        row.used_at = self.used_at = timezone.now()
        return row

    def was_used(self) -> None:
        """Keep that somebody was here, now and then."""
        now = timezone.now()
        if self.used_at and now - self.used_at > COARSE:
            with writing():
                Session.objects.filter(pk=self.session_key).update(used_at=now)
            self.used_at = now


def note_arrival(sender, request, user, **_) -> None:
    """Keep with a new session how its person came; forget those that have run out."""
    now = timezone.now()
    browser = words_of(request.META.get("HTTP_USER_AGENT", ""))
    address = request.META.get("REMOTE_ADDR") or ""
    came = {"browser": browser, "address": address, "since": now.isoformat()}
    request.session[CAME] = came
    came_in(person=user, address=address, browser=browser)
    Session.objects.filter(expire_date__lt=now).delete()


def watch_arrivals() -> None:
    user_logged_in.connect(note_arrival, dispatch_uid="shop.sessions")
