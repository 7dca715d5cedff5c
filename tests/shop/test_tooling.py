"""Tools, their routes, release, life, machines."""

import datetime as dt
import json

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from shop.actions import (
    machines,
    routes,
    suspects,
    tooling,
    withdrawals,
)
from shop.ledger import Refused
from shop.models import Entry, Hand, ReleaseCoat, StepDone, Tool, ToolKind, ToolState
from shop.queries import tooling as queries
from shop.rules import release as coat_rules

from .making_floor import (
    ago,
    make_coat,
    make_demolded,
    make_lot,
    make_mold,
    make_product,
    make_tool,
    mm,
)


@pytest.fixture
def lead(people):
    return people["lead"]


def refused(act, field=None):
    with pytest.raises(Refused) as no:
        act()
    if field is not None:
        assert no.value.field == field
    return no.value


# ------------------------------------------------------------------------ identity


def test_a_mirrored_tool_is_linked_from_both_sides(lead):
    left = make_tool(lead, hand=Hand.LEFT)
    right = make_tool(lead, hand=Hand.RIGHT, mirror=left)
    left.refresh_from_db()
    assert (left.mirror, right.mirror) == (right, left)
    refused(lambda: make_tool(lead, hand=Hand.RIGHT, mirror=left), "mirror")


def test_only_a_mold_comes_from_a_plug(lead):
    plug = make_tool(lead, kind="plug")
    assert make_tool(lead, plug=plug).plug == plug
    refused(lambda: make_tool(lead, kind="trim_jig", plug=plug), "plug")
    refused(lambda: make_tool(lead, plug=make_tool(lead, kind="trim_jig")), "plug")


def test_a_thing_on_loan_says_whose_it_is_and_is_given_back(lead):
    refused(lambda: make_tool(lead, kind="loan"), "owner")
    loan = make_tool(lead, kind="loan", owner="the club")
    tooling.act_on_tool(by=lead, tool=loan, kind="returned")
    loan.refresh_from_db()
    assert loan.state == ToolState.RETURNED
    tooling.act_on_tool(by=lead, tool=loan, kind="lent", until=dt.date(2027, 1, 5))
    loan.refresh_from_db()
    assert (loan.state, loan.due_back) == (ToolState.IN_USE, dt.date(2027, 1, 5))


def test_the_shops_own_tool_is_not_given_back(lead):
    mold = make_tool(lead)
    refused(lambda: tooling.act_on_tool(by=lead, tool=mold, kind="returned"), "kind")


def test_only_the_lead_retires_a_tool_and_says_why(lead, people):
    mold = make_tool(lead)
    with pytest.raises(PermissionDenied):
        tooling.act_on_tool(by=people["builder"], tool=mold, kind="retired", note="x")
    refused(lambda: tooling.act_on_tool(by=lead, tool=mold, kind="retired"), "note")
    tooling.act_on_tool(by=lead, tool=mold, kind="retired", note="flange broken")
    refused(lambda: tooling.act_on_tool(by=lead, tool=mold, kind="moved", note="x"))


def test_a_tool_is_moved_and_remembers_it(lead):
    mold = make_tool(lead, place="rack")
    act = tooling.act_on_tool(by=lead, tool=mold, kind="moved", note="bay 2")
    mold.refresh_from_db()
    assert mold.place == "bay 2"
    assert act.entry.by == lead


# -------------------------------------------------------------------------- routes


def test_a_new_tool_gets_the_route_of_its_kind_and_waits_for_the_first_step(lead):
    routes.set_route(by=lead, kind="plug", steps=[("rough", ""), ("mill", "engineer")])
    plug = make_tool(lead, kind="plug")
    assert [step.name for step in plug.steps.all()] == ["rough", "mill"]
    assert plug.waits_for.name == "rough"
    assert plug.waits_since == plug.made_at


def test_a_step_done_lets_the_next_one_wait_from_then_on(lead):
    routes.set_route(by=lead, kind="plug", steps=[("rough", ""), ("mill", "")])
    plug = make_tool(lead, kind="plug")
    when = ago(hours=5)
    routes.do_step(by=lead, step=plug.steps.first(), done_at=when)
    plug.refresh_from_db()
    assert (plug.waits_for.name, plug.waits_since) == ("mill", when)
    routes.do_step(by=lead, step=plug.waits_for)
    plug.refresh_from_db()
    assert (plug.waits_for, plug.waits_since) == (None, None)


