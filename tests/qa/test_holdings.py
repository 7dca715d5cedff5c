"""How a part is held: stated in words, kept, set, and known at the next check."""

import pytest

from qa.actions.settings import Set, Settings, record_settings
from qa.models import AdjusterSetting, FitUp, FitUpReason, Holding
from qa.rules import adjusters as rules
from qa.wording.settings import now_words, settings_text
from shop.ledger import Refused
from shop.ledger.verify import verify
from tests.qa.making import make_check, make_joint, make_position, read_all

pytestmark = pytest.mark.django_db
MM = 1_000_000


@pytest.fixture
def engineer(people):
    return people["engineer"]


FORM = {
    "unit": "mm",
    "points_count": "3",
    "adjusters_count": "3",
    "plus_0": "aft",
    "minus_0": "fore",
    "x_0": "1",
    "plus_1": "out",
    "minus_1": "in",
    "z_1": "1",
    "name_0": "upper hinge",
    "kind_0": "hinge",
    "at_x_0": "-400",
    "at_y_0": "200",
    "name_1": "latch",
    "kind_1": "latch",
    "at_x_1": "400",
    "at_y_1": "1/4 in",
    "of_0": "upper hinge",
    "word_0": "fore",
    "far_0": "1.5",
    "back_0": "2",
    "step_0": "0.1",
    "by_0": "length",
    "of_1": "latch",
    "word_1": "out",
    "far_1": "1",
    "step_1": "0.5",
    "by_1": "shim",
    "set_u_1": "0.02",
}


def state(client_of, position, **other):
    client = client_of("engineer")
    return client.post(f"/positions/{position.pk}/held/state/", {**FORM, **other})


def held(engineer, client_of):
    check = make_check(engineer)
    read_all(check)
    fit_up = check.fit_up
    assert state(client_of, fit_up.joint.position).status_code == 302
    return check, fit_up


def test_what_is_stated_in_words_is_kept_along_the_direction(engineer, client_of):
    position = make_position(engineer)
    assert state(client_of, position).status_code == 302
    hinge, latch = rules.present(None, position)
    assert hinge.name == "upper hinge: aft/fore"
    # "fore, at most 1.5 and back at most 2" is from 1.5 against to 2 along aft.
    assert (hinge.min_nm, hinge.max_nm) == (-1_500_000, 2_000_000)
    assert latch.place_nm == (400 * MM, 6_350_000, 0)
    assert latch.set_u_nm == 20_000
    assert not verify().faults
    page = client_of("visitor").get(f"/positions/{position.pk}/held/")
    assert "upper hinge" in page.content.decode()


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("minus_0", "", "two words"),
        ("minus_1", "aft", "there twice"),
        ("z_1", "", "where it points"),
        ("name_1", "upper hinge", "there twice"),
        ("at_x_0", "", "missing"),
        ("at_x_0", "near the post", "a number"),
        ("of_0", "lower hinge", "No place above"),
        ("word_0", "sideways", "No direction above"),
        ("step_0", "0", "more than 0"),
        ("step_0", "-0.1", "more than 0"),
        ("far_0", "-1", "less than 0"),
        ("far_0", "", "missing"),
        ("far_0", "nan", "number"),
        ("back_0", "-1", "less than 0"),
        ("kind_1", "glue", "Choose one"),
    ],
)
def test_what_is_wrong_is_told_beside_its_field_and_nothing_is_lost(
    engineer, client_of, field, value, message
):
    position = make_position(engineer)
    page = state(client_of, position, **{field: value})
    assert page.status_code == 200
    form = page.context["form"]
    assert message in str(form.errors[field.replace("z_1", "x_1")])
    assert form["far_1"].value() == "1"
    assert not Holding.objects.exists()


def test_a_pin_is_not_set_and_too_fine_a_range_is_refused(engineer, client_of):
    position = make_position(engineer)
    page = state(client_of, position, kind_1="pin")
    assert "cannot be set" in page.content.decode()
    page = state(client_of, position, step_0="0.001")
    assert "steps" in page.content.decode()


def test_more_rows_keep_what_was_typed_and_save_nothing(engineer, client_of):
    position = make_position(engineer)
    page = state(client_of, position, do="more", name_2="strut")
    form = page.context["form"]
    assert form.counts["points"] == 7
    assert form["name_2"].value() == "strut"
    assert not Holding.objects.exists()


def test_of_two_who_state_it_at_once_the_second_is_told(engineer, client_of):
    position = make_position(engineer)
    assert state(client_of, position, based_on="0").status_code == 302
    page = state(client_of, position, based_on="0")
    assert "anew in the meantime" in page.content.decode()
    assert Holding.objects.count() == 1


