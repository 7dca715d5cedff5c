"""Every page, with the demo on it: opens, fits its tablet, axe finds nothing.

The pages are those of the url table, filled as the permission test fills them, so that
a new page is covered by being there.
"""

import pytest
from django.db import connection
from django.test import Client

from qa import demo
from shop.actions import tablets
from shop.models import Person
from tests.around import by_hand
from tests.conftest import slow_hash
from tests.test_permissions import LEAD, OPEN, TABLET, addresses, contract

pytestmark = pytest.mark.slow

# Files, answers in JSON and addresses that only take a form or lead on.
NO_PAGE = ("api_", "service_worker", "tablet", "photo", "health", "trust_certificate")
LEADS_ON = {"sign_in", "scan", "today"}
# By how much tables are wider than the room they may scroll in.
RUN_OFF = """[...document.querySelectorAll('.table-scroll')]
    .map((room) => room.scrollWidth - room.clientWidth).filter((more) => more > 1)"""


@pytest.fixture
def pages(live_site):
    """Addresses of the pages that the demo's lead may open, by url name."""
    demo.load()
    lead = Person.objects.get(username="lena")
    # The server knows no quick hash: the demo's people were made with the tests' own.
    lead.password = slow_hash()
    with by_hand():
        lead.save(update_fields=["password"])
    tablets.enroll(by=lead, name="Hangar 1")
    said = contract()
    found = {
        name: address
        for name, address in addresses().items()
        if not name.startswith(NO_PAGE)
        and name not in LEADS_ON
        and not address.endswith((".pdf", ".csv", ".jpg"))
        and said[name] != TABLET
        and (said[name] == OPEN or said[name] >= LEAD)
    }
    client = Client()
    client.force_login(lead)
    # No page: what only takes a form (405), leads on (302), is not in the demo (404).
    opens = {
        name: address
        for name, address in found.items()
        if client.get(address).status_code not in (302, 404, 405)
    }
    connection.close()
    assert len(opens) > 60, sorted(opens)
    return opens


def test_every_page_opens_fits_and_is_accessible(
    pages, live_site, open_page, sign_in, axe
):
    faults = []
    for tablet in ("landscape", "portrait"):
        page = sign_in(open_page(tablet), "lena")
        for name, address in pages.items():
            status = page.goto(live_site.url + address).status
            faults += looked_at(page, f"{name} {tablet}", status)
            if tablet == "landscape":
                faults += [f"{name}: {found}" for found in axe(page)]
    assert faults == []


def looked_at(page, name: str, status: int) -> list[str]:
    faults = []
    if status != 200:
        faults.append(f"{name}: {status}")
    if page.locator("h1").count() != 1:
        faults.append(f"{name}: {page.locator('h1').count()} headings of first rank")
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    if wide > 0:
        faults.append(f"{name}: {wide} px too wide")
    cut = page.evaluate(RUN_OFF)
    return faults + [f"{name}: a table runs {more} px off the edge" for more in cut]
