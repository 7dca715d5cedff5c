"""From a failing joint in work to an accepted one: the builder offers, the inspector
rejects, the work is done and checked, and it is offered again, accepted, signed and
printed: a pack that can be tried without the shop."""

import json
import re

import pypdf
import pytest
from django.core.management import call_command
from playwright.sync_api import expect

from qa.actions import checks, nonconformances
from qa.models import Nonconformance
from qa.rules import acceptance
from shop.ledger.verify import verify
from shop.models import Person, Signature
from tests.browser.conftest import bring_a_session
from tests.conftest import PASSWORD, PATIENCE_MS
from tests.qa.making import make_check, make_fit_up, make_instrument, make_joint, read


def measured(crew, fit_up, gauge, *, tight=()):
    check = make_check(crew["builder"], fit_up=fit_up, instrument=gauge)
    for n in range(1, 9):
        value = "1.00" if n in tight else "2.00"
        read(check, str(n), "gap", value)
        read(check, str(n), "flush", "0.00")
    checks.finish_check(by=crew["builder"], check=check)
    return check


def offer(page, site, joint, airframe) -> None:
    page.goto(f"{site.url}/joints/{joint.pk}/on/{airframe.pk}/")
    page.get_by_role("link", name="Offer it").click()
    expect(page.get_by_text("This is what you offer")).to_be_visible()


def test_from_a_failing_joint_to_an_accepted_and_printed_one(
    open_page, live_site, sign_in, axe, tmp_path
):
    crew = {one.username: one for one in Person.objects.all()}
    joint = make_joint(crew["engineer"], number="J-7")
    gauge = make_instrument(crew["engineer"])
    fit_up = make_fit_up(crew["engineer"], joint)
    measured(crew, fit_up, gauge, tight=(3, 4))

    builder = bring_a_session(open_page("portrait"), live_site, "builder")
    offer(builder, live_site, joint, fit_up.airframe)
    expect(builder.get_by_text("These become nonconformances")).to_be_visible()
    assert axe(builder) == []
    builder.get_by_role("button", name="Offer it for inspection").click()
    expect(builder.get_by_text("It is inspected, by somebody")).to_be_visible()
    assert axe(builder) == []

    inspector = sign_in(open_page("portrait"), "inspector")
    inspector.get_by_role("link", name="J-7 Left door to frame").first.click()
    inspector.get_by_role("combobox", name="Station").select_option("5")
    inspector.get_by_label("You read").fill("1.95")
    inspector.get_by_label("Read with").select_option(index=1)
    inspector.get_by_role("button", name="Keep this reading").click()
    expect(inspector.get_by_role("cell", name="1.95")).to_be_visible()
    inspector.get_by_label("Remark on 3", exact=True).fill("far too tight")
    inspector.get_by_label("Reject, with a reason at a line").check()
    assert axe(inspector) == []
    inspector.get_by_role("button", name="Record it").click()
    expect(inspector.get_by_text("far too tight").first).to_be_visible()
    assert axe(inspector) == []

    items = list(Nonconformance.objects.select_related("part__design", "standing"))
    for item in items:
        nonconformances.dispose(
            by=crew["lead"], item=item, disposition="rework", note="trim"
        )
        nonconformances.work(by=crew["lead"], item=item, note="trimmed")
    again = measured(crew, fit_up, gauge)
    for item in items:
        recheck = again if item.of_fit else None
        nonconformances.verify(
            by=crew["inspector"], item=item, recheck=recheck, note="seen"
        )

    offer(builder, live_site, joint, fit_up.airframe)
    expect(builder.get_by_text("16 conform")).to_be_visible()
    builder.get_by_role("button", name="Offer it for inspection").click()
    inspector.goto(f"{live_site.url}/offers/")
    assert axe(inspector) == []
    inspector.get_by_role("link", name="OF-0002").click()
    inspector.get_by_label("Accept", exact=True).check()
    inspector.get_by_role("button", name="Record it").click()
    expect(inspector.get_by_role("heading", name="accepted, ")).to_be_visible()
    assert acceptance.standing_of(joint, fit_up.airframe).state == "accepted"
    assert verify().fault == ""

    # Signed, by whoever it was, with their own password, after seeing what exactly.
    heading = inspector.get_by_role("heading", name="Signatures under what was said")
    section = inspector.locator("section", has=heading)
    section.get_by_role("link", name="Sign", exact=True).click()
    expect(inspector.get_by_text("Exactly this is signed")).to_be_visible()
    expect(inspector.get_by_role("cell", name="accepted", exact=True)).to_be_visible()
    assert axe(inspector) == []
    signs = inspector.get_by_role("button", name="Sign", exact=True)
    inspector.get_by_label("Your name, typed").fill("Inspector of the shop")
    inspector.get_by_label("Your password or PIN").fill("not-the-password")
    inspector.get_by_role("radio", name="inspected").check()
    signs.click()
    expect(inspector.get_by_role("alert")).to_be_visible()
    inspector.get_by_label("Your password or PIN").fill(PASSWORD)
    signs.click()
    expect(inspector.get_by_text("Signed:")).to_be_visible()
    assert axe(inspector) == []
    (signature,) = Signature.objects.all()

    # Printed, and tried by whoever has the file alone.
    inspector.goto(f"{live_site.url}/joints/{joint.pk}/on/{fit_up.airframe.pk}/")
    inspector.get_by_role("link", name="Issue a pack").click()
    assert axe(inspector) == []
    inspector.get_by_role("button", name="Make the pack").click()
    # The page looks again by itself until the press, of low priority, is done.
    done = inspector.get_by_role("heading", name="As it was issued")
    expect(done).to_be_visible(timeout=8 * PATIENCE_MS)
    assert axe(inspector) == []
    path = tmp_path / "pack.pdf"
    for name in ("pack.pdf", "pack.pdf.p7s"):
        answer = inspector.request.get(f"{live_site.url}/packs/1/{name}")
        path.with_name(name).write_bytes(answer.body())
    own = tmp_path / "authority.pem"
    own.write_bytes(inspector.request.get(f"{live_site.url}/trust/certificate").body())

    def tried() -> int:
        with pytest.raises(SystemExit) as end:
            call_command("pack_check", str(path), "--certificate", str(own))
        return end.value.code

    assert tried() == 0
    reader = pypdf.PdfReader(path)
    record = json.loads(reader.attachments["record.json"][0])
    lines = record["sections"]["signatures"]
    (line,) = [x for x in lines if x["digest"] == signature.digest]
    assert line["meaning"] == "inspected (signed, proven by password)"
    assert (line["by"].split(",")[0], line["holds"]) == (signature.name, "holds")
    told = " ".join(page.extract_text() for page in reader.pages)
    assert signature.digest[:16] in told
    data = path.read_bytes()
    middle = len(data) // 2
    flipped = bytes([data[middle] ^ 1])
    path.write_bytes(data[:middle] + flipped + data[middle + 1 :])
    assert tried() == 1
    path.write_bytes(data)
    first = reader.pages[0].extract_text()
    assert "1 of 1 joint is accepted by inspection and unchanged since" in first
    assert re.search("[0-9] nonconformances? (is|are) not closed", first)
    # A page in the hand: its code tells that it is of this pack.
    digest = re.search("content sha256 ([0-9a-f]{64})", first)[1]
    inspector.goto(f"{live_site.url}/packs/1/is/{digest[:16]}/")
    expect(
        inspector.get_by_role("heading", name="is of an issued pack")
    ).to_be_visible()
    assert axe(inspector) == []
