"""Gauge studies at the desk and as a tablet carries them: 10 places, 3 people, 3 times
each, hidden until all is read; what they say is what the command says, and what is
judged by."""

import io
import json
from datetime import date

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from qa.actions import gauge_studies as actions
from qa.actions.gauges import record_calibration, save_budget
from qa.drawing.scene import Text
from qa.models import GaugeBudget, StudyValue
from qa.queries import gauge_studies as queries
from qa.queries.tablet.offline_copy import carry
from qa.queries.tablet.studies import studies_to_carry
from qa.rules import gauge_studies as rules
from shop.ledger import Refused
from tests.qa.making import make_instrument, mm

PLACES = [str(n) for n in range(1, 11)]


@pytest.fixture
def three(people):
    return [people[role] for role in ("builder", "lead", "engineer")]


def plan(people, three, **said):
    usual = {"what": "gap of a block", "places": PLACES, "people": three, "repeats": 3}
    return actions.plan_study(
        by=people["engineer"],
        instrument=said.pop("instrument", None) or make_instrument(people["engineer"]),
        **{**usual, **said},
    )


def value_of(turn, three) -> str:
    """A place differs by 0.3, a person by 0.02, a repeat by what looks like chance."""
    who = [one.pk for one in three].index(turn.person)
    wave = (7 * int(turn.place) + 5 * who + 11 * turn.repeat) % 9 - 4
    return f"{2 + 0.3 * int(turn.place) + 0.02 * who + 0.005 * wave:.3f}"


def read_all(study, three, but=0):
    state = rules.state_of(study)
    for turn in state.turns[: len(state.turns) - but]:
        if turn.number not in state.values:
            actions.record_value(
                by=three[0],
                study=study,
                turn=turn.number,
                value=value_of(turn, three),
                unit="mm",
            )


def test_every_person_reads_every_place_equally_often_in_an_own_shuffled_order(
    people, three
):
    study = plan(people, three)
    turns = [tuple(row) for row in study.order]
    assert len(turns) == len(set(turns)) == 90
    orders = {}
    for person, place, _n in turns:
        orders.setdefault(person, []).append(place)
    assert set(orders) == {one.pk for one in three}
    assert len({tuple(order) for order in orders.values()}) == 3
    for order in orders.values():
        assert sorted(order) == sorted(PLACES * 3)
        assert all(a != b for a, b in zip(order, order[1:], strict=False))


def test_it_says_what_the_command_says_of_the_same_values(
    people, three, tmp_path, capsys
):
    study = plan(people, three, tolerance_nm=mm(1.0))
    read_all(study, three)
    state = rules.state_of(study)
    lines = ["part,person,value"]
    lines += [f"{t.place},{t.person},{value_of(t, three)}" for t in state.turns]
    path = tmp_path / "study.csv"
    path.write_text("\n".join(lines))
    call_command("gauge_study", str(path), "--tolerance", "1.0", "--json")
    said = json.loads(capsys.readouterr().out)
    found = state.says(rules.names_of(three))
    for name, sd in said["sd"].items():
        assert found.sd[name] == pytest.approx(sd)
    page = queries.study_page(study, "mm")
    assert dict(page.finding.shares)["Share of the limits, 6 sd"] == (
        f"{said['share_of_tolerance']:.1%}"
    )
    assert any(
        line.startswith("In mm: good enough for limits of")
        for line in page.finding.advice
    )


def test_no_value_is_seen_before_all_are_read(people, three, client_of):
    study = plan(people, three)
    read_all(study, three, but=1)
    assert rules.state_of(study).says(rules.names_of(three)) is None
    assert queries.study_page(study, "mm").finding is None
    client = client_of("builder")
    last = rules.state_of(study).turns[-1]
    pages = [
        client.get(f"/gauge-studies/{study.number}/"),
        client.get(f"/gauge-studies/{study.number}/by/{last.person}/"),
    ]
    for answer in pages:
        words = answer.content.decode()
        assert not any(value.value in words for value in StudyValue.objects.all())
    assert f"Read at <strong>{last.place}</strong>" in pages[1].content.decode()


def test_a_study_becomes_the_uncertainty_of_its_instrument(people, three, client_of):
    gauge = make_instrument(people["engineer"], resolution_nm=mm(0.01))
    study = plan(people, three, instrument=gauge)
    with pytest.raises(Refused, match="says nothing yet"):
        actions.use_study(by=people["engineer"], study=study)
    read_all(study, three)
    page = client_of("engineer").get(f"/gauge-studies/{study.number}/")
    assert f"/gauge-studies/{study.number}/use/" in page.content.decode()
    row = actions.use_study(by=people["engineer"], study=study)
    found = rules.state_of(study).says(rules.names_of(three))
    lines = {line["name"]: line for line in row.rows}
    assert lines["repeatability"]["value_nm"] == mm(found.sd["repeatability"])
    assert lines["operator"]["value_nm"] == mm(found.sd["reproducibility"])
    assert lines["operator"]["df"] == 2
    assert lines["resolution"]["value_nm"] == mm(0.01)
    gauge.refresh_from_db()
    assert gauge.u_nm == row.judged_nm > row.u_nm
    again = actions.use_study(by=people["engineer"], study=study)
    assert [line["name"] for line in again.rows].count("repeatability") == 1
    assert GaugeBudget.objects.count() == 2


