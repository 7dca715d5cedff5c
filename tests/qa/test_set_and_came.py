"""What came after settings, from records: own arithmetic, a door that only slides."""

import math

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qa.actions.settings import Set, Settings, record_settings
from qa.models import Check, FitUp
from qa.queries.joints.predicted_and_done import came_view
from qa.rules import setting_rounds
from tests.qa.hung import hung_check, read_displaced
from tests.qa.making import make_check

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]

HINGES = ("upper hinge: aft/fore", "lower hinge: aft/fore")
# How much further aft than it was set the door went, mm, round by round.
FURTHER = (0.1, -0.2, 0.1, 0.3, -0.1, 0.2)


@pytest.fixture
def engineer(people):
    return people["engineer"]


def set_aft(by, check: Check, change: float, at: float) -> None:
    """Both hinges by the same: the door slides along x, and a gap closes by that much
    of it that lies along its gap direction."""
    changes = {
        one.label: [-round(change * 1e6 * one.gap_x_e9 / 1e9), 0]
        for one in check.fit_up.revision.stations.all()
    }
    made = [Set(name, round((at + change) * 1e6)) for name in HINGES]
    record_settings(
        by=by, checks=[check], made=Settings(made, {check.fit_up_id: changes})
    )


def set_and_measured(by, rounds: int):
    """A door that is set 0.2 aft and fore in turn; it goes further than it was set."""
    check = hung_check(by)
    position, set_to, x = check.fit_up.joint.position, 0.0, 0.0
    read_displaced(check)
    for further in FURTHER[:rounds]:
        change = 0.2 if set_to <= 0 else -0.2
        set_aft(by, check, change, set_to)
        set_to, x = set_to + change, x + change + further
        check = make_check(by, FitUp.objects.latest("pk"))
        read_displaced(check, shift=(x, 0, 0))
    return position


def test_the_spread_of_settings_is_that_of_what_came(engineer):
    """sqrt((0.01 + 0.04 + 0.01 + 0.09 + 0.01 + 0.04) / 6) = 0.183, on average 0.067
    further. Both hinges went alike, and their readings tell them apart."""
    story = setting_rounds.of_position(set_and_measured(engineer, 6))
    assert [one.why for one in story.done] == [""] * 6
    assert sorted(one.name for one in story.came) == sorted(HINGES)
    for one in story.came:
        assert one.errors == pytest.approx(FURTHER, abs=2e-3)
        assert one.spread == pytest.approx(math.sqrt(0.2 / 6), abs=1e-3)
        assert one.mean == pytest.approx(0.4 / 6, abs=1e-3)


def test_stations_tell_how_far_predictions_were_off(engineer):
    position = set_and_measured(engineer, 4)
    ((joint, stations),) = setting_rounds.of_position(position).stations
    along = {one.label: one.gap_x_e9 / 1e9 for one in joint.current.stations.all()}
    for one in stations:
        wanted = [-further * along[one.label] for further in FURTHER[:4]]
        assert [nm / 1e6 for nm in one.gaps] == pytest.approx(wanted, abs=2e-4)
        assert one.flushes == [0, 0, 0, 0]


def test_fewer_than_four_rounds_are_refused(engineer):
    view = came_view(set_and_measured(engineer, 3), "mm")
    assert view.offered == {}
    for row in view.adjusters:
        assert row.rounds == 3 and "4 rounds" in row.why and row.spread == ""


def test_a_setting_without_its_prediction_tells_nothing(engineer):
    check = hung_check(engineer)
    read_displaced(check)
    made = Settings([Set(HINGES[0], 200_000)], {})
    record_settings(by=engineer, checks=[check], made=made)
    again = make_check(engineer, FitUp.objects.latest("pk"))
    read_displaced(again, shift=(0.2, 0, 0))
    story = setting_rounds.of_position(check.fit_up.joint.position)
    assert [one.why for one in story.done] == ["unpredicted"] and story.came == ()


def test_settings_made_twice_before_measuring_tell_nothing_apart(engineer):
    check = hung_check(engineer)
    read_displaced(check)
    set_aft(engineer, check, 0.2, 0.0)
    second = make_check(engineer, FitUp.objects.latest("pk"))
    set_aft(engineer, second, 0.2, 0.2)
    again = make_check(engineer, FitUp.objects.latest("pk"))
    read_displaced(again, shift=(0.5, 0, 0))
    story = setting_rounds.of_position(check.fit_up.joint.position)
    assert [one.why for one in story.done] == ["twice"]
    assert story.done[0].changes_nm == dict.fromkeys(HINGES, 400_000)


def test_the_spread_is_offered_as_what_it_is_set_within(engineer, client_of):
    position = set_and_measured(engineer, 5)
    client = client_of("engineer")
    page = client.get(f"/positions/{position.pk}/held/came/")
    words = page.content.decode()
    offered = page.context["view"].offered
    # sqrt((0.01 + 0.04 + 0.01 + 0.09 + 0.01) / 5)
    assert offered == dict.fromkeys(HINGES, 179_000)
    assert "0.179 mm" in words and "?set_u=came" in words
    held = client.get(f"/positions/{position.pk}/held/").content.decode()
    assert f"/positions/{position.pk}/held/came/" in held
    state = client.get(f"/positions/{position.pk}/held/state/?set_u=came")
    assert f"on record: {HINGES[0]}" in " ".join(state.content.decode().split())
    form = state.context["form"]
    said = {name: form[name].value() for name in form.fields}
    of = {
        said[f"of_{n}"]: said[f"set_u_{n}"]
        for n in range(9)
        if said.get(f"word_{n}") == "aft"
    }
    assert of == {"upper hinge": "0.179", "lower hinge": "0.179"}
    sent = {name: value for name, value in said.items() if value is not None}
    sent |= {"based_on": "1"}
    answer = client.post(f"/positions/{position.pk}/held/state/", sent)
    assert answer.status_code == 302
    stated = {
        one.set_u_nm
        for point in position.holdings.order_by("-number").first().points.all()
        for one in point.adjusters.all()
        if one.direction.plus == "aft"
    }
    assert stated == {179_000}
    assert (
        client_of("visitor").get(f"/positions/{position.pk}/held/came/").status_code
        == 200
    )
    # What is stated already is not offered again.
    assert came_view(position, "mm").offered == {}
    state = client.get(f"/positions/{position.pk}/held/state/?set_u=came")
    assert "over the rounds on record" not in " ".join(state.content.decode().split())


def test_a_part_that_was_never_set_says_so(engineer, client_of):
    check = hung_check(engineer)
    position = check.fit_up.joint.position
    page = client_of("builder").get(f"/positions/{position.pk}/held/came/")
    assert "Nothing was set and then measured yet" in page.content.decode()


def test_the_page_needs_the_same_statements_for_1_round_and_for_6(engineer, client_of):
    client, counts = client_of("builder"), []
    for rounds in (1, 6):
        position = set_and_measured(engineer, rounds)
        client.get(f"/positions/{position.pk}/held/came/")
        with CaptureQueriesContext(connection) as caught:
            assert client.get(f"/positions/{position.pk}/held/came/").status_code == 200
        counts.append(len(caught))
    assert counts[0] == counts[1]
