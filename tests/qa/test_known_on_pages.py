"""How well moves, settings and cuts are known stands on the page, the papers and the
record of a plan, and no digit does that is not known."""

import io
import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from pypdf import PdfReader
from scipy.stats import norm

from qa.actions import gauges
from qa.demo import holding
from qa.models import FitPlan
from qa.numeric.plan.intervals import COVER
from qa.queries.plans import plan_pages as plans
from qa.queries.plans.move_texts import Telling, plan_moves
from qa.rules import plan_records, planning
from qa.rules.station_places import places_of
from qa.wording import lengths
from qa.wording import plans as texts
from shop.ledger.canonical import canonical
from shop.numeric.units import to_mm
from tests.qa.hung import hung_check, read_displaced
from tests.qa.making import make_check, make_fit_up, make_instrument, mm
from tests.qa.planned import a_joint, even, planned, read_at, shifted, take

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]


@pytest.fixture
def engineer(people):
    return people["engineer"]


def url(check, more="plan/"):
    return f"/fit-checks/{check.entry_id}/{more}"


def tight(by, u):
    """1.13 mm too tight at stations 3 and 4, read with a gauge of that uncertainty."""
    gauge = make_instrument(by, u_nm=mm(u))
    check = make_check(by, make_fit_up(by, a_joint(by)), instrument=gauge)
    read_at(check, even(s3="0.37", s4="0.37"))
    return check


def words_of(answer) -> str:
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


@pytest.mark.parametrize(
    ("half", "unit", "told", "less"),
    [
        (None, "mm", "0.43 mm", "0.43"),
        (0.0, "mm", "0.43 ± 0.00 mm", "0.43"),
        (0.2, "mm", "0.4 ± 0.2 mm", "0.4"),
        (0.21, "mm", "0.4 ± 0.3 mm", "0.4"),
        (0.04, "mm", "0.43 ± 0.04 mm", "0.43"),
        (0.004, "mm", "0.43 ± 0.01 mm", "0.43"),
        (1.4, "mm", "0 ± 2 mm", "0.43"),
        (0.2, "in", "0.017 ± 0.008 in", "0.016"),
        (0.03, "in", "0.017 ± 0.002 in", "0.016"),
    ],
)
def test_a_length_is_told_in_the_digits_that_are_known(half, unit, told, less):
    # 0.43 mm is 0.01693 in, 0.2 mm 0.00787 in, 0.03 mm 0.0012 in.
    assert lengths.known(0.43, half, unit) == told
    assert lengths.no_more(0.43, unit, half) == less


def test_of_a_move_that_is_nothing_in_the_digits_that_are_known_nothing_is_told():
    how = Telling("mm")
    assert how.far(0.03, 0.2) == how.far(0.004, None) == ""
    assert how.far(-0.06, 0.2) == "0.1 ± 0.2 mm" and how.far(0.03, None) == "0.03 mm"


def test_what_a_plan_does_not_tell_of_a_move_is_not_recorded_as_done(engineer):
    gauge = make_instrument(engineer, u_nm=mm(0.2))
    check = make_check(
        engineer, make_fit_up(engineer, a_joint(engineer)), instrument=gauge
    )
    shifted(check, x=-2.0)
    worked = planning.work_out(planned(check))
    named = zip(worked.plan.move.motions, worked.plan.move.raw, strict=True)
    raw = [0.03 if motion.name == "y" else amount for motion, amount in named]
    move = plans.made_move(worked, raw)
    # Up it is known to 0.2, of which 0.03 is nothing.
    wide = np.array(worked.plan.known.intervals.covariance)
    y = [motion.name for motion in move.motions].index("y")
    wide[y, y] = (0.2 / COVER) ** 2
    found = replace(worked.plan.known.intervals, covariance=wide.tolist())
    known = replace(worked.plan.known, intervals=found)
    worked.plan = replace(worked.plan, move=move, known=known)
    (words,) = plan_moves(worked, "mm")
    assert "right" in words and "up" not in words and "down" not in words
    made = plans.moved(worked, "mm")
    amounts = {one["name"]: float(one["amount"]) for one in made.amounts}
    assert amounts.pop("x") == pytest.approx(move.x_mm, abs=1e-4)
    assert not any(amounts.values())
    # What is expected after it follows what was done: nothing above and below.
    changes = made.changes[check.fit_up_id]
    stations = worked.main.state.seam.stations
    _places, gaps, _faces = places_of(stations)
    for station, direction in zip(stations, gaps, strict=True):
        by_hand = -move.x_mm * direction[0]
        assert changes[station.label][0] == pytest.approx(mm(by_hand), abs=mm(0.001))