def test_a_study_lowers_a_stated_uncertainty_without_a_calibration_only_by_consent(
    people, three, client_of
):
    """0.080 mm stated as a whole, perhaps with what a certificate said in it."""
    gauge = make_instrument(people["engineer"], u_nm=mm(0.08), resolution_nm=mm(0.01))
    study = plan(people, three, instrument=gauge)
    read_all(study, three)
    client, at = client_of("engineer"), f"/gauge-studies/{study.number}/"
    words = client.get(at).content.decode()
    assert "Until now: standard uncertainty 0.080 mm, stated as a whole" in words
    assert "Calibration is not among them" in words
    assert 'name="smaller" required' in words
    assert "no calibration in it" in (
        client.post(f"{at}use/", follow=True).content.decode()
    )
    gauge.refresh_from_db()
    assert gauge.u_nm == mm(0.08) and not GaugeBudget.objects.exists()
    client.post(f"{at}use/", {"smaller": "on"})
    gauge.refresh_from_db()
    assert gauge.u_nm < mm(0.08)
    words = client.get(at).content.decode()
    assert "of resolution, repeatability, operator" in words
    assert 'name="smaller"' not in words  # smaller than now it does not get


def test_a_study_takes_in_the_uncertainty_of_the_last_certificate(
    people, three, client_of
):
    by = people["engineer"]
    gauge = make_instrument(by, u_nm=mm(0.08), resolution_nm=mm(0.01))
    study = plan(people, three, instrument=gauge)
    read_all(study, three)
    without = rules.budget_by(study, rules.state_of(study).says(rules.names_of(three)))
    assert without.unfounded
    certified = {"done_on": date(2026, 1, 5), "laboratory": "Lab", "result": "good"}
    certified |= {"expanded_nm": mm(0.03), "k_e3": 2000, "instrument": gauge}
    record_calibration(by=by, **certified)
    words = client_of("engineer").get(f"/gauge-studies/{study.number}/")
    assert "certificate of Lab, 2026-01-05" in words.content.decode()
    budget = actions.use_study(by=by, study=study)
    lines = {line["name"]: line for line in budget.rows}
    assert lines["calibration"]["value_nm"] == mm(0.03)
    squares = mm(without.becomes.u) ** 2 + mm(0.015) ** 2
    assert budget.u_nm == pytest.approx(squares**0.5, abs=2)
    assert budget.u_nm < mm(0.08)
    stated = [line for line in budget.rows if line["name"] != "calibration"]
    stated.append(lines["calibration"] | {"value_nm": mm(0.05)})
    save_budget(by=by, instrument=gauge, rows=stated)
    rows = actions.use_study(by=by, study=study).rows  # stated after the certificate
    assert [r["value_nm"] for r in rows if r["name"] == "calibration"] == [mm(0.05)]
    record_calibration(by=by, **certified | {"expanded_nm": mm(0.04)})
    rows = actions.use_study(by=by, study=study).rows
    assert [r["value_nm"] for r in rows if r["name"] == "calibration"] == [mm(0.04)]


def test_a_turn_is_read_once_and_replaced_with_a_reason(people, three):
    study = plan(people, three)
    said = {"by": three[0], "study": study, "turn": 0, "unit": "mm"}
    first = actions.record_value(**said, value="2.00")
    with pytest.raises(Refused, match="read already"):
        actions.record_value(**said, value="2.10")
    with pytest.raises(Refused, match="Say why"):
        actions.record_value(**said, value="2.10", supersedes=first)
    actions.record_value(**said, value="2.10", supersedes=first, reason="slipped")
    assert rules.state_of(study).values[0].value_nm == mm(2.1)
    with pytest.raises(Refused, match="no such turn"):
        actions.record_value(**{**said, "turn": 90}, value="1")


def test_values_all_alike_say_nothing_and_why(people, three):
    study = plan(people, three, places=["1", "2"], repeats=2)
    for turn in rules.state_of(study).turns:
        actions.record_value(
            by=three[0], study=study, turn=turn.number, value="2.00", unit="mm"
        )
    page = queries.study_page(study, "mm")
    assert "no spread" in page.finding.problem


