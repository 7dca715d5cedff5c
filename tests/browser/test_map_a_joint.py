"""An engineer maps a joint: uploads a file, puts its mistakes right, looks, saves."""

import pytest

from qa.models import Joint
from shop.models import Person
from tests.browser.conftest import bring_a_session, hold
from tests.conftest import TABLETS
from tests.qa.making import make_joint, make_position, make_stations, make_type, mm

BAD = """station,x_mm,y_mm,normal_x,normal_y,gap_min_mm,gap_max_mm
1,400,0,0,-1,1.5,3
2,800,abc,1,0,1.5,3
3,400,500,0,1,1.5,3
4,0,250,-1,0,3.5,3
"""
STATIONS = "Stations"


@pytest.fixture
def engineer(live_site):
    return Person.objects.get(username="engineer")


@pytest.fixture
def positions(engineer):
    kind = make_type(engineer, code="MG-2")
    return [
        make_position(engineer, type=kind, code=code, name=name)
        for code, name in (("DOOR", "Left door"), ("FRAME", "Left door frame"))
    ]


def choose(page, name, **option):
    page.get_by_role("combobox", name=name, exact=True).select_option(**option)


def test_a_file_with_mistakes_is_put_right_in_the_text_and_saved(
    live_site, page, axe, positions
):
    def clean():
        for tablet in TABLETS:
            hold(page, tablet)
            assert axe(page) == [], tablet

    bring_a_session(page, live_site, "engineer")
    page.goto(f"{live_site.url}/joints/")
    page.get_by_role("main").get_by_role("link", name="Map a joint").first.click()
    clean()
    page.get_by_label("A CSV or a DXF file").set_input_files(
        {"name": "door.csv", "mimeType": "text/csv", "buffer": BAD.encode()}
    )
    page.get_by_role("button", name="Read the file").click()

    # Both mistakes are told by line and column, with the line; each leads to it.
    told = page.get_by_role("region", name="2 things to put right in the text")
    told.wait_for()
    assert told.get_by_role("link").all_inner_texts() == [
        "Line 3, y_mm",
        "Line 5, gap_min_mm",
    ]
    assert "2,800,abc,1,0,1.5,3" in told.inner_text()
    clean()
    told.get_by_role("link", name="Line 3, y_mm").click()
    text = page.get_by_label(STATIONS, exact=True)
    chosen = text.evaluate("t => t.value.slice(t.selectionStart, t.selectionEnd)")
    assert chosen == "2,800,abc,1,0,1.5,3"

    # What is typed replaces the chosen line; then the map is there.
    page.keyboard.insert_text("2,800,250,1,0,1.5,3")
    text.fill(text.input_value().replace("3.5,3", "1.5,3"))
    page.get_by_role("button", name="Look at it").first.click()
    drawn = page.get_by_role("img", name="4 stations")
    drawn.wait_for()
    assert page.get_by_text("4 stations, not saved yet.").is_visible()
    clean()
    assert not Joint.objects.exists()

    # The rest of the form was not lost and is asked for on saving.
    page.get_by_label("Joint number").fill("J-9")
    page.get_by_role("button", name="Save").click()
    summary = page.get_by_role("alert")
    assert "Fitted part" in summary.inner_text()
    clean()
    choose(page, "Fitted part", label="MG-2: Left door")
    choose(page, "Surround", label="MG-2: Left door frame")
    page.get_by_label("Name", exact=True).fill("Left door to frame")
    page.get_by_role("button", name="Save").click()
    page.get_by_role("heading", name="J-9 Left door to frame").wait_for()
    assert page.get_by_text("Saved: J-9, revision 1.").is_visible()
    clean()
    joint = Joint.objects.get()
    station = joint.current.stations.get(label="2")
    assert (station.x_nm, station.y_nm) == (mm(800), mm(250))


def test_a_joint_is_laid_out_along_a_shape_and_saved_without_scripts(
    live_site, open_page, positions
):
    page = bring_a_session(open_page(java_script_enabled=False), live_site, "engineer")
    page.goto(f"{live_site.url}/joints/new/")
    for label, value in (
        ("Width", "900"),
        ("Height", "700"),
        ("Corner radius", "120"),
        ("Least gap", "1.5"),
        ("Greatest gap", "3"),
        ("Joint number", "J-10"),
        ("Name", "Door"),
    ):
        page.get_by_label(label, exact=label == "Name").fill(value)
    # Enter in a field looks; it neither lays out nor saves.
    page.get_by_label("Joint number").press("Enter")
    page.get_by_role("alert").wait_for()
    assert page.get_by_label("Corner radius").input_value() == "120"
    page.get_by_role("button", name="Lay them out").click()
    page.get_by_text("24 stations, not saved yet.").wait_for()
    choose(page, "Fitted part", index=1)
    choose(page, "Surround", index=2)
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved: J-10, revision 1.").wait_for()
    assert Joint.objects.get().current.stations.count() == 24


def test_the_pages_of_a_joint_are_clean_in_the_dark(
    live_site, open_page, axe, engineer
):
    joint = make_joint(
        engineer,
        make_stations(24, edge="upstream", laminar=True),
        rule="guarded",
        flow_mdeg=0,
    )
    page = bring_a_session(
        open_page("portrait", color_scheme="dark"), live_site, "engineer"
    )
    for path in (f"/joints/{joint.pk}/", f"/joints/{joint.pk}/revise/", "/joints/"):
        page.goto(live_site.url + path)
        assert axe(page) == [], path
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, path
