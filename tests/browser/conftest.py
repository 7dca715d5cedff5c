"""A tablet with an open check on it, for the browser tests."""

import pytest
from django.conf import settings
from django.test import Client, override_settings

from shop.models import Person
from shop.secret import secret_key
from tests.browser.at_the_tablet import a_check, all_sent, open_check


@pytest.fixture
def check(live_site):
    return a_check()


@pytest.fixture
def desk(page, live_site, check):
    """The page of the check, signed in as the builder, once the server was met."""
    bring_a_session(page, live_site, "builder")
    open_check(page, live_site, check)
    # The shell is kept from here on, as on a tablet that was opened once.
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    all_sent(page)
    return page


def bring_a_session(page, site, username):
    """As if signed in before: the form has journeys of its own, and a slow hash."""
    client = Client()
    with override_settings(SECRET_KEY=secret_key(site.home / "secret.key")):
        client.force_login(Person.objects.get(username=username))
    name = settings.SESSION_COOKIE_NAME
    cookie = {"name": name, "value": client.cookies[name].value, "url": site.url}
    page.context.add_cookies([cookie])
