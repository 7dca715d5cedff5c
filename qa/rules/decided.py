"""Items of holes and of other characteristics: what is still to be raised, what was
decided to stay as it is, and what finding it again shows.

Decided means use as is or repair, verified by somebody else: of the same serial and
requirement, and for no worse than what was decided.
"""

from collections.abc import Iterable

from qa.models import (
    Characteristic,
    CharacteristicResult,
    Disposition,
    HoleCheck,
    HoleReading,
    Nonconformance,
    State,
    Verdict,
)
from qa.rules.holes import beyond, fails, lacks_size, newest_readings
from qa.rules.offering import LEFT
from qa.rules.result_staleness import stale_of
from shop.ledger import Refused

DONE = (State.VERIFIED, State.CLOSED)
RELATED = ("standing", "hole_check__revision", "result__revision")


def _stays(item: Nonconformance) -> bool:
    return item.standing.state in DONE and item.standing.disposition in LEFT


def left_holes(
    items: Iterable[Nonconformance], readings: Iterable[HoleReading]
) -> dict[int, Nonconformance]:
    """The item by which each reading (with its check and hole) that fails stays, by the
    key of the reading. items: with RELATED. One statement."""
    items = [item for item in items if item.hole_check_id and _stays(item)]
    readings = [reading for reading in readings if fails(reading)]
    if not (items and readings):
        return {}
    checks = [item.hole_check_id for item in items]
    rows = HoleReading.objects.filter(hole_check__in=checks).select_related("hole")
    was = {(row.hole_check_id, row.hole.label): row for row in rows}
    found = {}
    for reading in readings:
        check, label = reading.hole_check, reading.hole.label
        for item in items:
            of = item.hole_check.revision_id, item.part_id
            if label not in item.holes or of != (check.revision_id, check.part_id):
                continue
            decided = beyond(was[item.hole_check_id, label])
            if all(a <= b for a, b in zip(beyond(reading), decided, strict=True)):
                found[reading.pk] = item
    return found


def left_results(
    items: Iterable[Nonconformance], results: Iterable[CharacteristicResult]
) -> dict[int, Nonconformance]:
    """The same of results, by their key. No statement."""
    stay = [item for item in items if item.result_id and _stays(item)]
    return {
        result.pk: item
        for result in results
        for item in stay
        if result.verdict != Verdict.CONFORMS and _no_worse(result, item.result)
    }


def _no_worse(now: CharacteristicResult, was: CharacteristicResult) -> bool:
    if now.pk == was.pk:
        return True
    of = ("revision_id", "airframe_id", "part_id", "verdict")
    alike = all(getattr(now, name) == getattr(was, name) for name in of)
    a, b = now.deviation or 0, was.deviation or 0
    return alike and a * b >= 0 and abs(a) <= abs(b)


def items_of_holes(check: HoleCheck) -> list[Nonconformance]:
    """Items of the pattern of a check on its serial, the oldest first."""
    rows = Nonconformance.objects.filter(
        hole_check__revision__pattern=check.revision.pattern_id, part=check.part_id
    )
    return list(rows.select_related(*RELATED, "airframe").order_by("pk"))


def items_of_result(result: CharacteristicResult) -> list[Nonconformance]:
    rows = Nonconformance.objects.filter(
        result__revision__characteristic=result.revision.characteristic_id,
        result__airframe=result.airframe_id,
    )
    return list(rows.select_related(*RELATED, "airframe").order_by("pk"))


def holes_to_raise(check: HoleCheck) -> list[HoleReading]:
    """What fails in a check, was not read again since, and is neither in an item that
    is worked on nor decided to stay."""
    items = items_of_holes(check)
    standing = _standing_readings(check.revision_id, check.part_id)
    mine = [row for row in standing.values() if row.hole_check_id == check.pk]
    left = left_holes(items, mine)
    worked_on = {
        label
        for item in items
        if item.standing.state not in DONE
        for label in item.holes
    }
    return [
        row
        for row in sorted(mine, key=lambda row: row.hole.order)
        if fails(row) and row.pk not in left and row.hole.label not in worked_on
    ]


def _standing_readings(revision: int, part: int) -> dict[str, HoleReading]:
    rows = HoleCheck.objects.filter(revision=revision, part=part)
    read = newest_readings(rows.select_related("entry__by").order_by("number"))
    return {row.hole.label: row for row in read.values()}


def result_to_raise(
    planned: Characteristic, result: CharacteristicResult | None
) -> bool:
    """Whether the newest result is to be decided by somebody and nobody raised it."""
    if result is None or result.verdict == Verdict.CONFORMS:
        return False
    items = items_of_result(result)
    if any(item.standing.state not in DONE for item in items):
        return False
    if left_results(items, [result]):
        return False
    return not stale_of(planned, result.airframe, result)


def newest_result(planned: Characteristic, airframe) -> CharacteristicResult | None:
    rows = CharacteristicResult.objects.filter(
        revision__characteristic=planned, airframe=airframe
    )
    return rows.select_related("entry__by", "revision").order_by("-pk").first()


def require_found_again(by, item: Nonconformance, disposition: str) -> str:
    """Refuse a verification that nothing found since shows; what shows it, in words."""
    again = _holes_again if item.hole_check_id else _result_again
    rows, missing = again(item, rework=disposition == Disposition.REWORK)
    if missing:
        why = (
            "Rework promises full conformity: find it again, and it conforms; not shown"
            if disposition == Disposition.REWORK
            else "It was not found again since"
        )
        raise Refused(f"{why}: {', '.join(missing)}.", field="note")
    if any(row.entry.by_id == by.pk for row in rows):
        raise Refused(
            "You found it again yourself: somebody else verifies the item.",
            field="note",
        )
    return ", ".join(dict.fromkeys(map(str, rows)))


def _holes_again(item: Nonconformance, *, rework: bool):
    check = item.hole_check
    now = check.revision.pattern.current_id
    standing = _standing_readings(now, check.part_id)
    rows, missing = [], []
    for label in item.holes:
        reading = standing.get(label)
        since = reading and reading.hole_check.entry.pk > item.entry.pk
        good = since and not (rework and (fails(reading) or lacks_size(reading)))
        if good:
            rows.append(reading.hole_check)
        else:
            missing.append(label)
    return rows, missing


def _result_again(item: Nonconformance, *, rework: bool):
    planned = item.result.revision.characteristic
    result = newest_result(planned, item.airframe)
    since = result.entry.pk > item.entry.pk
    good = since and not (rework and result.verdict != Verdict.CONFORMS)
    if good and not stale_of(planned, item.airframe, result):
        return [result], []
    return [], [planned.number]
