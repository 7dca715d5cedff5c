"""What is signed of measuring and deciding, and every later change that ends it."""

import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from qa.actions import checks, late_readings, nonconformances, raising
from qa.models import (
    Check,
    FitPlan,
    Inspection,
    Nonconformance,
    OfferedJoint,
    Reading,
    ToolCorrection,
)
from qa.rules import signed_fits
from shop.actions import people
from shop.ledger import Refused
from shop.ledger.verify import verify
from shop.models import PlyLaid, Pull, StepDone
from shop.queries.signatures import signed_thing
from shop.rules import signing
from tests.qa.making import read
from tests.qa.test_item_life import make_person
from tests.qa.test_offers import CHANGES, accepted, inspect, measured, offered
from tests.shop.test_signatures import give_pin, sign

PINS = {"builder": "4711", "inspector": "4811", "engineer": "4911", "lead": "5011"}


@pytest.fixture(name="crew")
def a_crew(request):
    """People with a PIN each."""
    found = request.getfixturevalue("people")
    for role, pin in PINS.items():
        give_pin(found[role], pin)
    return found


def signs(crew, role, kind, row, meaning, **more):
    crew[role].refresh_from_db()
    return sign(crew[role], kind, row.pk, meaning, PINS[role], **more)


def changed(kind, row, meaning=""):
    """What no longer holds of each signature of that meaning."""
    rows = signed_thing(kind, row.pk).rows
    return [one.changed for one in rows if meaning in ("", one.meaning)]


def test_a_check_is_signed_when_it_is_finished_and_tells_reading_by_reading(crew):
    check = measured(crew, finish=False)
    with pytest.raises(Refused, match="Finish the check first"):
        signs(crew, "builder", "check", check, "performed")
    checks.finish_check(by=crew["builder"], check=check)
    signs(crew, "builder", "check", check, "performed")
    signs(crew, "inspector", "check", check, "inspected")
    # With the right to inspect, and still nobody else than who measured.
    people.change_role(by=crew["lead"], person=crew["builder"], role="inspector")
    with pytest.raises(Refused, match="somebody else"):
        signs(crew, "builder", "check", check, "inspected")
    assert changed("check", check) == [(), ()]
    # What comes in late stands when a person counts it in; then nothing holds.
    count_in(crew, check)
    for words in changed("check", check):
        (told,) = words
        assert told.startswith("station 3 gap: was 2.00 mm, 2.000000 mm, conforms, ")
        assert "now 2.10 mm, 2.100000 mm, conforms, " in told
    assert verify().fault == ""


def count_in(crew, check) -> None:
    read(check, "3", "gap", "2.10", by=crew["engineer"], keep_late=True)
    late = Reading.objects.latest("pk")
    assert changed("check", check)[-1] == ()
    said = {"check": check, "reading": late, "reason": "it was measured then"}
    late_readings.decide_late(by=crew["engineer"], counted=True, **said)


@pytest.mark.parametrize("change", CHANGES, ids=lambda one: one.__name__)
def test_what_voids_an_acceptance_ends_the_signatures_under_it(crew, change):
    row, check, placed = accepted(crew)
    told = Inspection.objects.get()
    signs(crew, "builder", "offered", row, "performed")
    with pytest.raises(Refused, match="not signed as"):
        signs(crew, "inspector", "offered", row, "inspected")
    signs(crew, "inspector", "inspection", told, "inspected")
    signs(crew, "engineer", "inspection", told, "approved")
    assert changed("inspection", told) == [(), ()]
    change(crew, row, check, placed)
    for words in (*changed("inspection", told), *changed("offered", row)):
        assert any(CHANGES[change] in one for one in words)
    with pytest.raises(Refused, match="This changed since"):
        signs(crew, "lead", "inspection", told, "released")


def test_only_who_inspected_signs_an_inspection_as_inspected(crew):
    row = offered(crew, measured(crew))
    told = inspect(crew, row)
    other = make_person("ivo", "inspector")
    with pytest.raises(Refused, match=f"{crew['inspector'].name} signs this"):
        sign(give_pin(other), "inspection", told.pk, "inspected")
    signs(crew, "inspector", "inspection", told, "inspected")


