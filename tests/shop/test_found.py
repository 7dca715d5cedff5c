"""A row is chosen of a list while that is short, and found by its name after."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.forms.row_choice import MOST
from shop.models import Part, PartDesign
from tests.around import by_hand

ADD = "/parts/add/"


def designs(count, start=0):
    with by_hand():
        return PartDesign.objects.bulk_create(
            PartDesign(number=f"D-{n:05d}", name=f"Door skin {n}", hand="none")
            for n in range(start, start + count)
        )


def said(**design):
    return {"serial": "S-1", "origin": "made", **design}


def test_a_short_list_is_a_list(client_of):
    designs(3)
    page = client_of("lead").get(ADD).content.decode()
    assert '<select name="design"' in page
    assert "design-typed" not in page
    assert "D-00002" in page


def test_a_long_one_is_found_by_number_or_name(client_of):
    rows = designs(MOST + 20)
    lead = client_of("lead")
    page = lead.get(ADD).content.decode()
    assert 'name="design-typed"' in page
    assert "D-00002" not in page
    for serial, typed, found in (
        ("S-1", "d-00042", rows[42]),
        ("S-2", "Door skin 77", rows[77]),
        ("S-3", "skin 00098", rows[98]),
    ):
        told = {**said(serial=serial), "design-typed": typed}
        assert lead.post(ADD, told).status_code == 302
        assert Part.objects.get(serial=serial).design == found
    # A key, as an address or the nearest below name it.
    assert lead.post(ADD, said(serial="S-4", design=rows[5].pk)).status_code == 302
    assert Part.objects.get(serial="S-4").design == rows[5]


def test_of_two_names_that_differ_by_case_the_one_as_typed_is_taken(client_of):
    rows = designs(MOST + 20)
    with by_hand():
        beside = PartDesign.objects.create(number="d-00042", name="Other", hand="none")
    lead = client_of("lead")
    for found, serial in ((beside, "S-1"), (rows[42], "S-2")):
        typed = found.number
        told = {**said(serial=serial), "design-typed": typed}
        assert lead.post(ADD, told).status_code == 302
        assert Part.objects.get(serial=serial).design == found


def test_that_a_list_is_long_is_found_without_sorting_all_of_it(client_of):
    designs(MOST + 20)
    lead = client_of("lead")
    with CaptureQueriesContext(connection) as asked:
        lead.get(ADD)
    (length,) = [one["sql"] for one in asked if f"LIMIT {MOST + 1}" in one["sql"]]
    assert '"shop_partdesign"' in length and "ORDER BY" not in length


def test_several_are_offered_and_what_was_typed_stays(client_of):
    rows = designs(MOST + 20)
    lead = client_of("lead")
    page = lead.post(ADD, {**said(), "design-typed": "skin 1"}).content.decode()
    assert "Several are called that" in page
    assert 'value="skin 1"' in page
    assert f'<option value="{rows[1].pk}">' in page
    chosen = {**said(design=rows[1].pk), "design-typed": "skin 1"}
    assert lead.post(ADD, chosen).status_code == 302
    assert Part.objects.get().design == rows[1]


def test_what_is_only_a_part_of_a_name_is_offered_never_taken(client_of):
    rows = designs(MOST + 20)  # D-00042 is the only one with 0042 in it
    page = client_of("lead").post(ADD, {**said(), "design-typed": "0042"})
    assert not Part.objects.exists()
    assert f'<option value="{rows[42].pk}">' in page.content.decode()


@pytest.mark.parametrize("typed", ["D-0nowhere", "%", "_", "12' OR 1=1 --", "\0", "½"])
def test_nothing_called_so_is_said_beside_the_field(client_of, typed):
    designs(MOST + 20)
    answer = client_of("lead").post(ADD, {**said(), "design-typed": typed})
    assert "Nothing here is called that" in answer.content.decode()
    assert answer.status_code in (200, 422)
    assert not Part.objects.exists()


def test_an_empty_one_is_missing_and_the_page_grows_with_nothing(client_of):
    designs(MOST + 20)
    lead = client_of("lead")
    page = lead.post(ADD, {**said(), "design-typed": " "}).content.decode()
    assert "Choose one." in page

    def cost():
        with CaptureQueriesContext(connection) as seen:
            weight = len(lead.get(ADD).content)
        return len(seen), weight

    before = cost()
    designs(500, start=1000)
    assert cost() == before


def test_a_filter_takes_a_key_of_a_link_and_a_name_that_was_typed(client_of, people):
    from qa.models import Joint
    from tests.qa.making import make_joint

    lead = client_of("lead")
    joint = make_joint(people["lead"])
    original = Joint.objects.get(pk=joint.pk)
    with by_hand():
        Joint.objects.bulk_create(
            Joint(
                type=original.type,
                position=original.position,
                surround=original.surround,
                current=original.current,
                number=f"X-{n}",
                name=f"Bulk {n}",
            )
            for n in range(MOST + 1)
        )
    for asked in (f"joint={joint.pk}", f"joint-typed={joint.number}"):
        page = lead.get(f"/fit-checks/?{asked}").content.decode()
        assert f'name="joint-typed" value="{joint.number}"' in page
