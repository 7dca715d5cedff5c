"""Place and fit are one history: what is taken off, put back, swapped, held or scrapped
no longer reads as it was measured, and every page says why."""

import pytest

from qa.models import FitUpReason
from shop.actions import airframes, parts, suspects
from tests.qa.making import (
    make_fit_up,
    make_joint,
    make_part,
    make_type,
)
from tests.qa.planned import a_check, a_joint, cut, even, read_at
from tests.qa.test_staleness import stale_labels, state_of
from tests.shop.making import make_airframe, make_position

pytestmark = pytest.mark.django_db
THREE = {"1": "2.20", "4": "2.20", "6": "2.20"}


@pytest.fixture
def engineer(people):
    return people["engineer"]


class Door:
    """A door in a fuselage, both placed, measured at every station."""

    def __init__(self, by, count=8):
        self.by = by
        kind = make_type(by)
        self.fuselage = make_position(by, type=kind, name="Fuselage")
        self.opening = make_position(by, type=kind, name="Door", parent=self.fuselage)
        self.joint = a_joint(by, count, position=self.opening, surround=self.fuselage)
        self.airframe = make_airframe(by, type=kind)
        self.shell, self.door = make_part(by), make_part(by)
        self.around = self.put(self.shell, self.fuselage)
        self.placement = self.put(self.door, self.opening)
        self.check = self.measured()

    def put(self, part, position, airframe=None):
        return airframes.place_part(
            by=self.by, airframe=airframe or self.airframe, position=position,
            part=part, reason="As the plan of work says.",
        )  # fmt: skip

    def off(self, placement, reason="Paint."):
        airframes.remove_part(by=self.by, placement=placement, reason=reason)

    def fit(self, **said):
        given = {"airframe": self.airframe, "part": self.door} | said
        return make_fit_up(self.by, self.joint, **given)

    def measured(self, gaps=None, fit_up=None, **said):
        fit_up = fit_up or self.fit(reason=FitUpReason.REFIT)
        check = a_check(self.by, fit_up=fit_up)
        read_at(check, gaps or even(), **said)
        return check

    @property
    def state(self):
        return state_of(self.check)

    @property
    def why(self):
        (why,) = {one.why for one in self.state.now.stale.values()}
        return why


@pytest.fixture
def door(engineer):
    return Door(engineer)


def test_nothing_is_stale_while_nothing_happens(door):
    assert stale_labels(door.state) == set() and len(door.state.now.values) == 16


def test_a_door_taken_off_has_no_current_station_and_says_why(door):
    door.off(door.placement)
    assert door.state.now.values == {}
    assert stale_labels(door.state) == set(even())
    assert door.why == f"{door.door.serial} was taken off (Paint.)"
    assert door.state.off == door.why


def test_a_door_put_back_is_stale_until_witnesses_repeat(door):
    door.off(door.placement)
    door.put(door.door, door.opening)
    assert door.state.now.values == {} and not door.state.off
    assert "was taken off (Paint.)" in door.why and "was put in place" in door.why
    again = door.measured(THREE, fit_up=door.check.fit_up, flush=None)
    state = state_of(again)
    assert {kind for _, kind in state.now.values} == {"gap"}
    assert len(state.now.values) == 8
    assert {kind for _, kind in state.now.stale} == {"flush"}


def test_another_door_in_its_place_leaves_nothing_current(door):
    door.off(door.placement)
    other = make_part(door.by)
    door.put(other, door.opening)
    assert door.state.now.values == {}
    assert f"{other.serial} was put in its place" in door.state.off


def test_a_surround_taken_out_and_put_back_makes_the_door_stale(door):
    door.off(door.around, "Repair of the frame.")
    assert f"{door.shell.serial} was taken off" in door.why
    door.put(door.shell, door.fuselage)
    assert door.state.now.values == {} and not door.state.off
    door.measured(THREE, fit_up=door.check.fit_up)
    assert len(door.state.now.values) == 16


def test_across_another_surround_no_witness_speaks(door):
    door.off(door.around)
    door.put(make_part(door.by), door.fuselage)
    door.fit(reason=FitUpReason.REFIT)
    door.measured(THREE)
    assert {label for label, _ in door.state.now.values} == set(THREE)


def test_a_door_fitted_on_another_airframe_is_stale_on_the_first(door):
    door.off(door.placement)
    second = make_airframe(door.by, type=door.airframe.type)
    elsewhere = door.fit(airframe=second)
    assert f"was fitted on {second} at" in door.state.off
    there = a_check(door.by, fit_up=elsewhere)
    read_at(there, even(s3="0.90"))
    cut(door.by, there, {"3": "0.60"})
    # Back on the first, station 3, which was cut away from it, is no longer known.
    door.measured(THREE, fit_up=door.fit(reason=FitUpReason.REFIT))
    assert stale_labels(door.state) == {"3"}


def test_a_held_serial_is_stale_on_either_side(door):
    for part in (door.door, door.shell):
        door.measured()
        suspects.put_on_hold(by=door.by, kind="part", key=part.pk, reason="Soft spot.")
        assert door.state.now.values == {}
        assert part.serial in door.why and "Soft spot." in door.why


def test_a_hold_on_what_a_serial_came_from_makes_it_stale(door):
    from shop.models import Origin

    shell = door.shell
    child = parts.register_part(
        by=door.by, design=door.door.design, serial="B-1", origin=Origin.BONDED,
        sources=[make_part(door.by), shell],
    )  # fmt: skip
    door.off(door.placement)
    door.put(child, door.opening)
    door.check = door.measured(fit_up=door.fit(part=child))
    suspects.put_on_hold(by=door.by, kind="part", key=shell.pk, reason="Wrong resin.")
    assert door.state.now.values == {} and "Wrong resin." in door.why


def test_a_scrapped_door_has_no_current_station_and_is_measured_no_more(door):
    door.off(door.placement)
    parts.scrap_part(by=door.by, part=door.door, reason="Dropped.")
    assert door.state.now.values == {} and "was scrapped" in door.state.off


def test_a_cut_of_the_surround_at_another_joint_makes_this_one_stale(door):
    hatch = make_position(door.by, type=door.airframe.type, parent=door.fuselage)
    joint = make_joint(door.by, position=hatch, surround=door.fuselage)
    fit_up = make_fit_up(
        door.by, joint, airframe=door.airframe, surround_part=door.shell
    )
    there = a_check(door.by, fit_up=fit_up)
    read_at(there, even(s3="0.90"))
    assert len(door.state.now.values) == 16
    cut(door.by, there, {"3": "0.60"}, side="surround")
    assert door.state.now.values == {}
    assert f"{door.shell.serial} was trimmed at {joint.number}" in door.why


@pytest.mark.either_database
def test_the_statements_of_a_history_do_not_grow_with_what_happened(door):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for _ in range(3):
        with CaptureQueriesContext(connection) as caught:
            _ = door.state
        counts.append(len(caught))
        placement = door.airframe.placements.get(part=door.door, removed_at=None)
        door.off(placement)
        door.put(door.door, door.opening)
        door.measured()
    assert counts[0] == counts[-1]