def test_what_was_rejected_is_not_approved_and_not_released(crew):
    row = offered(crew, measured(crew))
    told = inspect(crew, row, "rejected", [("3", "too tight for the seal")])
    signs(crew, "inspector", "inspection", told, "inspected")
    for role, meaning in (("engineer", "approved"), ("lead", "released")):
        with pytest.raises(Refused, match="not signed as"):
            signs(crew, role, "inspection", told, meaning)


def test_use_as_is_is_approved_by_the_engineer_and_ends_when_it_is_decided_anew(crew):
    item = an_item(crew)
    with pytest.raises(Refused, match="Nothing is decided"):
        signs(crew, "engineer", "disposition", item, "approved")
    decide(crew, item, "use_as_is", concession="design office, C-4")
    with pytest.raises(Refused, match="engineer may"):
        signs(crew, "lead", "disposition", item, "approved")
    signs(crew, "engineer", "disposition", item, "approved")
    # That it goes on its way changes nothing of what was decided.
    nonconformances.verify(by=crew["inspector"], item=item, note="looked at")
    assert changed("disposition", item) == [()]
    nonconformances.reopen(by=crew["inspector"], item=item, note="it is worse")
    (told,) = changed("disposition", item)
    assert "disposition: was use as is, now empty" in told
    decide(crew, item, "rework")
    (told,) = changed("disposition", item)
    assert "disposition: was use as is, now rework" in told
    assert "concession: was design office, C-4, now empty" in told
    signs(crew, "lead", "disposition", item, "approved")
    assert changed("disposition", item)[1] == ()


def an_item(crew) -> Nonconformance:
    check = measured(crew)
    return raising.raise_by_hand(
        by=crew["builder"],
        airframe=check.fit_up.airframe,
        joint=check.fit_up.joint,
        part=check.fit_up.part,
        title="scratch across the flange",
    )


def decide(crew, item, way, **more):
    item.refresh_from_db()
    nonconformances.dispose(
        by=crew["engineer"], item=item, disposition=way, note="no load there", **more
    )


def test_a_length_that_is_signed_is_exact_and_of_no_unit_that_a_reader_chose():
    assert signed_fits.exactly(-50_001) == "-0.050001 mm"
    assert signed_fits.exactly(0) == "0.000000 mm"
    assert signed_fits.exactly(25_400_000) == "25.400000 mm"
    assert signed_fits.exactly(None) == ""


def test_the_sheet_of_a_check_carries_who_signed_and_what_no_longer_holds(
    crew, client_of
):
    check = measured(crew)
    signs(crew, "inspector", "check", check, "inspected", note="on the stand")
    text = printed(client_of("builder"), check)
    assert "Inspected by" not in text and "Measured and recorded by" in text
    assert crew["inspector"].name in text and "proven by PIN" in text
    page = client_of("builder").get(f"/fit-checks/{check.entry_id}/").content.decode()
    assert f"<b>{crew['inspector'].name}</b>" in page and "proven by PIN" in page
    count_in(crew, check)
    text = printed(client_of("builder"), check)
    assert "Inspected: no longer holds" in text and "station 3 gap: was" in text
    assert "Inspected by" in text
    page = client_of("builder").get(reverse("check", args=[check.entry_id]))
    assert "station 3 gap: was 2.00 mm" in page.content.decode()


def printed(client, check) -> str:
    answer = client.get(reverse("check_pdf", args=[check.entry_id]))
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join("".join(page.extract_text() for page in pages).split())


def test_every_kind_reads_what_it_signs_in_a_constant_number_of_statements(demo_db):
    models = {"check": Check, "offered": OfferedJoint, "inspection": Inspection}
    models |= {"disposition": Nonconformance, "plan": FitPlan, "ply": PlyLaid}
    models |= {"correction": ToolCorrection, "pull": Pull, "step": StepDone}
    assert set(models) <= set(signing.SIGNABLES)
    for kind, model in models.items():
        keys = list(model.objects.order_by("pk").values_list("pk", flat=True))
        asked = []
        for some in (keys[-1:], keys):
            with CaptureQueriesContext(connection) as seen:
                found = signing.SIGNABLES[kind].contents(some)
            assert set(found) == set(some)
            asked.append(len(seen))
            for content in found.values():
                assert content.what and content.address.startswith("/")
                assert all(type(one) is str for pair in content.fields for one in pair)
                names = [name for name, _value in content.fields]
                assert len(names) == len(set(names)), kind
        # A little more where there is more to look for, never with each row.
        assert asked[1] <= asked[0] + 4, (kind, asked)
