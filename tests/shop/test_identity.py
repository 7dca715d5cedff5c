"""The shop's own name, zone, units and paper: said by the lead, kept, told at once."""

import io
from datetime import UTC, timedelta

import pypdf
import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from shop.actions import routes
from shop.actions.identity import set_identity
from shop.actions.people import add_person
from shop.ledger.verify import verify
from shop.models import Entry, ShopIdentity, StepDone
from shop.queries.identity import the_shop
from tests.qa.making import make_check, read
from tests.shop.making_floor import make_tool

SAID = {
    "name": "Aumatt Glider Works",
    "time_zone": "Asia/Kathmandu",
    "units": "in",
    "paper": "letter",
}


def test_what_the_lead_says_stands_on_pages_and_papers_at_once(client_of, people):
    check = make_check(people["engineer"])
    first = read(check, "1", "gap", "2.00")
    lead, url = client_of("lead"), reverse("check_pdf", args=[check.entry_id])
    before = pypdf.PdfReader(io.BytesIO(lead.get(url).content)).pages[0]
    assert lead.post(reverse("shop_identity"), SAID).status_code == 302
    page = lead.get(reverse("check", args=[check.entry_id])).content.decode()
    assert "Aumatt Glider Works" in page
    after = pypdf.PdfReader(io.BytesIO(lead.get(url).content)).pages[0]
    told = after.extract_text()
    assert "Aumatt Glider Works" in told and "+05:45" in told
    assert before.mediabox.height > after.mediabox.height  # letter is shorter than A4
    assert first.entry.received_at.tzinfo == UTC
    again = lead.get(url).content
    assert lead.get(url).content == again


def test_each_change_is_a_fact_and_those_before_stay_readable(client_of, people):
    lead = client_of("lead")
    for name in ("First name", "Second name"):
        lead.post(reverse("shop_identity"), {**SAID, "name": name})
    shown = lead.get(reverse("shop_identity")).content.decode()
    assert the_shop().name == "Second name" and "First name" in shown
    assert Entry.objects.filter(form="shop/1").count() == 2
    assert verify().fault == ""


def test_only_the_lead_names_the_shop(people):
    for role in ("builder", "engineer", "inspector", "visitor"):
        with pytest.raises(PermissionDenied):
            set_identity(by=people[role], **SAID)
    assert not ShopIdentity.objects.exists()


@pytest.mark.parametrize(
    ("field", "value"),
    [("time_zone", "Mars/Olympus"), ("units", "ft"), ("paper", "a3"), ("name", "")],
)
def test_a_zone_or_paper_that_is_not_there_is_refused_beside_it(
    client_of, field, value
):
    answer = client_of("lead").post(reverse("shop_identity"), {**SAID, field: value})
    assert answer.status_code == 200
    assert list(answer.context["form"].errors) == [field]
    assert not ShopIdentity.objects.exists()


def test_new_people_start_with_the_units_of_the_shop(people):
    set_identity(by=people["lead"], **SAID)
    made = add_person(
        by=people["lead"],
        username="new",
        name="New",
        role="builder",
        password="Some-long-word-9",
    )
    assert made.units == "in" and people["lead"].units == "mm"


def test_a_time_typed_into_a_form_is_of_the_shops_zone(client_of, people):
    set_identity(by=people["lead"], **SAID)
    routes.write_usual_routes(by=people["lead"])
    tool = make_tool(people["lead"], kind="plug")
    at = (timezone.now() - timedelta(days=2)).replace(second=0, microsecond=0)
    typed = f"{at + timedelta(hours=5, minutes=45):%Y-%m-%dT%H:%M}"
    step = tool.steps.order_by("order")[0]
    client_of("builder").post(reverse("do_step", args=[step.pk]), {"done_at": typed})
    assert StepDone.objects.get().done_at == at


def test_the_mark_of_the_shop_stays_until_another_is_said(
    client_of, people, settings, tmp_path
):
    settings.MEDIA_ROOT = tmp_path
    clear = io.BytesIO()
    Image.new("RGBA", (90, 40), (0, 0, 0, 0)).save(clear, "PNG")
    mark = SimpleUploadedFile("mark.png", clear.getvalue(), "image/png")
    lead, url = client_of("lead"), reverse("shop_identity")
    assert lead.post(url, {**SAID, "picture": mark}).status_code == 302
    kept = Image.open(tmp_path / the_shop().mark_name)
    assert kept.size == (90, 40) and kept.getpixel((9, 9)) == (255, 255, 255)
    lead.post(url, {**SAID, "name": "Another name"})
    assert the_shop().mark_name and the_shop().mark in lead.get(url).content.decode()
    (tmp_path / the_shop().mark_name).write_bytes(b"another")
    assert "holds another picture" in verify().fault
    lead.post(url, {**SAID, "no_mark": "on"})
    assert the_shop().mark == ""
    wrong = SimpleUploadedFile("mark.png", b"no picture", "image/png")
    answer = lead.post(url, {**SAID, "picture": wrong})
    assert list(answer.context["form"].errors)
