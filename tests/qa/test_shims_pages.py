"""Shims: the drawer, the best stacks, what was put in, and "cannot" with a reason."""

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qa.actions import shims as acts
from qa.models import FitUp, ShimStack, ShimStock
from qa.queries.plans import shims as queries
from qa.rules import shims as rules
from qa.rules import staleness
from shop.ledger import Refused
from tests.qa.making import mm
from tests.qa.planned import a_check, a_joint, planned, read_at

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]

CORNERS = (("hinge up", -350, 200), ("hinge low", -350, -200), ("latch", 350, 0))


@pytest.fixture
def engineer(people):
    return people["engineer"]


def points():
    return [{"name": n, "x_nm": mm(x), "y_nm": mm(y)} for n, x, y in CORNERS]


def keep(by, *thicknesses):
    for thick in thicknesses:
        acts.save_stock(by=by, thickness_nm=mm(thick), name="steel", in_use=True)


def leaning(by, slope=0.001, rise=-0.6, **joint):
    """A door that lies low at its left side; flush by station x, mm."""
    check = a_check(by, a_joint(by, 12, attach_points=points(), **joint))
    for station in check.fit_up.revision.stations.all():
        value = rise + slope * station.x_nm / 1e6
        read_at(check, {station.label: "2.25"}, flush=f"{value:.3f}")
    return check


def test_the_best_stacks_and_what_to_fetch_are_told(engineer, client_of):
    keep(engineer, 0.25, 0.5, 1.0)
    check = leaning(engineer)
    view = queries.shim_view(planned(check), "mm")
    assert view.conforms and not view.problem
    assert sum(count for _, count in view.fetch) == view.plan.shims_used > 0
    page = client_of("visitor").get(f"/fit-checks/{check.entry_id}/shims/")
    text = page.content.decode()
    assert "every flushness is within its limits" in text
    assert view.fetch[0][0] in text


@pytest.mark.parametrize(
    ("case", "words"),
    [
        ("no points", "no attach points"),
        ("no stock", "no shims on record"),
        ("two points", "three are needed"),
        ("not flat", "not flat enough"),
        ("thin", "Not with this stock"),
    ],
)
def test_cannot_is_said_with_its_reason(engineer, case, words):
    if case != "no stock":
        keep(engineer, 0.05 if case == "thin" else 0.5)
    if case == "not flat":
        check = leaning(engineer)
        again = a_check(engineer, fit_up=check.fit_up)
        for k, station in enumerate(again.fit_up.revision.stations.all()):
            read_at(again, {station.label: "2.25"}, flush="1.5" if k % 2 else "-1.5")
        check = again
    elif case in ("no points", "two points"):
        some = None if case == "no points" else points()[:2]
        check = a_check(engineer, a_joint(engineer, 12, attach_points=some))
        read_at(check, {str(n): "2.25" for n in range(1, 13)}, flush="-0.9")
    else:
        check = leaning(engineer)
    assert words in queries.shim_view(planned(check), "mm").problem


def test_recorded_stacks_open_the_next_fit_up_and_make_stations_stale(
    engineer, client_of
):
    keep(engineer, 0.25, 0.5)
    check = leaning(engineer)
    client = client_of("builder")
    said = {"unit": "mm", "stack_0": "0.5 + 0.5", "stack_1": "1", "stack_2": "0.25"}
    answer = client.post(f"/fit-checks/{check.entry_id}/shims/", said)
    fit_up = FitUp.objects.get(number=2)
    assert answer.status_code == 302 and fit_up.reason == "shim"
    rows = {row.point: row for row in ShimStack.objects.all()}
    assert rows["hinge up"].shims == [mm(0.5), mm(0.5)]
    assert rows["latch"].total_nm == mm(0.25)
    state = staleness.state_of_joint(fit_up.joint, fit_up.airframe)
    assert len({label for label, _ in state.now.stale}) == 12


def test_the_next_plan_starts_from_the_stacks_that_are_there(engineer):
    keep(engineer, 0.25, 0.5, 1.0)
    check = leaning(engineer)
    stacks = {"hinge up": [mm(1)], "hinge low": [mm(1)], "latch": []}
    view = queries.shim_view(planned(check), "mm")
    opened = acts.record_shims(
        by=engineer,
        check=view.check,
        stacks=stacks,
        changes=rules.changes(view.basis, stacks),
    )
    again = a_check(engineer, fit_up=opened)
    for station in again.fit_up.revision.stations.all():
        read_at(again, {station.label: "2.25"}, flush="0.00")
    after = queries.shim_view(planned(again), "mm")
    assert [row.now for row in after.points] == ["1.00", "1.00", "0.00"]
    assert [row.height for row in after.points] == ["1.00", "1.00", "0.00"]


def test_what_stacks_should_change_is_the_plane_through_them(engineer):
    keep(engineer, 0.25)
    check = leaning(engineer)
    view = queries.shim_view(planned(check), "mm")
    told = rules.changes(view.basis, {"hinge up": [mm(0.7)], "hinge low": [mm(0.7)]})
    # 0.7 mm at x = -350, nothing at x = 350: 0.35 - 0.001 x.
    for station in view.basis.state.seam.stations:
        expected = 0.35 - 0.001 * station.x_nm / 1e6
        gap, flush = told[station.label]
        assert gap == 0 and flush == pytest.approx(mm(expected), abs=2000)


@pytest.mark.parametrize("stacks", [{}, {"nowhere": [mm(0.5)]}])
def test_a_stack_is_at_a_point_of_the_joint(engineer, stacks):
    check = planned(leaning(engineer))
    with pytest.raises(Refused, match="attach point"):
        acts.record_shims(by=engineer, check=check, stacks=stacks, changes={})


def test_a_thickness_is_kept_once_and_can_be_taken_out_of_use(engineer, client_of):
    client = client_of("builder")
    said = {"unit": "in", "thickness_nm": "0.020", "name": "brass", "in_use": "on"}
    assert client.post("/shims/new/", said).status_code == 302
    row = ShimStock.objects.get()
    assert row.thickness_nm == 508_000  # 1 in = 25.4 mm
    assert client.post("/shims/new/", said).status_code == 200  # there already
    with pytest.raises(ValidationError):
        keep(engineer, 0.508)
    client.post(f"/shims/{row.pk}/", {**said, "in_use": ""})
    assert not ShimStock.objects.filter(in_use=True).exists()
    assert client_of("inspector").get("/shims/new/").status_code == 403


def test_the_page_needs_the_same_statements_for_any_number_of_shims(
    engineer, client_of
):
    check = leaning(engineer)
    client, counts = client_of("builder"), []
    for thicknesses in ((0.25,), (0.5, 0.75, 1.0)):
        keep(engineer, *thicknesses)
        with CaptureQueriesContext(connection) as caught:
            client.get(f"/fit-checks/{check.entry_id}/shims/")
        counts.append(len(caught))
    assert counts[0] == counts[1] <= 22