def test_what_is_known_to_two_tenths_is_asked_for_in_tenths(engineer, client_of):
    check, client = tight(engineer, 0.1), client_of("builder")
    row = take(engineer, check)
    (three,) = (s for s in row.content["outcome"]["stations"] if s["label"] == "3")
    # A gap is read to 2 x 0.1, and nothing moves: so well is the trim known (by
    # 79 draws), and a bite of 0.6 of it to as much less, and to what of it is
    # not told.
    assert three["trim_half_nm"] == pytest.approx(mm(0.2), rel=0.25)
    untold = 0.6 * three["trim_asked_nm"] - mm(0.7)
    assert three["bite_half_nm"] == pytest.approx(0.6 * mm(0.2) + untold, rel=0.25)
    assert three["bite_nm"] == mm(0.7) < three["trim_asked_nm"]
    assert {c.bite_nm for c in row.cuts.all()} == {0, mm(0.7)}
    seen = client.get("/plans/1/").content.decode()
    assert re.search(r"0\.7 <small>± 0\.\d</small>", seen)
    assert re.search(r"1\.3 <small>± 0\.\d</small>", seen) and "0.7 mm at most" in seen
    assert "by the uncertainty of the readings" in seen
    order = words_of(client.get(url(check, "plan/work-order.pdf")))
    assert re.search(r"0\.7 ± 0\.\d", order) and re.search(r"1\.3 ± 0\.\d", order)
    client.post(url(check, "plan/template.pdf"))
    paper = words_of(client.get(url(check, "plan/template.pdf")))
    assert re.search(r"3: take 0\.7 of 1\.\d\b", paper)
    # Beside a depth to cut it would read as leave to cut deeper.
    assert "±" not in paper
    client.post(url(check, "plan/template.pdf?unit=in"))
    paper = words_of(client.get(url(check, "plan/template.pdf")))
    assert re.search(r"3: take 0\.02[78] of 0\.05\d?\b", paper)
    assert "4 in: measure this bar before cutting" in paper and "100 mm" not in paper


SHARED = (
    {"name": "resolution", "kind": "resolution", "value_nm": mm(0.02)},
    {"name": "calibration", "kind": "expanded", "value_nm": mm(0.16), "k_e3": 2000},
    {"name": "repeatability", "kind": "repeats", "value_nm": mm(0.06), "df": 40},
)


def budgeted(by, rows):
    """A gauge that is judged by a budget of these lines."""
    gauge = make_instrument(by, u_nm=mm(0.5))
    gauges.save_budget(by=by, instrument=gauge, rows=rows, smaller=True)
    gauge.refresh_from_db()
    return gauge


def test_what_the_budget_of_a_gauge_says_its_readings_share_is_counted_once(
    engineer, client_of
):
    gauge = budgeted(engineer, SHARED)
    check = make_check(
        engineer, make_fit_up(engineer, a_joint(engineer)), instrument=gauge
    )
    read_at(check, even(gap="1.60"), flush=None)
    # Stated later: nothing of a check that was begun before.
    gauges.save_budget(by=engineer, instrument=gauge, rows=SHARED[:1], smaller=True)
    row = take(engineer, check, {"max_move_mm": 0.0, "max_turn_deg": 0.0})
    body = row.content
    assert body["inputs"]["zeros"] == [[gauge.code, mm(0.08)]]
    assert body["wishes"]["options"]["common_u_mm"] == 0.08
    # Eight gaps 0.1 above the limit: a sum over the zero, apart from the code.
    nodes = np.linspace(-8, 8, 4001)
    # What is judged by is larger than the root of the lines: 40 degrees of freedom.
    own = math.sqrt(to_mm(gauge.u_nm) ** 2 - 0.08**2)
    assert own == pytest.approx(math.sqrt(0.06**2 + 0.02**2 / 12), rel=0.02)
    eight = norm.pdf(nodes) * norm.cdf((0.1 + 0.08 * nodes) / own) ** 8
    assert body["outcome"]["probability"] == pytest.approx(
        eight.sum() * 0.004, abs=1e-4
    )
    seen = " ".join(client_of("builder").get("/plans/1/").content.decode().split())
    assert f"uncertainty {gauge.code} 0.08 mm (calibration, temperature" in seen
    assert "independent" not in seen


