"""Papers as the site hands them out: of the record, with what a check can hold."""

import io
import json
from datetime import UTC, date, datetime

import pypdf
import pypdfium2
import pytest
import zxingcpp
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import lazystr
from django.utils.translation import gettext_lazy, override

from qa.actions import checks, nonconformances, raising
from qa.actions.trimming import Taken, record_trim
from qa.models import Check
from qa.queries.issue import local
from qa.rules import planning
from shop.actions.photos import add_photo
from shop.ledger import Refused
from shop.ledger.canonical import canonical
from tests.around import by_hand
from tests.qa.making import (
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    mm,
    read,
)
from tests.qa.test_tablet_photos import picture

pytestmark = pytest.mark.either_database


def text_of(answer) -> str:
    assert answer.status_code == 200
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    return "\n".join(page.extract_text() for page in pages)


def sheet_of(client, check) -> str:
    return text_of(client.get(reverse("check_pdf", args=[check.entry_id])))


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"outcome": "skipped", "reason": "latch in the way"}, "skipped"),
        ({"outcome": "cleared", "reason": "wrong station"}, "cleared"),
        ({"outcome": "feeler", "goes": "1.95", "does_not_go": "2.05"}, "1.95 goes"),
    ],
)
def test_the_sheet_of_a_check_tells_every_outcome(client_of, people, said, words):
    check = make_check(people["engineer"])
    first = read(check, "1", "gap", "2.00")
    read(check, "1", "gap", supersedes=first, **{"reason": "again", **said})
    checks.finish_check(by=people["builder"], check=check)
    client = client_of("inspector")
    assert words in sheet_of(client, check)
    data = client.get(reverse("check_pdf", args=[check.entry_id])).content
    inside = pypdf.PdfReader(io.BytesIO(data)).attachments["check.json"][0]
    lines = json.loads(inside)["lines"]
    assert lines[0]["outcome"] == said["outcome"]


def test_a_digest_does_not_depend_on_the_language_of_who_looks():
    with override("de"):
        german = canonical({"state": gettext_lazy("open"), "of": lazystr("door")})
    assert german == canonical({"state": "open", "of": "door"})


def test_what_has_no_text_of_its_own_is_refused_in_a_record():
    with pytest.raises(TypeError, match="set is not for a record"):
        canonical({"stations": {1, 2}})


# What a paper must tell the person who signs it.


def door(people, **requirement):
    said = {
        "acceptance_condition": "hinged and latched",
        "acceptance_finish": "finished",
        "source": "Shop drawing MG-0001",
        "finish_part_nm": mm(0.12),
        "finish_surround_nm": mm(0.12),
    }
    return make_joint(people["engineer"], **{**said, **requirement})


def bare_check(people, **more):
    gauge = make_instrument(people["lead"], due=date(2027, 4, 17))
    return make_check(
        people["engineer"], joint=door(people), finish="bare", instrument=gauge, **more
    )


def test_the_sheet_tells_condition_source_gauge_and_limits_as_they_are_judged(
    client_of, people
):
    check = bare_check(people)
    read(check, "1", "gap", "2.00")
    told = " ".join(sheet_of(client_of("inspector"), check).split())
    for words in (
        "hinged and latched, finished; this check: no",
        "Shop drawing MG-0001",
        "calibrated until 2027-04-17",
        "Gap everywhere: 1.50 to 3.00 mm + 0.24 mm for the finish still to come on "
        "both edges, so 1.74 to 3.24 mm.",
        "Flushness everywhere: −0.50 to 0.50 mm.",
    ):
        assert words in told
    # Once: not again in every row, nor the painted limits beside the map.
    assert told.count("1.74 to 3.24") == 1 and told.count("1.50 to 3.00") == 1


def test_a_gauge_that_was_overdue_when_the_check_began_is_said_to_be(client_of, people):
    gauge = make_instrument(people["lead"], due=date(2024, 1, 31))
    check = make_check(people["engineer"], instrument=gauge)
    gauge.due = date(2030, 1, 1)
    with by_hand():
        gauge.save()
    told = " ".join(sheet_of(client_of("inspector"), check).split())
    assert "calibration was due 2024-01-31: OVERDUE" in told


