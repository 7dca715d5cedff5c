"""The page that hands out the shop's certificate, as a tablet without it sees it."""

import pytest

from shop.serving import authority, certificates
from tests.around import Site
from tests.conftest import database_environment


@pytest.fixture
def shop(committed_db, tmp_path):
    """A server that has an authority already, as after `serve --shop`."""
    issuer = authority.open_authority(
        tmp_path / "keys", "Invented Gliders", ["shop-pc"], certificates.utc_now()
    )
    site = Site(tmp_path, database_environment(), warm=True).start()
    yield site, issuer
    site.kill()


@pytest.mark.parametrize("tablet", ["landscape", "portrait"])
def test_anyone_can_read_how_to_trust_the_shop_and_fetch_it(
    tablet, shop, open_page, axe
):
    site, issuer = shop
    page = open_page(tablet)
    page.goto(f"{site.url}/trust/")
    assert page.get_by_role("heading", level=1).inner_text() == (
        "Trust this shop's server"
    )
    assert page.get_by_text(issuer.fingerprint).is_visible()
    # One drawing per step, each told in words too.
    drawings = page.get_by_role("main").get_by_role("img")
    assert drawings.count() == 7
    assert all(drawing.get_attribute("aria-label") for drawing in drawings.all())
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"]
    assert axe(page) == []
    with page.expect_download() as fetched:
        page.get_by_role("link", name="Fetch the certificate").click()
    assert fetched.value.suggested_filename == "shop-certificate.crt"
    assert fetched.value.path().read_bytes() == issuer.der


def test_without_an_authority_it_says_how_one_is_made(live_site, page, axe):
    page.goto(f"{live_site.url}/trust/")
    assert page.get_by_text("python3 manage.py serve --shop").is_visible()
    assert page.get_by_role("link", name="Fetch the certificate").count() == 0
    assert axe(page) == []


def test_a_person_signs_in_with_the_fixture_and_the_orm_sees_it(
    live_site, page, sign_in
):
    from shop.models import Person

    sign_in(page, "builder")
    assert Person.objects.get(username="builder").last_login is not None