@pytest.mark.parametrize("start", sorted(rules.TYPICAL))
def test_every_usual_way_to_hold_a_part_can_be_stated_as_it_is_offered(
    engineer, client_of, start
):
    position = make_joint(engineer).position
    client = client_of("engineer")
    page = client.get(f"/positions/{position.pk}/held/state/?start={start}")
    form = page.context["form"]
    said = {name: form[name].value() or "" for name in form.fields}
    done = client.post(f"/positions/{position.pk}/held/state/", said)
    assert done.status_code == 302, form.errors
    assert len(rules.present(None, position)) >= 5


def test_a_setting_opens_the_next_fit_up_and_is_known_then(engineer, client_of):
    check, fit_up = held(engineer, client_of)
    opened = record_settings(
        by=engineer,
        checks=[check],
        made=Settings(
            [Set("upper hinge: aft/fore", 600_000, "0.6", "mm")], {fit_up.pk: {}}
        ),
    )
    assert opened[0].reason == FitUpReason.SET
    hinge, latch = rules.present(fit_up.airframe, fit_up.joint.position)
    assert (hinge.now_nm, latch.now_nm) == (600_000, 0)
    assert not verify().faults


def test_a_setting_outlives_a_new_statement_and_leaves_other_airframes_alone(
    engineer, client_of
):
    check, fit_up = held(engineer, client_of)
    record_settings(
        by=engineer,
        checks=[check],
        made=Settings([Set("upper hinge: aft/fore", 600_000)], {}),
    )
    position = fit_up.joint.position
    assert state(client_of, position, far_0="3").status_code == 302
    hinge, _latch = rules.present(fit_up.airframe, position)
    assert (hinge.now_nm, hinge.min_nm) == (600_000, -3 * MM)
    other, _latch = rules.present(None, position)
    assert other.now_nm == 0


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("lower hinge: aft/fore", 1, "Nothing called"),
        ("upper hinge: aft/fore", 2_000_001, "from -1.5 to 2"),
        ("upper hinge: aft/fore", 0, "nothing to record"),
    ],
)
def test_what_cannot_be_set_is_refused(engineer, client_of, name, value, message):
    check, _fit_up = held(engineer, client_of)
    with pytest.raises(Refused, match=message):
        record_settings(
            by=engineer, checks=[check], made=Settings([Set(name, value)], {})
        )
    assert not AdjusterSetting.objects.exists()
    assert FitUp.objects.count() == 1


@pytest.mark.parametrize(
    ("step_kind", "step", "change", "words"),
    [
        ("length", 100_000, 600_000, "hinge: 0.6 mm aft"),
        ("length", 100_000, -50_000, "hinge: 0.05 mm fore"),
        ("shim", 500_000, -500_000, "hinge: take one 0.5 mm shim out"),
        ("shim", 500_000, 1_000_000, "hinge: put two 0.5 mm shims in"),
        ("turn", 250_000, -250_000, "hinge: a quarter turn, 0.25 mm fore"),
        ("turn", 250_000, 500_000, "hinge: half a turn, 0.5 mm aft"),
        ("turn", 250_000, 750_000, "hinge: three quarters of a turn, 0.75 mm aft"),
        ("turn", 312_500, 1_250_000, "hinge: 1 turn, 1.25 mm aft"),
        ("turn", 312_500, -1_562_500, "hinge: 1¼ turns, 1.5625 mm fore"),
    ],
)
def test_a_change_is_told_as_hands_make_it(step_kind, step, change, words):
    one = rules.Present(
        name="hinge: aft/fore",
        point="hinge",
        kind="hinge",
        plus="aft",
        minus="fore",
        place_nm=(0, 0, 0),
        direction_e9=(10**9, 0, 0),
        min_nm=-2 * MM,
        max_nm=2 * MM,
        step_nm=step,
        step_kind=step_kind,
        turn_e3=250 if step_kind == "turn" else None,
        set_u_nm=0,
        now_nm=0,
    )
    assert settings_text([(one, change)], "mm") == words
    if step_kind == "turn":
        assert f"hinge: {now_words(one, change, 'mm')}" == words


def test_the_verb_needs_its_right(engineer, client_of):
    position = make_position(engineer)
    builder, here = client_of("builder"), f"/positions/{position.pk}/held/"
    assert builder.get(here).status_code == 200
    assert builder.get(f"{here}state/").status_code == 403