def test_a_step_out_of_its_turn_or_again_asks_why(lead):
    routes.set_route(by=lead, kind="plug", steps=[("rough", ""), ("mill", "")])
    plug = make_tool(lead, kind="plug")
    rough, mill = plug.steps.all()
    no = refused(lambda: routes.do_step(by=lead, step=mill), "reason")
    assert "Rough comes first" in no.message
    routes.do_step(by=lead, step=mill, reason="blank came milled")
    routes.do_step(by=lead, step=rough)
    refused(lambda: routes.do_step(by=lead, step=rough), "reason")
    routes.do_step(by=lead, step=rough, reason="dropped it")
    assert StepDone.objects.filter(step=rough).count() == 2


def test_a_step_kept_to_a_role_is_refused_to_others_but_the_lead(lead, people):
    routes.set_route(by=lead, kind="mold", steps=[("inspect", "inspector")])
    mold = make_tool(lead)
    step = mold.steps.get()
    refused(lambda: routes.do_step(by=people["builder"], step=step))
    routes.do_step(by=people["inspector"], step=step)
    routes.do_step(by=lead, step=step, reason="again")


def test_a_step_with_an_expired_lot_asks_why(lead):
    routes.set_route(by=lead, kind="plug", steps=[("prime", "")])
    step = make_tool(lead, kind="plug").steps.get()
    lot = make_lot(lead, kind="filler", expires_on=ago(days=1).date())
    refused(lambda: routes.do_step(by=lead, step=step, lot=lot), "reason")
    assert routes.do_step(by=lead, step=step, lot=lot, reason="tested").reason


def test_a_changed_template_leaves_present_tools_alone(lead):
    routes.set_route(by=lead, kind="plug", steps=[("rough", "")])
    plug = make_tool(lead, kind="plug")
    routes.set_route(by=lead, kind="plug", steps=[("carve", ""), ("polish", "")])
    assert [step.name for step in plug.steps.all()] == ["rough"]


def test_the_list_tells_what_waits_who_can_take_it_and_what_waited_longest(
    lead, people
):
    routes.set_route(
        by=lead, kind="plug", steps=[("rough", ""), ("inspect", "inspector")]
    )
    young = make_tool(lead, kind="plug", made_at=ago(days=2))
    old = make_tool(lead, kind="plug", made_at=ago(days=9))
    routes.do_step(by=lead, step=old.steps.first(), done_at=ago(days=8))
    page = queries.tools(reader=people["builder"], order="waiting")
    assert [row.id for row in page] == [old.pk, young.pk]
    first, second = page
    assert (first.waits_for, first.role, first.mine) == ("inspect", "inspector", False)
    assert (second.waits_for, second.mine) == ("rough", True)
    assert first.waiting.days == 8


# ------------------------------------------------------------------------- release


def test_coats_count_since_the_surface_was_stripped(lead):
    product = make_product(lead)
    mold = make_tool(lead)
    for hours in (9, 7, 5):
        make_coat(lead, mold, product=product, applied_at=ago(hours=hours))
    assert list(ReleaseCoat.objects.values_list("number", flat=True)) == [1, 2, 3]
    tooling.act_on_tool(by=lead, tool=mold, kind="stripped", note="wax built up")
    mold.refresh_from_db()
    assert (mold.coats, mold.last_coat, mold.surface) == (0, None, 1)
    coat = make_coat(lead, mold, product=product, applied_at=ago(hours=1))
    assert (coat.number, coat.surface) == (1, 1)


def test_a_coat_taken_back_leaves_the_coats_and_the_pulls_as_if_it_never_was(lead):
    mold = make_tool(lead)
    product = make_product(lead)
    first = make_coat(lead, mold, product=product, applied_at=ago(days=5))
    make_demolded(lead, tool=mold, started_at=ago(days=4), reason="for a test")
    mold.refresh_from_db()
    wrong = make_coat(lead, mold, product=product, applied_at=ago(hours=3))
    withdrawals.take_back_coat(by=lead, coat=wrong, reason="the other mold")
    mold.refresh_from_db()
    assert (mold.coats, mold.last_coat, mold.pulls_since_wax) == (1, first, 1)
    again = make_coat(lead, mold, product=product, applied_at=ago(hours=5))
    withdrawals.take_back_coat(by=lead, coat=first, reason="that one too")
    mold.refresh_from_db()
    assert (mold.coats, mold.last_coat, mold.pulls_since_wax) == (1, again, 0)
    withdrawals.take_back_coat(by=lead, coat=again, reason="and this")
    mold.refresh_from_db()
    assert (mold.coats, mold.last_coat, mold.pulls_since_wax) == (0, None, 1)