def test_where_the_steps_of_the_gauge_hide_the_spread_nobody_is_led_to_judge_by_it(
    people, three, client_of
):
    """Every repeat and every person alike, only the places differ."""
    study = plan(people, three, places=["1", "2"], repeats=2)
    for turn in rules.state_of(study).turns:
        actions.record_value(
            by=three[0],
            study=study,
            turn=turn.number,
            value=f"2.0{turn.place}",
            unit="mm",
        )
    page = client_of("engineer").get(f"/gauge-studies/{study.number}/")
    words = page.content.decode()
    with pytest.raises(Refused) as no:
        actions.use_study(by=people["engineer"], study=study)
    assert no.value.message in words and "No spread was seen" in words
    assert "What it says" in words and "/use/" not in words


def test_a_plan_of_one_person_or_one_place_is_refused_beside_its_field(
    people, three, client_of
):
    gauge = make_instrument(people["engineer"])
    client = client_of("lead")
    said = {
        "instrument": gauge.pk, "what": "blocks", "places": "1\n1\n2", "repeats": 2,
        "people": [three[0].pk], "unit": "mm",
    }  # fmt: skip
    form = client.post("/gauge-studies/new/", said).context["form"]
    assert form.errors["places"]
    said["places"] = "1\n2"
    answer = client.post("/gauge-studies/new/", said)
    assert answer.context["form"].errors["people"]
    assert "blocks" in answer.content.decode()
    said["people"] = [one.pk for one in three]
    lost = make_instrument(people["engineer"], status="lost")
    answer = client.post("/gauge-studies/new/", said | {"instrument": lost.pk})
    assert answer.context["form"].errors["instrument"]
    assert client.post("/gauge-studies/new/", said).status_code == 302


def test_a_study_is_measured_in_the_browser_form_by_form(people, three, client_of):
    study = plan(people, three, places=["1", "2"], repeats=2)
    client = client_of("builder")
    for one in three:
        url = f"/gauge-studies/{study.number}/by/{one.pk}/"
        for _ in range(4):
            form = client.get(url).context["form"]
            turn = form.initial["turn"]
            place = study.order[turn][1]
            bad = client.post(url, {"turn": turn, "unit": "mm", "value": "x"})
            assert bad.context["form"].errors["value"]
            client.post(url, {"turn": turn, "unit": "mm", "value": f"{place}.0{turn}"})
    words = client.get(f"/gauge-studies/{study.number}/").content.decode()
    assert "What it says" in words
    assert client.get(url).status_code == 302


def test_a_tablet_carries_whose_turn_is_where_and_nothing_of_what_was_read(
    people, three
):
    def statements():
        with CaptureQueriesContext(connection) as said:
            studies_to_carry()
        return len(said)

    done = plan(people, three, places=["1", "2"], repeats=2)
    read_all(done, three)
    assert studies_to_carry() == []
    plan(people, three)
    few = statements()
    for _ in range(30):
        plan(people, three)
    assert statements() == few
    study = plan(people, three)
    read_all(study, three, but=40)
    (told,) = [one for one in carry()["studies"] if one["label"] == study.label]
    words = json.dumps(told)
    assert not any(value.value in words for value in study.values.all())
    assert [one["username"] for one in told["people"]] == [p.username for p in three]
    turns = [tuple(turn) for one in told["people"] for turn in one["turns"]]
    own = [(n, place, n < 50) for n, (_who, place, _r) in enumerate(study.order)]
    assert turns == own


def test_its_paper_has_the_plots_of_its_page_and_says_the_same(
    people, three, client_of
):
    study = plan(people, three, tolerance_nm=mm(1))
    client, at = client_of("visitor"), f"/gauge-studies/{study.number}/"
    read_all(study, three, but=1)
    assert client.get(f"{at}study.pdf").status_code == 404  # values stay hidden
    read_all(study, three)
    assert f"{at}study.pdf" in client.get(at).content.decode()
    answer = client.get(f"{at}study.pdf")
    assert answer.content == client.get(f"{at}study.pdf").content
    pages = PdfReader(io.BytesIO(answer.content)).pages
    text = " ".join("".join(page.extract_text() for page in pages).split())
    finding = queries.study_page(study, "mm").finding
    for words in (*finding.advice, *finding.head):
        assert words in text
    for scene in (finding.values, finding.spread):
        drawn = [shape.words for shape in scene.shapes if isinstance(shape, Text)]
        assert drawn and all(" ".join(words.split()) in text for words in drawn)
    assert "Analysis of variance" in text
    alike = plan(people, three, places=["1", "2"], repeats=2)
    for turn in rules.state_of(alike).turns:
        actions.record_value(
            by=three[0], study=alike, turn=turn.number, value="2", unit="mm"
        )
    answer = client.get(f"/gauge-studies/{alike.number}/study.pdf")
    assert answer.content.startswith(b"%PDF")


def test_a_list_takes_as_many_statements_for_one_study_as_for_many(
    people, three, client_of
):
    client = client_of("builder")

    def statements():
        with CaptureQueriesContext(connection) as said:
            client.get("/gauge-studies/")
        return len(said)

    plan(people, three)
    few = statements()
    for _ in range(5):
        plan(people, three)
    assert statements() == few
