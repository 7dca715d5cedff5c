"""The shop floor as its people do it: from a plug to a part placed on the airframe,
with its chain printed, and the ways that are refused."""

import io
import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect
from pypdf import PdfReader

from shop.demo.pulls import trace_csv
from shop.ledger.verify import verify
from shop.models import Lineage, Part, Person, Placement, Pull, Tool
from tests.browser.conftest import bring_a_session
from tests.shop.making import make_airframe, make_design, make_position
from tests.shop.making_floor import (
    make_laminate,
    make_lot,
    make_material,
    make_mold,
    make_product,
)


@pytest.fixture
def lead(live_site):
    return Person.objects.get(username="lead")


@pytest.fixture
def stock(lead):
    """A laminate of one material, lots for it (one expired), a wax, an airframe."""
    yesterday = timezone.localdate() - timedelta(days=1)
    fiber = make_material(lead, code="CF-200")
    resin = make_material(lead, kind="resin", code="EP")
    make_product(lead, name="Paste wax", minutes_between=60, minutes_before_layup=0)
    make_laminate(lead, code="L-DOOR", fiber=fiber, resin=resin)
    make_lot(lead, material=fiber, number="OLD-1", expires_on=yesterday)
    make_lot(lead, material=resin, number="R-1")
    make_lot(lead, kind="hardener", number="H-1")
    make_design(lead, number="MG-1210", name="Door left")
    airframe = make_airframe(lead, serial="MG2-001")
    make_position(lead, type=airframe.type, code="DOOR-L", name="Door left")


class Floor:
    """What a person does with forms and buttons of the shop floor."""

    def __init__(self, page, site, axe):
        self.page, self.site, self.axe = page, site, axe

    def go(self, path: str) -> None:
        self.page.goto(f"{self.site.url}{path}")

    def link(self, name: str) -> None:
        main = self.page.get_by_role("main")
        main.get_by_role("link", name=name, exact=True).first.click()

    def send(self, button: str = "Save", **values) -> None:
        """Fill the fields (their labels, with _ for a space) and press the button."""
        for label, value in values.items():
            # A label may go on with "(optional)", or when it is needed.
            words = re.compile(f"^{label.replace('_', ' ')}( \\(.*\\))?$")
            field = self.page.get_by_role("main").get_by_label(words)
            if field.evaluate("one => one.tagName") == "SELECT":
                field.select_option(label=value)
            else:
                field.fill(value)
        main = self.page.get_by_role("main")
        main.get_by_role("button", name=button, exact=True).click()

    def warned(self, words: str, button: str = "Save") -> None:
        """The form came back with a warning and a field for the reason: give one."""
        reason = self.page.get_by_role("main").get_by_label(re.compile("^Reason"))
        expect(reason).to_be_visible()
        expect(self.page.get_by_role("alert")).to_contain_text(words)
        assert self.axe(self.page) == []
        self.send(button, Reason="the lead was asked")

    def whole(self, button: str) -> None:
        """The form is there down to its button: what is counted counts all of it."""
        expect(self.page.get_by_role("button", name=button, exact=True)).to_be_visible()

    def title(self, words) -> None:
        expect(self.page.get_by_role("heading", level=1)).to_have_text(words)


@pytest.fixture
def floor(page, live_site, axe, stock):
    return Floor(bring_a_session(page, live_site, "lead"), live_site, axe)


