"""Any history: what pages read is what follows from the facts, after every act."""

import contextlib

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qa.actions import checks, late_readings, nonconformances, raising
from qa.models import CurrentReading, Nonconformance, Reading
from shop.actions import airframes, suspects
from shop.ledger import Refused, projections
from shop.ledger.verify import verify
from shop.models import Hold, Placement, Suspect
from tests.qa.making import (
    make_airframe,
    make_check,
    make_part,
    make_position,
    make_type,
    read,
)

pytestmark = pytest.mark.django_db

VALUES = ("1.00", "2.00", "2.30", "3.90")
ACTS = (
    "read",
    "read",
    "supersede",
    "supersede a rival",
    "skip",
    "choose",
    "finish",
    "late",
    "decide late",
    "raise",
    "dispose",
    "work",
    "verify",
    "close",
    "reopen",
    "remark",
    "place",
    "remove",
    "hold",
    "lift",
    "decide",
)
histories = st.lists(
    st.tuples(st.sampled_from(ACTS), st.integers(0, 3), st.integers(0, 3)),
    min_size=8,
    max_size=40,
)


class Shop:
    """Two checks at one joint, two parts, one place; acts by name, refusals and all."""

    def __init__(self, people):
        self.people = people
        engineer = people["engineer"]
        self.checks = [make_check(engineer), make_check(engineer)]
        kind = make_type(engineer)
        self.frame = make_airframe(engineer, type=kind)
        self.position = make_position(engineer, type=kind)
        self.parts = [make_part(engineer), make_part(engineer)]

    def do(self, name: str, a: int, b: int) -> None:
        check, station = self.checks[a % 2], str(1 + b % 2)
        told = {"kind": "gap", "check": check, "station": station}
        stands = CurrentReading.objects.filter(
            fit_check=check, station__label=station, kind="gap"
        ).first()
        if name in ("read", "late"):
            read(**told, value=VALUES[(a + b) % 4], keep_late=name == "late")
        elif name == "supersede" and stands:
            why = {"supersedes": stands.reading, "reason": "slipped"}
            read(**told, value=VALUES[b], **why)
        elif name == "supersede a rival" and (rival := self._of(Reading, check, b)):
            station = rival.station.label
            read(check, station, "gap", "2.10", supersedes=rival, reason="again")
        elif name == "skip":
            read(**told, outcome="skipped", reason="hinge")
        elif name == "choose" and stands:
            reading = check.readings.filter(station=stands.station).order_by("pk")
            self._choose(check, stands, list(reading)[b % len(reading)])
        elif name == "finish":
            checks.finish_check(by=self.people["engineer"], check=check)
        else:
            self._more(name, check, a, b)

    def _of(self, model, check, number):
        rows = list(model.objects.filter(fit_check=check).order_by("pk"))
        return rows[number % len(rows)] if rows else None

    def _choose(self, check, stands, reading):
        checks.choose_reading(
            by=self.people["lead"],
            check=check,
            station=stands.station,
            kind="gap",
            reading=reading,
            reason="square",
        )

    def _more(self, name: str, check, a: int, b: int) -> None:
        lead, inspector = self.people["lead"], self.people["inspector"]
        items = list(Nonconformance.objects.order_by("pk"))
        item = items[b % len(items)] if items else None
        if name == "decide late":
            reading = self._of(Reading, check, a + b)
            if reading:
                told = {"check": check, "reading": reading, "counted": b % 2 == 0}
                late_readings.decide_late(by=lead, **told, reason="seen")
        elif name == "raise":
            raising.raise_findings(by=lead, check=check)
        elif name == "dispose" and item:
            kind = ("rework", "scrap", "return", "use_as_is")[a]
            by = self.people["engineer"]
            nonconformances.dispose(by=by, item=item, disposition=kind, note="so")
        elif name == "work" and item:
            nonconformances.work(by=self.people["builder"], item=item, note="done")
        elif name == "verify" and item:
            recheck = self.checks[1] if a % 2 else None
            said = {"item": item, "recheck": recheck, "note": "seen"}
            nonconformances.verify(by=inspector, **said)
        elif name == "close" and item:
            nonconformances.explain(by=inspector, item=item, cause="trim")
            nonconformances.close(by=inspector, item=item)
        elif name == "reopen" and item:
            nonconformances.reopen(by=inspector, item=item, note="it is back")
        elif name == "remark" and item:
            nonconformances.remark(by=lead, item=item, note="tomorrow")
        else:
            self._floor(name, a, b)

    def _floor(self, name: str, a: int, b: int) -> None:
        engineer, part = self.people["lead"], self.parts[a % 2]
        if name == "place":
            told = {"airframe": self.frame, "position": self.position, "part": part}
            airframes.place_part(by=engineer, **told, reason="as asked")
        elif name == "remove" and (there := Placement.objects.first()):
            airframes.remove_part(by=engineer, placement=there, reason="paint")
        elif name == "hold":
            told = {"kind": "part", "key": part.pk, "reason": "dropped"}
            suspects.put_on_hold(by=engineer, **told)
        elif name == "lift" and (hold := Hold.objects.order_by("pk").last()):
            suspects.lift_hold(by=engineer, hold=hold, reason="looked at")
        elif name == "decide" and (one := Suspect.objects.order_by("pk").last()):
            told = {"suspect": one, "decision": "good", "reason": "sound"}
            suspects.decide(by=engineer, **told)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(histories)
def test_rebuilding_after_any_history_changes_nothing(people, history):
    with transaction.atomic():
        shop = Shop(people)
        for name, a, b in history:
            with contextlib.suppress(Refused):
                shop.do(name, a, b)
        found = [word for one in projections.differences() for word in one.words()]
        assert found == []
        assert verify().fault == ""
        assert projections.rebuild() == {}
        transaction.set_rollback(True)
