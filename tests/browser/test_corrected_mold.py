"""From the first fits of two doors to a corrected mold, and to the third door."""

import pypdf
import pytest
from playwright.sync_api import expect

from qa.models import Kind, ToolCorrection
from qa.rules import mold_corrections
from shop.models import Person, Pull
from tests.browser.conftest import bring_a_session
from tests.qa.molding import Shop, noisy, ripple

pytestmark = pytest.mark.browser


def test_two_doors_tell_of_their_mold_and_the_third_comes_as_promised(
    page, live_site, axe, tmp_path
):
    page.set_default_timeout(60_000)
    shop = Shop(Person.objects.get(username="lead"))
    for seed in (1, 2):
        gaps = noisy(seed)
        shop.fit(shop.pull(), shop.airframes[seed - 1], gaps, ripple(seed))

    bring_a_session(page, live_site, "lead")
    page.goto(f"{live_site.url}/tooling/{shop.mold.pk}/")
    expect(page.get_by_text("2 parts read at their first fits")).to_be_visible()
    page.get_by_role("link", name=f"{shop.joint.number} {shop.joint.name}").click()
    expect(page.get_by_text("Cut line in at 4 to 5")).to_be_visible()
    expect(page.get_by_text("an opening of its own")).to_be_visible()
    assert axe(page) == []
    page.get_by_label("Note").fill("both doors tight at the rear edge")
    page.get_by_role("button", name="Take as a correction").click()
    expect(page.get_by_role("heading", name="TC-0001")).to_be_visible()
    assert axe(page) == []

    for name in ("Correction sheet", "Scribe template"):
        with page.expect_download() as coming:
            page.get_by_role("link", name=name).click()
        path = tmp_path / "paper.pdf"
        coming.value.save_as(path)
        words = "".join(one.extract_text() for one in pypdf.PdfReader(path).pages)
        assert "TC-0001" in words
        assert shop.joint.number in words

    page.get_by_role("link", name="It is done").click()
    page.get_by_label("How, or why").fill("scribed anew by the template")
    page.get_by_role("button", name="Record this repair").click()
    expect(page.get_by_text("No part pulled since then")).to_be_visible()

    third = shop.pull()
    assert Pull.objects.get(tool=shop.mold, number=3).after_repair
    row = ToolCorrection.objects.get()
    values = mold_corrections.values_of(row)
    as_told = [
        {str(n): value.after_mm for n, value in enumerate(values[kind], 1)}
        for kind in Kind.values
    ]
    shop.fit(third, shop.airframes[2], *as_told)
    page.reload()
    expect(page.get_by_text(f"Predicted against come: {third.serial}")).to_be_visible()
    expect(page.get_by_text("20 of 20 came within the bounds")).to_be_visible()
    assert axe(page) == []
    page.get_by_role("link", name="What the fits say").click()
    expect(page.get_by_text("Cannot tell yet.")).to_be_visible()
    page.get_by_role("link", name=shop.mold.code).first.click()
    expect(page.get_by_text("first after a repair")).to_be_visible()
