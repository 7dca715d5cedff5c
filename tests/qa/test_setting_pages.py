"""What a part was set to: typed at the desk in whole steps, seen first, recorded."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qa.forms.settings import SettingsForm
from qa.models import AdjusterSetting, AppliedMove, FitUp, FitUpReason
from qa.rules import adjusters, history, staleness, trim_rounds
from qa.wording.settings import change_words
from shop.ledger.verify import verify
from tests.qa.hung import hung_check, read_displaced
from tests.qa.making import make_check, make_fit_up, make_joint, read_all

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]
UPPER, LOWER = "upper hinge: aft/fore", "lower hinge: aft/fore"


@pytest.fixture
def engineer(people):
    return people["engineer"]


def here(check):
    return f"/fit-checks/{check.entry_id}/set/"


def rows_of(check):
    fit_up = check.fit_up
    found = adjusters.present(fit_up.airframe, fit_up.joint.position)
    return {one.name: (row, one) for row, one in enumerate(found)}


def typed(check, unit="mm", do="", **changes):
    """A form as a browser sends it: `changes` by name, "0.6 plus"."""
    said = {"unit": unit, "note": "", "do": do}
    for name, (row, one) in rows_of(check).items():
        text, _, way = changes.get(name, "").partition(" ")
        said |= {f"setting_{row}": text, f"way_{row}": way or "plus"}
        said |= {f"was_{row}": str(one.now_nm)}
    return said


def test_a_door_set_aft_is_seen_first_and_then_recorded(engineer, client_of):
    check = hung_check(engineer)
    read_displaced(check, shift=(-0.6, 0, 0))
    said = {UPPER: "0.6 plus", LOWER: "0.6 plus"}
    client = client_of("builder")
    page = client.post(here(check), typed(check, do="see", **said))
    seen = page.context["seen"]
    assert seen.words == "upper hinge: 0.6 mm aft; lower hinge: 0.6 mm aft"
    assert not seen.wrong and not seen.apart
    assert {one.gap_after for one in seen.rows} == {"2.25"}
    assert "What it should do" in page.content.decode()
    assert not AdjusterSetting.objects.exists()
    assert client.post(here(check), typed(check, **said)).status_code == 302
    opened = FitUp.objects.latest("number")
    assert (opened.number, opened.reason) == (2, FitUpReason.SET)
    assert {n: one.now_nm for n, (_, one) in rows_of(check).items() if one.now_nm} == {
        UPPER: 600_000,
        LOWER: 600_000,
    }
    assert AppliedMove.objects.get().words == seen.words
    assert not verify().faults


def test_what_settings_should_do_is_expected_at_the_next_check(engineer, client_of):
    check = hung_check(engineer)
    read_displaced(check, shift=(-0.6, 0.2, 0))
    said = typed(check, **{UPPER: "0.6 plus", LOWER: "0.6 plus"})
    client_of("builder").post(here(check), said)
    fit_up = FitUp.objects.latest("number")
    rows = history.load(fit_up.airframe, [fit_up.joint])
    state = staleness.states(rows)[fit_up.joint_id]
    assert not state.now.values
    expected = trim_rounds.expected(rows, state)
    # Straight aft: a side that faces aft reads 2.25 again, those above and below as
    # the 0.2 up leave them.
    for one in fit_up.revision.stations.all():
        nm = 2_250_000 - round(200_000 * one.gap_y_e9 / 1e9)
        assert expected[one.label, "gap"] == pytest.approx(nm, abs=200)


@pytest.mark.parametrize(
    ("name", "change", "message"),
    [
        (UPPER, "0.65 plus", "0.6 or 0.7"),
        (UPPER, "2.1 minus", "From here it goes 2 mm aft, 2 mm fore at most"),
        (UPPER, "-0.6 plus", "without a sign"),
        (UPPER, "a lot plus", "number"),
        ("upper hinge: out/in", "1.5 plus", "Whole shims"),
        ("upper hinge: out/in", "5 plus", "2 mm out"),
        ("upper hinge: out/in", "1/0 plus", "Whole shims"),
        ("latch: out/in", "", "Say what was set otherwise"),
    ],
)
def test_what_hands_cannot_set_is_told_beside_its_field_and_nothing_is_lost(
    engineer, client_of, name, change, message
):
    check = hung_check(engineer)
    read_all(check)
    page = client_of("builder").post(here(check), typed(check, **{name: change}))
    row = rows_of(check)[name][0]
    form = page.context["form"]
    field = f"setting_{row}" if change else "__all__"
    assert message in str(form.errors[field])
    assert form[f"setting_{row}"].value() == change.split(" ")[0]
    assert message in page.content.decode() and not AdjusterSetting.objects.exists()


@pytest.mark.parametrize("typical", ["hinged", "canopy"])
def test_shims_and_turns_are_counted_as_hands_count_them(engineer, client_of, typical):
    check = hung_check(engineer, typical=typical)
    read_all(check)
    name, said, nm = {
        "hinged": ("upper hinge: out/in", "2 minus", -1_000_000),
        "canopy": ("front roller, port: out/in", "3/4 plus", 600_000),
    }[typical]
    done = client_of("builder").post(here(check), typed(check, **{name: said}))
    assert done.status_code == 302
    assert rows_of(check)[name][1].now_nm == nm
    page = client_of("builder").get(
        f"/positions/{check.fit_up.joint.position_id}/held/"
    )
    assert page.status_code == 200


def test_turns_are_read_as_they_are_told(engineer):
    check = hung_check(engineer, typical="canopy")
    present = adjusters.present(check.fit_up.airframe, check.fit_up.joint.position)
    name = "front roller, port: out/in"
    row = [adjuster.name for adjuster in present].index(name)

    def form_of(text):
        said = {**typed(check, **{name: "- plus"}), f"setting_{row}": text}
        return SettingsForm(said, present=present, unit="mm")

    assert form_of("").rows[row]["step"] == "a quarter turn, 0.2 mm"
    for text, quarters in (
        ("1", 4), ("1/4", 1), ("¼", 1), ("¾", 3), ("0,75", 3), ("1 1/4", 5), ("1¼", 5),
    ):  # fmt: skip
        form = form_of(text)
        assert form.is_valid(), (text, form.errors)
        assert form.changes_nm[row] == quarters * 200_000, text
        assert change_words(present[row], form.changes_nm[row], "mm").startswith(
            {1: "a quarter turn", 3: "three quarters", 4: "1 turn", 5: "1¼ turns"}[
                quarters
            ]
        )
    steps = "In steps of a quarter turn, 0.2 mm."
    for text, words in (
        ("0.3", steps), ("1 2", steps), ("1 0.5/2", steps), ("x", steps),
        ("1/0", steps), ("−1", "Say how far without a sign."),
    ):  # fmt: skip
        assert form_of(text).errors[f"setting_{row}"] == [words], text


def test_a_step_in_millimeters_can_be_typed_in_inches(engineer, client_of):
    check = hung_check(engineer)
    read_all(check)
    said = {UPPER: "0.00394 plus", LOWER: "0.00394 plus"}
    done = client_of("builder").post(here(check), typed(check, "in", **said))
    assert done.status_code == 302
    assert rows_of(check)[UPPER][1].now_nm == 100_000


def test_settings_that_pull_against_each_other_are_recorded_and_said_to(
    engineer, client_of
):
    check = hung_check(engineer)
    read_all(check)
    said = {"upper hinge: up/down": "0.4 plus"}
    client = client_of("builder")
    page = client.post(here(check), typed(check, do="see", **said))
    # Both hinges on one line: a rigid part halves what they do not agree on.
    assert page.context["seen"].apart == "0.20 mm"
    assert client.post(here(check), typed(check, **said)).status_code == 302


def test_a_part_that_was_set_since_is_not_set_by_an_old_page(engineer, client_of):
    check = hung_check(engineer)
    read_all(check)
    said = typed(check, **{UPPER: "0.6 plus"})
    client = client_of("builder")
    assert client.post(here(check), said).status_code == 302
    page = client.post(here(check), said)
    assert page.status_code == 200 and AdjusterSetting.objects.count() == 1
    assert "Measure again before the next step" in page.content.decode()


def test_a_part_with_nothing_to_set_leads_to_how_it_is_held(engineer, client_of):
    check = make_check(engineer, make_fit_up(engineer, make_joint(engineer)))
    page = client_of("builder").get(here(check))
    assert page.url == f"/positions/{check.fit_up.joint.position_id}/held/"


def test_recording_needs_the_right_to_work_on_parts(engineer, client_of):
    check = hung_check(engineer)
    assert client_of("visitor").get(here(check)).status_code == 403
    assert client_of("visitor").post(here(check)).status_code == 403


def test_the_page_takes_as_many_statements_for_thirty_stations_as_for_four(
    engineer, client_of
):
    client, counts = client_of("builder"), []
    for count in (4, 4, 30):
        check = hung_check(engineer, count)
        read_all(check)
        with CaptureQueriesContext(connection) as asked:
            client.post(here(check), typed(check, do="see", **{UPPER: "0.6 plus"}))
        counts.append(len(asked))
    assert counts[1] == counts[2]
