"""Every action holds the rows that it decides by until it ends. Without its lock, two
at once would both decide by what neither has changed yet."""

import pytest
from django.conf import settings
from django.test import override_settings
from django.utils import timezone

from qa.actions import holes, instruments, trimming
from qa.models import HolePattern, Instrument
from shop.actions import (
    airframes,
    people,
    routes,
    second_factor,
    signing_in,
    tablets,
    tooling,
)
from shop.models import Person, Position, Tablet, Tool
from shop.rules import second_factor as codes
from tests.conftest import PASSWORD
from tests.locks import recorded
from tests.qa.making import make_airframe, make_joint, make_position, revise
from tests.qa.test_holes_pages import PatternHead, a_pattern, drafts
from tests.qa.test_released_cuts import released
from tests.qa.test_tablets import set_pin

# What each action of the demo holds.
HELD = {
    "qa.adjusters.define_holding": "Position",
    "qa.characteristics.record": "Characteristic",
    "qa.characteristics.revise": "Characteristic",
    "qa.chart_notes.replace_note": "CheckState",
    "qa.checks.choose_reading": "CheckState",
    "qa.checks.finish_check": "CheckState",
    "qa.checks.record_reading": "CheckState",
    "qa.claims._hold": "CheckState",
    "qa.claims.answer_claim": "Person",
    "qa.close_outs.close": "Airframe",
    "qa.fit_plans._hold": "Part",
    "qa.fit_plans.withdraw": "Part",
    "qa.fitups._lock": "Part",
    "qa.gauge_studies.record_value": "GaugeStudy",
    "qa.gauges.record_calibration": "Instrument",
    "qa.gauges.save_budget": "Instrument",
    "qa.inspections._open": "OfferedJoint",
    "qa.joints._link": "Joint",
    "qa.late_readings.decide_late": "CheckState",
    "qa.next_fit_up.hold_still": "Part",
    "qa.nonconformances._settle_serial": "Part",
    "qa.nonconformances._step": "NonconformanceState",
    "qa.offers._hold": "CheckState Part",
    "qa.packs.issue_pack": "PackOrder",
    "qa.temporary.put_in": "Airframe",
    "qa.temporary.step": "TemporaryState",
    "qa.temporary.take_out_of_holes": "TemporaryState",
    "qa.tool_corrections.record_done": "Tool",
    "qa.tool_corrections.record_on_plug": "Tool",
    "qa.tool_corrections.take": "Tool",
    "qa.tool_corrections.withdraw": "Tool",
    "shop.airframes.leave_empty": "Airframe",
    "shop.airframes.place_part": "Airframe Part",
    "shop.airframes.remove_part": "Part Placement",
    "shop.cures.record_trace": "Pull",
    "shop.devices.withdraw_device": "Device",
    "shop.layups.open_layup": "Pull",
    "shop.layups.test_bag": "Pull",
    "shop.materials.act_on_lot": "Lot",
    "shop.materials.file_papers": "Lot",
    "shop.parts._write_design": "PartDesign",
    "shop.parts.scrap_part": "Part",
    "shop.people._locked": "Person",
    "shop.pulls.demold": "Pull",
    "shop.pulls.note_work": "Pull",
    "shop.pulls.start_pull": "Tool",
    "shop.pulls.void_pull": "Pull",
    "shop.pulls.yield_part": "Pull",
    "shop.release.apply_coat": "Tool",
    "shop.routes._catch_up": "Tool",
    "shop.routes.do_step": "Tool",
    "shop.second_factor._spend": "Person",
    "shop.second_factor.remove_second_factor": "Person",
    "shop.second_factor.set_second_factor": "Person",
    "shop.signatures.sign": "Person",
    "shop.suspects._mark": "Part",
    "shop.suspects._set_state": "Lot Tool",
    "shop.suspects.decide": "Part Suspect",
    "shop.suspects.lift_hold": "Hold",
    "shop.tablets.prove_pin": "Person",
    "shop.tooling.act_on_tool": "Tool",
    "shop.tooling.repair_defect": "Tool",
    "shop.weights.set_arm": "Position",
    "shop.weights.weigh_part": "Part",
    "shop.withdrawals.take_back_coat": "Tool",
    "shop.withdrawals.take_back_step": "Tool",
}


def test_every_action_of_the_demo_holds_the_rows_it_decides_by(locks_of_the_demo):
    assert {name: " ".join(held) for name, held in locks_of_the_demo.items()} == HELD


def withdraw_a_release(lead):
    _check, plan = released(lead)
    trimming.withdraw_release(
        by=lead, release=plan.releases.get(), reason="the cut was drawn anew"
    )


def prove_a_pin(lead):
    set_pin(lead)
    tablets.prove(tablet=Tablet.objects.first(), person=lead, pin="4711")