def test_from_a_plug_to_a_part_on_the_airframe_with_its_chain_printed(floor, page):
    floor.go("/tooling/add/")
    floor.send(Kind="plug", Hand="no hand", Code="PLUG-1", Name="Door plug")
    floor.link("Add a step")
    floor.send(Step="polish", Place_in_the_route="1")
    floor.link("Mark done polish")
    floor.send("Mark done", Product="compound", Minutes_worked="90")
    expect(page.get_by_text("compound")).to_be_visible()

    floor.go("/tooling/add/")
    said = {"Code": "M-1", "Name": "Door mold", "From_the_plug": "PLUG-1"}
    floor.send(Kind="mold", Hand="no hand", **said)
    floor.link("Record a coat")
    floor.send(Product="Paste wax")
    floor.link("Record a coat")
    floor.send(Product="Paste wax")
    floor.warned("Too early")  # a coat within the hour
    floor.title("M-1")

    floor.link("Start a lay-up")
    floor.send("Start", Laminate="choose")
    expect(page.get_by_role("alert")).to_contain_text("needs its laminate")
    floor.send("Start", Laminate="L-DOOR A", Room_temperature="21.5")
    floor.title("M-1-1")

    floor.link("Lay plies")
    floor.whole("Save")
    for box in page.get_by_role("checkbox").all():
        box.check()
    page.get_by_label("Lot of CF-200").select_option(label="CF-200 OLD-1")
    floor.send()
    floor.warned("expired")
    floor.link("Mix resin")
    page.get_by_label("Hardener lot").select_option(index=1)
    floor.send(Resin_lot="EP R-1", Resin_as_weighed="300 g", Hardener_as_weighed="90 g")
    floor.link("Close the lay-up")
    floor.send("It cures now")

    floor.link("Record the cure")
    file = {"name": "oven.csv", "mimeType": "text/csv", "buffer": trace_csv(1)}
    page.get_by_label("Trace").set_input_files(file)
    floor.send()
    floor.link("oven.csv")
    expect(page.get_by_role("img", name="Temperatures over time")).to_be_visible()
    assert floor.axe(page) == []
    floor.link("M-1-1")
    floor.link("Take it out")
    floor.send("It is out", How_it_came_out="came out clean")
    floor.warned("Too early", "It is out")

    floor.link("Register a part from it")
    page.get_by_label("Design").select_option(index=1)
    floor.send(Serial="DL-001")
    floor.link("Weigh it")
    today = timezone.localdate().isoformat()
    floor.send(Stage="untrimmed", Mass="1.2 lb", Scale="bench", Weighed_on=today)
    expect(page.get_by_text("1.2 lb")).to_be_visible()

    floor.go("/airframes/")
    floor.link("MG2-001")
    floor.link("Place a part")
    floor.send("Place", Position="Door left", Part_serial="DL-001")
    expect(page.get_by_role("link", name="DL-001").first).to_be_visible()

    part = Part.objects.get(serial="DL-001")
    floor.go(f"/parts/{part.pk}/")
    floor.link("Chain")
    for name in ("PLUG-1", "M-1-1", "CF-200 OLD-1", "MG2-001, Door left"):
        link = page.get_by_role("main").get_by_role("link", name=name, exact=True)
        expect(link.first).to_be_visible()
    assert floor.axe(page) == []
    address = page.get_by_role("link", name="PDF").get_attribute("href")
    pdf = page.request.get(f"{floor.site.url}{address}").body()
    text = PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    for name in ("PLUG-1", "M-1-1", "OLD-1", "MG2-001"):
        assert name in text
    assert Lineage.objects.get(part=part).pull == Pull.objects.get()
    assert Placement.objects.get().part == part
    assert verify().fault == ""


def test_a_mold_on_hold_gives_no_pull_and_its_parts_wait_for_a_decision(
    floor, page, lead
):
    mold = make_mold(lead, code="M-9")
    floor.go(f"/tooling/{mold.pk}/")
    floor.link("Hold")
    floor.send("Hold", Reason="flange cracked")
    floor.go(f"/tooling/{mold.pk}/")
    expect(page.get_by_role("main")).to_contain_text("flange cracked")
    floor.go(f"/tooling/{mold.pk}/pull/")
    floor.send("Start", Laminate="L-DOOR A")
    expect(page.get_by_role("alert")).to_contain_text("flange cracked")
    assert not Pull.objects.exists()
    assert Tool.objects.get(code="M-9").state == "held"
