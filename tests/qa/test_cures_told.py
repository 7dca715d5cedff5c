"""A cure that was not met, or not seen, is told to whoever takes the part."""

import io

import pypdfium2
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.actions import airframes, cures, parts, pulls
from shop.files.cure_trace import parse
from shop.ledger import Refused
from shop.models import CureState, Laminate
from shop.rules.cure_states import doubtful
from tests.around import by_hand
from tests.shop.making import make_airframe, make_design, make_part, make_position
from tests.shop.making_floor import lay_all, make_pull, make_pulled_part

from .making import make_check, make_fit_up

pytestmark = pytest.mark.django_db


def trace_csv(tc1="{:.1f}", tc2="{:.1f}", dies_at=10_000):
    """60 degC for 100 min, a reading every 2 min; tc1 speaks until `dies_at`."""
    rows = []
    for minute in range(0, 300, 2):
        celsius = min(20 + minute, 60) if minute <= 140 else 60 - (minute - 140) * 0.3
        first = "OL" if minute >= dies_at else tc1.format(celsius)
        hot = 150 if "hot" in tc2 and 180 <= minute < 200 else celsius - 1
        rows.append(f"{minute},{first},{hot:.1f}\n")
    return ("minutes,tc1_c,tc2_c\n" + "".join(rows)).encode()


def record(by, pull, content):
    trace = cures.record_trace(
        by=by, pull=pull, file_name="oven.csv", content=content, trace=parse(content)
    )
    pull.refresh_from_db()
    return trace


@pytest.mark.parametrize(
    ("content", "state"),
    [
        (trace_csv(), CureState.MET),
        (trace_csv(dies_at=130), CureState.OPEN),
        (trace_csv(tc2="hot", dies_at=130), CureState.NOT_MET),
        (trace_csv(dies_at=0), CureState.OPEN),
    ],
)
def test_a_trace_is_met_not_met_or_open_wherever_it_is_shown(
    people, client_of, content, state
):
    part = make_pulled_part(people["lead"])
    pull = part.lineage.get().pull
    trace = record(people["lead"], pull, content)
    assert (pull.cure, trace.state, trace.met) == (state, state, state == "met")
    client = client_of("visitor")
    word = {"met": "met", "not_met": "not met", "open": "open"}[state]
    for page in (
        client.get(reverse("trace", args=[trace.pk])),
        client.get(reverse("pull", args=[pull.pk])),
        client.get(reverse("pulls")),
    ):
        assert f"<span>{word}</span>" in page.content.decode()
    told = client.get(reverse("part", args=[part.pk])).content.decode()
    assert (f"The cure of {pull}" in told) == (state != "met")


@pytest.fixture
def open_part(people):
    """A part of a pull whose first sensor died during the dwell."""
    part = make_pulled_part(people["lead"])
    record(people["lead"], part.lineage.get().pull, trace_csv(dies_at=130))
    return part


def test_who_places_a_part_of_an_open_cure_must_say_why(people, client_of, open_part):
    airframe = make_airframe(people["lead"])
    position = make_position(people["lead"], type=airframe.type)
    page = reverse("place_part", args=[airframe.pk])
    said = {"position": position.pk, "part": open_part.serial}
    answer = client_of("lead").post(page, said)
    [error] = answer.context["form"].errors["reason"]
    assert "is open: not all of it was seen" in error
    answer = client_of("lead").post(page, said | {"reason": "a coupon was tested"})
    assert answer.status_code == 302
    act = open_part.placement_acts.get()
    assert act.note == "a coupon was tested"


def test_a_part_made_of_one_of_an_open_cure_is_told_too(people, open_part):
    whole = parts.register_part(
        by=people["lead"],
        design=make_design(people["lead"]),
        serial="B-1",
        origin="bonded",
        sources=[open_part],
    )
    pull = open_part.lineage.get().pull
    assert doubtful([whole.pk]) == {whole.pk: [pull]}
    airframe = make_airframe(people["lead"])
    position = make_position(people["lead"], type=airframe.type)
    with pytest.raises(Refused, match="is open"):
        airframes.place_part(
            by=people["lead"], airframe=airframe, position=position, part=whole
        )


def test_who_takes_it_out_of_the_mold_of_an_open_cure_must_say_why(people):
    pull = make_pull(people["lead"])
    lay_all(people["lead"], pull)
    pulls.close_layup(by=people["lead"], pull=pull, reason="made for a test")
    record(people["lead"], pull, trace_csv(dies_at=130))
    with pytest.raises(Refused, match="is open: not all of it was seen"):
        pulls.demold(by=people["lead"], pull=pull, release="clean")


def test_who_starts_a_fit_up_sees_it_beside_the_serial(people, client_of, open_part):
    fit_up = make_fit_up(people["lead"], part=open_part)
    page = client_of("builder").get(
        reverse("new_check"),
        {"airframe": fit_up.airframe_id, "joint": fit_up.joint_id},
    )
    assert f"{open_part.serial} – The cure of" in page.content.decode()


def test_a_check_of_its_fit_up_says_it_too(people, client_of, open_part):
    check = make_check(people["lead"], make_fit_up(people["lead"], part=open_part))
    page = client_of("visitor").get(reverse("check", args=[check.entry_id]))
    assert "is open: not all of it was seen" in page.content.decode()


def test_the_chain_says_it_on_its_page_and_on_paper(client_of, open_part):
    client = client_of("visitor")
    page = client.get(reverse("chain", args=["part", open_part.pk])).content.decode()
    assert page.count("cure open") == 2  # the trace and the pull
    sheet = client.get(reverse("chain_pdf", args=["part", open_part.pk])).content
    text = "".join(
        leaf.get_textpage().get_text_range()
        for leaf in pypdfium2.PdfDocument(io.BytesIO(sheet))
    )
    assert text.replace("\r\n", " ").count("cure open") == 2


def test_a_pull_without_a_trace_is_told_where_a_recipe_asks_for_one(people, client_of):
    asked = make_pulled_part(people["lead"])
    told = client_of("visitor").get(reverse("part", args=[asked.pk])).content.decode()
    assert "is on record" in told
    free = make_pulled_part(people["lead"])
    with by_hand():
        Laminate.objects.update(recipe=None)
    told = client_of("visitor").get(reverse("part", args=[free.pk])).content.decode()
    assert "is on record" not in told


def test_doubts_of_many_parts_take_two_statements(people):
    made = [make_pulled_part(people["lead"]) for _ in range(3)]
    made.append(make_part(people["lead"]))
    for some in (made[:1], made):
        with CaptureQueriesContext(connection) as said:
            found = doubtful([part.pk for part in some])
        assert len(said) == 2
        assert set(found) == {part.pk for part in some[:3]}
