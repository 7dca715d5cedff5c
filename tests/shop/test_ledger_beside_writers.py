"""Verify runs while people save, and is never wrong about it."""

import itertools
import os
import threading

from django.db import connection

from qa.actions import checks, nonconformances, raising
from shop.actions import airframes, tooling
from shop.ledger.verify import verify
from shop.models import Entry
from tests.conftest import make_people
from tests.qa.making import (
    make_airframe,
    make_check,
    make_part,
    make_position,
    make_type,
    read,
)
from tests.shop.making_floor import make_tool

RUNS = int(os.environ.get("FAYLINE_VERIFY_RUNS", "3"))
WRITERS = 10


def writer(number, people, ended, faults):
    """Readings, clashes, finishes, items, placements, changes of a tool, for ever."""
    try:
        engineer, lead = people["engineer"], people["lead"]
        kind = make_type(engineer)
        frame = make_airframe(engineer, type=kind)
        position = make_position(engineer, type=kind)
        tool, part = make_tool(lead), make_part(engineer)
        while not ended.is_set():
            check = make_check(engineer)
            for station in ("1", "2", "3"):
                read(check, station, "gap", "1.00")
            first = read(check, "5", "gap", "2.00")
            read(check, "5", "gap", "2.30")
            checks.choose_reading(
                by=lead,
                check=check,
                station=first.station,
                kind="gap",
                reading=first,
                reason="square",
            )
            checks.finish_check(by=engineer, check=check)
            for item in raising.raise_findings(by=lead, check=check):
                nonconformances.dispose(
                    by=lead, item=item, disposition="rework", note="trim"
                )
            placed = airframes.place_part(
                by=lead, airframe=frame, position=position, part=part
            )
            airframes.remove_part(by=lead, placement=placed, reason="refit")
            tooling.act_on_tool(by=lead, tool=tool, kind="moved", note=f"hall {number}")
    except Exception as error:
        faults.append(repr(error))
        raise
    finally:
        connection.close()


def test_verify_raises_no_false_alarm_beside_ten_writers(committed_db):
    people, ended, faults = make_people(), threading.Event(), []
    threads = [
        threading.Thread(target=writer, args=(n, people, ended, faults))
        for n in range(WRITERS)
    ]
    for thread in threads:
        thread.start()
    found, sizes = [], []
    try:
        for _run in range(RUNS):
            # Something was saved since the last time, by every measure a busy shop.
            grown = Entry.objects.count()
            while Entry.objects.count() < grown + WRITERS and not faults:
                pass
            report = verify()
            found += report.faults
            sizes.append(report.entries)
    finally:
        ended.set()
        for thread in threads:
            thread.join()
    assert faults == []
    assert found == []
    assert all(a < b for a, b in itertools.pairwise(sizes))
    assert verify().fault == ""