def test_a_coat_is_taken_back_once_with_a_reason_and_not_while_it_is_held(lead, people):
    coat = make_coat(lead, make_tool(lead))
    take_back = lambda **said: withdrawals.take_back_coat(  # noqa: E731
        **{"by": lead, "coat": coat, "reason": "never was", **said}
    )
    refused(lambda: take_back(reason="  "), "reason")
    hold = suspects.put_on_hold(by=lead, kind="coat", key=coat.pk, reason="fish eyes")
    assert "on hold" in refused(take_back).message
    suspects.lift_hold(by=lead, hold=hold, reason="only dust")
    assert str(take_back()) == str(coat)
    assert "already" in refused(take_back).message


def test_the_tool_waits_again_for_a_step_that_was_taken_back(lead, people):
    routes.set_route(by=lead, kind="plug", steps=[("rough", ""), ("inspect", "lead")])
    plug = make_tool(lead, kind="plug")
    rough, inspect = plug.steps.all()
    once = routes.do_step(by=lead, step=rough)
    twice = routes.do_step(by=lead, step=rough, reason="dropped it")
    seen = routes.do_step(by=lead, step=inspect)
    builder = people["builder"]
    refused(
        lambda: withdrawals.take_back_step(by=builder, step=seen, reason="not seen")
    )
    waits = []
    for done in (twice, once):
        withdrawals.take_back_step(by=builder, step=done, reason="another plug")
        plug.refresh_from_db()
        waits.append(plug.waits_for)
    assert waits == [None, rough]


def test_the_next_coat_and_the_layup_follow_from_the_products_rule(lead):
    product = make_product(lead, minutes_between=45, minutes_before_layup=600)
    coat = make_coat(lead, make_tool(lead), product=product, applied_at=ago(days=1))
    assert coat_rules.next_coat_from(coat) - coat.applied_at == dt.timedelta(minutes=45)
    assert coat_rules.layup_from(coat) - coat.applied_at == dt.timedelta(hours=10)


def test_a_coat_exactly_on_time_needs_no_reason(lead):
    product = make_product(lead, minutes_between=60)
    mold = make_tool(lead)
    first = ago(hours=5)
    make_coat(lead, mold, product=product, applied_at=first)
    late = first + dt.timedelta(minutes=60)
    assert make_coat(lead, mold, product=product, applied_at=late).reason == ""
    early = late + dt.timedelta(minutes=59)
    refused(lambda: make_coat(lead, mold, product=product, applied_at=early), "reason")


def test_coats_go_on_in_their_order_and_not_in_the_future(lead):
    mold = make_tool(lead)
    make_coat(lead, mold, applied_at=ago(hours=2))
    refused(lambda: make_coat(lead, mold, applied_at=ago(hours=3)), "applied_at")
    later = timezone.now() + dt.timedelta(hours=1)
    refused(lambda: make_coat(lead, mold, applied_at=later), "applied_at")


def test_release_goes_on_plugs_and_molds_only(lead):
    refused(lambda: make_coat(lead, make_tool(lead, kind="trim_jig")), "tool")


def test_too_few_coats_on_a_new_surface_warn(lead):
    product = make_product(lead, coats_new=3)
    mold = make_tool(lead)
    make_coat(lead, mold, product=product)
    mold.refresh_from_db()
    assert coat_rules.layup_warnings(mold, timezone.now()) == [
        "A new surface wants 3 coats and has 1."
    ]


# ---------------------------------------------------------------------------- life


def test_life_and_cost_follow_from_the_pulls(lead):
    mold = make_tool(lead, expected_life=40, service_interval=10, cost=90_000)
    make_coat(lead, mold, applied_at=ago(days=4))
    mold.refresh_from_db()
    assert mold.cost_per_pull is None
    for _ in range(2):
        make_demolded(lead, tool=mold)
        mold.refresh_from_db()
    assert (mold.life_left, mold.pulls_before_service) == (38, 8)
    assert mold.cost_per_pull == 45_000


def test_a_defect_is_repaired_once(lead):
    defect = tooling.note_defect(by=lead, tool=make_tool(lead), what="pit", place="lip")
    tooling.repair_defect(by=lead, defect=defect, note="filled")
    refused(lambda: tooling.repair_defect(by=lead, defect=defect, note="again"))


def test_a_defect_is_first_seen_on_a_pull_of_its_own_mold(lead):
    other = make_demolded(lead)
    refused(
        lambda: tooling.note_defect(
            by=lead, tool=make_tool(lead), what="pit", place="lip", first_pull=other
        ),
        "first_pull",
    )


