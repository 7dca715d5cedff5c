"""A bay that protective film keeps open, until it is out and somebody else closes it:
clecos tapped on the map of the holes, a lost one, the inspector's release."""

from playwright.sync_api import expect

from qa.models import CloseOut, HolePattern
from shop.ledger.verify import verify
from shop.models import Person, TemporaryState
from tests.browser.conftest import bring_a_session
from tests.qa.test_close_out import Ready
from tests.qa.test_holes_pages import measured
from tests.qa.test_temporary import pattern_at


def put_film_in(builder, site, ready) -> None:
    joint = f"/joints/{ready.joint.pk}/on/{ready.airframe.pk}/"
    builder.goto(f"{site.url}{joint}")
    builder.get_by_role("link", name="Put something in here").click()
    builder.get_by_label("What", exact=True).select_option("film")
    builder.locator("svg a").nth(2).click()
    expect(builder.get_by_label("Where, in words")).to_have_value("station 3")
    builder.get_by_label("Why", exact=True).fill("against scratches")
    builder.get_by_role("button", name="It is in").click()
    expect(builder.get_by_role("cell", name="protective film")).to_be_visible()


def tap_clecos_in(builder, pattern: HolePattern) -> None:
    builder.get_by_role("link", name=pattern.number).click()
    for hole in ("1", "3"):
        builder.locator("svg a").nth(int(hole) - 1).click()
        expect(builder.get_by_role("checkbox", name=hole)).to_be_checked()
    builder.get_by_label("Size of those").select_option("1/8 in")
    builder.get_by_label("Why, or a note").fill("holds it for drilling")
    builder.get_by_role("button", name="They are in").click()
    expect(builder.get_by_text("2 in, as TI-002.")).to_be_visible()


def take_out(page, item: str) -> None:
    page.get_by_role("link", name=f"Take out {item}").click()
    page.get_by_role("button", name="Take out").click()
    expect(page.get_by_role("heading", name="Must come off")).to_be_visible()


def test_a_bay_is_open_until_the_film_is_out(open_page, live_site, axe):
    crew = {person.username: person for person in Person.objects.all()}
    ready = Ready(crew)
    pattern = pattern_at(crew, ready.joint)
    off = f"{live_site.url}/airframes/{ready.airframe.pk}/temporary/"
    bay = f"{live_site.url}/airframes/{ready.airframe.pk}/close-out/bay/"
    bay += f"{ready.joint.position_id}/"

    builder = bring_a_session(open_page("portrait"), live_site, "builder")
    put_film_in(builder, live_site, ready)
    assert axe(builder) == []
    tap_clecos_in(builder, pattern)
    assert axe(builder) == []

    lead = bring_a_session(open_page("portrait"), live_site, "lead")
    lead.goto(bay)
    expect(lead.get_by_role("link", name="TI-001 protective film")).to_be_visible()
    expect(lead.get_by_role("link", name="TI-002 cleco 1/8 in")).to_be_visible()
    expect(lead.get_by_role("button", name="Close it")).to_have_count(0)
    assert axe(lead) == []

    builder.goto(off)
    take_out(builder, "TI-001")
    builder.get_by_role("link", name="TI-002").first.click()
    builder.get_by_role("link", name="Cannot be found").click()
    builder.get_by_role("checkbox", name="1", exact=True).uncheck()
    builder.get_by_role("button", name="Cannot be found").click()
    expect(builder.get_by_role("heading", name="Must come off")).to_be_visible()
    take_out(builder, "TI-002")

    inspector = bring_a_session(open_page("portrait"), live_site, "inspector")
    inspector.goto(bay)
    inspector.get_by_role("link", name="TI-002 cleco 1/8 in").click()
    assert axe(inspector) == []
    inspector.get_by_role("link", name="Release without it").click()
    inspector.get_by_label("Why it may be closed").fill("seen in the bin")
    inspector.get_by_role("button", name="Release without it").click()
    expect(inspector.get_by_text("Nothing must come off")).to_be_visible()

    lead.goto(bay)
    holes = lead.get_by_role("link", name=f"{pattern.number} Door to frame")
    expect(holes).to_be_visible()  # nobody measured them
    measure_holes(crew, pattern, ready)
    lead.reload()
    lead.get_by_role("button", name="Close it").click()
    expect(lead.get_by_text("CO-001: closed by")).to_be_visible()
    assert axe(lead) == []
    assert CloseOut.objects.get().bay == ready.joint.position
    assert not TemporaryState.objects.filter(inside__gt=0).exists()
    assert verify().fault == ""


def measure_holes(crew, pattern, ready) -> None:
    places = [(str(20 * n), "0") for n in range(pattern.current.holes.count())]
    measured(crew["engineer"], pattern, *places, part=ready.check.fit_up.part)