def test_two_gauges_have_a_zero_each_and_one_without_a_budget_has_none(engineer):
    first, second = (budgeted(engineer, rows) for rows in (SHARED, SHARED[::2]))
    third = make_instrument(engineer)
    fit_up = make_fit_up(engineer, a_joint(engineer))
    checks = [make_check(engineer, fit_up, instrument=g) for g in (first, second)]
    for check, half in zip(checks, ("1234", "5678"), strict=True):
        read_at(check, dict.fromkeys(half, "2.20"))
    worked = planning.work_out(planned(checks[-1]))
    measured = planning.measured_at(worked.main, None)
    assert measured.zeros[0] == (first.pk,) * 4 + (-1,) * 4 == measured.zeros[1]
    view = plans.view_of(worked, "mm")
    assert f"{first.code} 0.08 mm (calibration" in view.shared_errors
    assert f"budget of {second.code} its readings share nothing" in view.shared_errors
    other = make_check(engineer, fit_up, instrument=third)
    read_at(other, even())
    told = plans.view_of(planning.work_out(planned(other)), "mm").shared_errors
    assert "as independent" in told and f"budget of {third.code}" in told


def test_the_zero_that_was_counted_is_told_where_it_is_not_the_gauges_own():
    words = texts.shared_errors([("G-1", mm(0.003))], mm(0.02), "mm")
    assert "G-1 0.003 mm" in words and "0.02 mm is counted for each" in words
    words = texts.shared_errors([("G-1", mm(0.01)), ("G-2", None)], mm(0.01), "mm")
    assert "for each" not in words and "Of G-2 no budget tells it" in words


def test_readings_known_well_leave_the_hundredths(engineer):
    row = take(engineer, tight(engineer, 0.02))
    view = plans.view_of(plan_records.worked_of(row), "mm")
    (three,) = (one for one in view.rows if one.label == "3")
    assert re.fullmatch(r"0\.7\d", three.bite) and three.bite_known == "± 0.04"


def test_settings_say_what_readings_and_hands_leave_open(
    engineer, client_of, monkeypatch
):
    monkeypatch.setitem(holding.SET_U, "length", mm(0.3))
    check = hung_check(engineer)
    read_displaced(check, shift=(-0.9, 0, 0))
    row = take(engineer, check, None)
    view = plans.view_of(plan_records.worked_of(row), "mm")
    halves = {n: half for n, _, half in _settings(row)}
    upper = halves["upper hinge: aft/fore"]
    # Set to 0.3, a step of 0.1 and readings of 0.02 leave little more.
    assert 1.9 * 0.3 < upper < 2.3 * 0.32
    assert view.steps[0].startswith("Upper hinge: 0.9 mm aft (± 0.7 mm); lower hinge: ")
    assert "and how well a step can be set" in view.known
    page = client_of("visitor").get("/plans/1/?unit=in").content.decode()
    assert re.search(r" in aft \(± 0\.02\d in\)", page)


def _settings(row):
    for one in row.content["outcome"]["intervals"]["settings"]:
        yield one["name"], one["value"], one["half"]


def test_nothing_known_of_the_readings_is_said(engineer):
    check = make_check(
        engineer, make_fit_up(engineer, a_joint(engineer)), instrument=None
    )
    read_at(check, even(s3="0.37"))
    view = plans.view_of(planning.work_out(planned(check)), "mm")
    assert "nothing is stated of the uncertainty" in view.known
    assert not any(row.bite_known for row in view.rows)


def test_a_plan_of_an_earlier_form_is_shown_as_it_was(engineer):
    row = take(engineer, tight(engineer, 0.1))
    body = json.loads(row.body)
    del body["outcome"]["intervals"]
    for one in body["outcome"]["stations"]:
        del one["bite_half_nm"], one["trim_half_nm"]
        one["bite_nm"] = one["bite_nm"] and mm(0.73)
    old = FitPlan.objects.get()
    old.body = canonical(body | {"form": "plan_body/3"})
    view = plans.view_of(plan_records.worked_of(old), "mm")
    (three,) = (one for one in view.rows if one.label == "3")
    assert (three.bite, three.bite_known) == ("0.73", "")
    assert "not kept when this plan was taken" in view.known
