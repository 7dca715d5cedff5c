"""Papers of the shop floor: what somebody at the mold or the scales must find."""

import io

import pypdf
import pytest
from django.urls import reverse

from shop.actions.identity import set_identity
from shop.models import Airframe, Laminate, Person, Pull, Tool
from shop.numeric.units import MG_PER_KG


@pytest.fixture
def printed(demo_db, client):
    """printed("traveler", pk) gives the text; the same record gives the same bytes."""
    client.force_login(Person.objects.get(username="vic"))

    def told(name: str, pk: int) -> str:
        address = reverse(name, args=[pk])
        first, again = (client.get(f"{address}?paper=letter") for _ in range(2))
        assert first.status_code == 200 and first.content == again.content
        pages = pypdf.PdfReader(io.BytesIO(first.content)).pages
        return "\n".join(page.extract_text() for page in pages)

    return told


def test_a_ply_book_holds_every_ply_in_order(printed):
    laminate = Laminate.objects.filter(plies__isnull=False).distinct()[0]
    told = printed("ply_book", laminate.pk)
    at = 0
    for ply in laminate.plies.select_related("material"):
        at = told.index(f"{ply.material.code} {ply.material.name}"[:14], at) + 1
    assert laminate.code in told and laminate.recipe.name in told


def test_a_traveler_has_what_was_laid_and_room_to_sign(printed):
    pull = Pull.objects.filter(plies_laid__lot__isnull=False).distinct()[0]
    told = printed("traveler", pull.pk)
    for ply in pull.plies_laid.select_related("lot"):
        assert ply.lot.number in told
    for word in ("Laid up by", "Seen by", "not who laid it up", "Cautions"):
        assert word in told
    assert str(pull) in told


def test_a_mold_card_has_its_blemishes_and_what_it_waits_for(printed):
    tool = Tool.objects.filter(defects__repair=None, defects__isnull=False)[0]
    told = printed("mold_card", tool.pk)
    assert tool.code in told
    for defect in tool.defects.filter(repair=None):
        assert defect.what.split(",")[0] in told


def test_weight_and_balance_sums_only_what_is_known(printed):
    airframe = Airframe.objects.get(serial="MG2-001")
    told = printed("weight_and_balance", airframe.pk)
    with_both = airframe.placements.filter(
        removed_at=None,
        part__mass_mg__isnull=False,
        position__arm_nm__isnull=False,
    )
    total = sum(with_both.values_list("part__mass_mg", flat=True)) / MG_PER_KG
    assert f"{total:.3f} kg" in told
    assert "Without a weight" in told and "in no sum" in told
    said = {"name": "Ours", "time_zone": "UTC", "units": "in", "paper": "letter"}
    set_identity(by=Person.objects.get(username="lena"), **said)
    told = printed("weight_and_balance", airframe.pk)
    assert f"{total / 0.45359237:.3f} lb" in told
    assert "Moment, lb in" in told and " kg" not in told