# ------------------------------------------------------------------------ machines


def test_plugs_milled_while_play_was_above_its_limit_are_listed(lead):
    machine = machines.define_machine(by=lead, name="Gantry", play_limit=mm("0.08"))
    for day, play in (((2026, 1, 1), "0.05"), ((2026, 3, 1), "0.12")):
        machines.measure_play(
            by=lead,
            machine=machine,
            axis="x",
            play=mm(play),
            measured_on=dt.date(*day),
        )
    setups = {
        month: machines.record_milling(
            by=lead,
            tool=make_tool(lead, kind="plug"),
            machine=machine,
            milled_on=dt.date(2026, month, 15),
            radius=mm("3"),
            stepover=mm("0.5"),
        )
        for month in (1, 2, 3, 12)
    }
    (page,) = queries.machines()
    assert {row.setup.pk for row in page.setups} == {setups[3].pk, setups[12].pk}


def test_a_milling_page_tells_scallop_and_striation_at_each_slope(lead):
    machine = machines.define_machine(by=lead, name="Gantry")
    machines.measure_play(
        by=lead,
        machine=machine,
        axis="x",
        play=mm("0.10"),
        measured_on=dt.date(2026, 1, 1),
    )
    setup = machines.record_milling(
        by=lead,
        tool=make_tool(lead, kind="plug"),
        machine=machine,
        milled_on=dt.date(2026, 2, 1),
        radius=mm("3"),
        stepover=mm("0.5"),
        sanding=mm("0.08"),
        slopes=(0, 30, 60),
    )
    flat, thirty, sixty = queries.milling_page(setup).slopes
    # R 3, s 0.5: 0.01043 flat and 0.04196 at 60 degrees; play 0.10 at 30 degrees: 0.05
    # (reference, trade.md 1.1 CHECKs, plane geometry).
    assert flat.scallop_mm == pytest.approx(0.01043, abs=5e-6)
    assert sixty.scallop_mm == pytest.approx(0.04196, abs=5e-6)
    assert thirty.striation_mm == pytest.approx(0.05, abs=1e-9)
    assert [row.sanded_away for row in (flat, thirty, sixty)] == [True, True, False]


def test_a_stepover_beyond_the_tools_diameter_is_refused(lead):
    machine = machines.define_machine(by=lead, name="Gantry")
    refused(
        lambda: machines.record_milling(
            by=lead,
            tool=make_tool(lead, kind="plug"),
            machine=machine,
            milled_on=dt.date(2026, 2, 1),
            radius=mm("3"),
            stepover=mm("6.1"),
        ),
        "stepover",
    )


def test_every_kind_of_tool_can_be_made(lead):
    for kind in ToolKind:
        make_tool(lead, kind=kind, owner="somebody")
    assert Tool.objects.count() == len(ToolKind)
    assert make_mold(lead).coats == 1


def test_a_tool_added_before_its_route_gets_it_when_the_route_is_made(lead):
    early, gone = make_tool(lead, kind="plug"), make_tool(lead, kind="plug")
    other = make_tool(lead, kind="trim_jig")
    tooling.act_on_tool(by=lead, tool=gone, kind="retired", note="worn out")
    own = make_tool(lead, kind="plug")
    routes.add_step(by=lead, tool=own, name="carve", order=1)
    told = routes.set_route(
        by=lead, kind="plug", steps=[("rough", ""), ("polish", "lead")]
    )
    assert told == [early.code]
    early.refresh_from_db()
    steps = [(step.name, step.role) for step in early.steps.all()]
    assert steps == [("rough", ""), ("polish", "lead")]
    assert early.waits_for.name == "rough"
    assert [step.name for step in own.steps.all()] == ["carve"]
    assert not gone.steps.exists() and not other.steps.exists()


def test_the_usual_routes_reach_the_tools_that_were_there_before(lead):
    mold = make_tool(lead, kind="mold")
    routes.write_usual_routes(by=lead)
    mold.refresh_from_db()
    assert mold.waits_for.name == "release"
    entry = Entry.objects.get(form="usual_routes/1")
    assert json.loads(entry.body)["result"]["tools"] == [mold.code]


def test_the_page_of_a_route_says_which_tools_got_it(lead, client_of):
    mold = make_tool(lead, kind="mold")
    url = reverse("set_route", args=["mold"])
    page = client_of("lead").post(url, {"steps": "release\nlay up"}, follow=True)
    assert f"got the route: {mold.code}" in page.content.decode()