def test_the_sheet_tells_what_was_cut_before_the_check(client_of, people):
    first = bare_check(people)
    read(first, "3", "gap", "0.50")
    checks.finish_check(by=people["builder"], check=first)
    loaded = Check.objects.select_related(*planning.RELATED).get(pk=first.pk)
    taken = [Taken(loaded, "3", "part", "0.40", "mm", mm(0.4))]
    builder = people["builder"]
    (fit_up,) = record_trim(by=builder, checks=[loaded], taken=taken, reason="by eye")
    again = make_check(people["engineer"], fit_up=fit_up, finish="bare")
    client = client_of("inspector")
    serial = fit_up.part.serial
    assert "Cut so far" not in sheet_of(client, first)
    told = " ".join(sheet_of(client, again).split())
    assert f"{serial}: 0.40 mm off at station 3, fit-up 1." in told


def test_who_signs_does_so_on_the_first_page(client_of, people):
    check = bare_check(people)
    for n in range(1, 9):
        read(check, str(n), "gap", "2.00")
    answer = client_of("inspector").get(reverse("check_pdf", args=[check.entry_id]))
    first, *others = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    assert "Inspected by" in first.extract_text()
    assert not any("Inspected by" in page.extract_text() for page in others)


def test_times_are_told_in_the_shops_zone_with_the_offset():
    with timezone.override("Europe/Zurich"):
        summer = datetime(2026, 7, 1, 22, 30, tzinfo=UTC)
        assert local(summer) == "2026-07-02 00:30 +02:00"
        assert local(summer.replace(month=12)) == "2026-12-01 23:30 +01:00"


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost", "[::1]:8000"])
def test_no_code_is_printed_that_leads_to_this_machine_alone(
    client_of, people, host, settings
):
    settings.ALLOWED_HOSTS = ["*", "shop-pc.local"]
    check = bare_check(people)
    client = client_of("inspector")
    url = reverse("check_pdf", args=[check.entry_id])
    here = client.get(url, headers={"host": host}).content
    shop = client.get(url, headers={"host": "shop-pc.local"}).content
    for data, codes in ((here, 0), (shop, 1)):
        image = pypdfium2.PdfDocument(data)[0].render(scale=100 / 72).to_pil()
        assert len(zxingcpp.read_barcodes(image)) == codes
        told = pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text()
        assert ("No code:" in told) == (not codes)


def test_acceptance_is_not_claimed_of_a_part_that_nothing_holds(people):
    fit_up = make_fit_up(people["engineer"], door(people))
    with pytest.raises(Refused, match="say what holds it") as no:
        make_check(people["engineer"], fit_up=fit_up, in_acceptance_condition=True)
    assert no.value.field == "in_acceptance_condition"
    held = make_fit_up(
        people["engineer"],
        fit_up.joint,
        airframe=fit_up.airframe,
        held=[{"kind": "hinge", "where": "both", "count": 2}],
    )
    assert make_check(
        people["engineer"], fit_up=held, in_acceptance_condition=True
    ).in_acceptance_condition


def test_the_list_tells_disposition_photos_and_a_date_when_it_is_empty(
    client_of, people
):
    check = make_check(people["engineer"])
    for n in range(1, 9):
        read(check, str(n), "gap", "1.00" if n == 3 else "2.00")
    checks.finish_check(by=people["builder"], check=check)
    (item,) = raising.raise_findings(by=people["builder"], check=check)
    nonconformances.dispose(
        by=people["lead"], item=item, disposition="rework", note="trim"
    )
    add_photo(
        by=people["builder"],
        content=picture(),
        subject_kind="nonconformance",
        subject_id=str(item.pk),
    )
    client, url = client_of("lead"), reverse("nonconformances_pdf")
    told = text_of(client.get(url))
    assert "rework" in told and "Photos" in told and "Due" in told
    empty = client.get(url, {"state": "closed"})
    assert f"{datetime.now(UTC):%Y-}" in text_of(empty)
    assert "2000-" not in text_of(empty)
    assert client.get(url, {"state": "closed"}).content == empty.content
