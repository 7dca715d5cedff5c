"""A tablet with an open check on it, for the browser tests."""

import pytest

from tests.browser.at_the_tablet import a_check, all_sent, open_check


@pytest.fixture
def check(live_site):
    return a_check()


@pytest.fixture
def desk(page, live_site, sign_in, check):
    """The page of the check, signed in as the builder, once the server was met."""
    open_check(sign_in(page, "builder"), live_site, check)
    all_sent(page)
    return page