def renew_a_hash(lead):
    set_pin(lead)
    lead.refresh_from_db()
    stronger = "django.contrib.auth.hashers.PBKDF2PasswordHasher"
    usual = settings.PASSWORD_HASHERS
    with override_settings(PASSWORD_HASHERS=[stronger, *usual]):
        signing_in.prove_password(
            username=lead.username, password=PASSWORD, address="192.0.2.1"
        )


def choose_a_password(lead):
    set_pin(lead)  # with a password that the tests' own hasher knows
    signing_in.change_own_password(by=lead, password=PASSWORD, new="Another-shop-7")


def set_a_second_factor(lead) -> list[str]:
    offered = codes.offer(lead)
    step = int(timezone.now().timestamp()) // codes.STEP_SECONDS
    code = codes.code_at(codes.opened(lead, offered), step)
    return second_factor.set_second_factor(by=lead, offered=offered, code=code)


def renew_recovery_codes(lead):
    code = set_a_second_factor(lead)[0]
    second_factor.renew_recovery_codes(by=lead, code=code, address="192.0.2.1")


def change_a_position(lead):
    position = Position.objects.first()
    said = {"code": position.code, "name": "moved", "parent": position.parent}
    airframes.change_position(by=lead, position=position, **said)


def leave_a_place_empty(lead):
    here, empty = make_airframe(lead), {"stays": True, "reason": "not fitted"}
    bay = make_position(lead, type=here.type)
    airframes.leave_empty(by=lead, airframe=here, position=bay, **empty)


def revise_a_pattern(lead):
    said = {"based_on": 1, "holes": drafts(), "says": PatternHead()}
    pattern = a_pattern(lead)
    holes.revise_pattern(
        by=lead, pattern=HolePattern.objects.get(pk=pattern.pk), **said
    )


def other(lead):
    return Person.objects.filter(role="builder").exclude(pk=lead.pk)[0]


# What the demo does not do: the act, done by the lead, and what its actions hold.
ACTS = {
    "release of a cut": (released, "qa.trimming.release_cut", "Part"),
    "end of that release": (withdraw_a_release, "qa.trimming.withdraw_release", "Part"),
    "revision of a joint": (
        lambda by: revise(by, make_joint(by)),
        "qa.joints.revise_joint",
        "Joint",
    ),
    "revision of a pattern": (
        revise_a_pattern,
        "qa.holes.revise_pattern",
        "HolePattern",
    ),
    "PIN": (prove_a_pin, "shop.tablets.prove_pin", "Person"),
    "end of a tablet": (
        lambda by: tablets.revoke(by=by, tablet=Tablet.objects.first(), reason="lost"),
        "shop.tablets.revoke",
        "Tablet",
    ),
    "hash": (renew_a_hash, "shop.signing_in._renew_hash", "Person"),
    "empty place": (leave_a_place_empty, "shop.airframes.leave_empty", "Airframe"),
    "position": (change_a_position, "shop.airframes.change_position", "Position"),
    "tool": (
        lambda by: tooling.change_tool(by=by, tool=Tool.objects.first(), name="new"),
        "shop.tooling.change_tool",
        "Tool",
    ),
    "step": (
        lambda by: routes.add_step(
            by=by, tool=Tool.objects.first(), name="polish", order=99
        ),
        "shop.routes.add_step",
        "Tool",
    ),
    "instrument": (
        lambda by: instruments.save_instrument(
            by=by, instrument=Instrument.objects.first(), name="Gauge"
        ),
        "qa.instruments.save_instrument",
        "Instrument",
    ),
    "role": (
        lambda by: people.change_role(by=by, person=other(by), role="inspector"),
        "shop.people._locked",
        "Person",
    ),
    "person who left": (
        lambda by: people.set_active(by=by, person=other(by), active=False),
        "shop.people._locked",
        "Person",
    ),
    "password of another": (
        lambda by: people.reset_password(
            by=by, person=other(by), password="Another-shop-7"
        ),
        "shop.people._locked",
        "Person",
    ),
    "recovery codes": (
        renew_recovery_codes,
        "shop.second_factor.renew_recovery_codes",
        "Person",
    ),
    "second factor of another": (
        lambda by: second_factor.reset_second_factor(by=by, person=other(by)),
        "shop.second_factor._reset",
        "Person",
    ),
    "own password": (
        choose_a_password,
        "shop.signing_in.change_own_password",
        "Person",
    ),
}


@pytest.mark.parametrize("name", ACTS)
def test_an_act_that_the_demo_does_not_do_holds_the_rows_it_decides_by(name, demo_db):
    act, action, models = ACTS[name]
    role = "engineer" if "release" in name else "lead"
    by = Person.objects.filter(role=role).order_by("pk")[0]
    with recorded() as held:
        act(by)
    assert models in held[action]
