"""Items of holes and of other characteristics: what is still to be raised, what was
decided to stay as it is, and what finding it again shows.

Decided means use as is or repair, verified by somebody else: of the same serial and
requirement, and for no worse than what was decided.
"""

from collections.abc import Iterable
from operator import le

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
from qa.rules import item_life
from qa.rules.holes import beyond, fails, lacks_size, newest_readings
from qa.rules.offering import LEFT
from qa.rules.result_staleness import stale_of
from shop.ledger import Refused

DONE = (State.VERIFIED, State.CLOSED)
RELATED = ("standing", "hole_check__revision", "result__revision__characteristic__bay")


def _stays(item: Nonconformance) -> bool:
    return item.standing.state in DONE and item.standing.disposition in LEFT


def readings_of(items: Iterable[Nonconformance]) -> dict[tuple, HoleReading]:
    """What was read of the holes of which items stay, by check and hole; one
    statement."""
    checks = {item.hole_check_id for item in items if item.hole_check_id}
    rows = HoleReading.objects.filter(hole_check__in=checks).select_related("hole")
    return {(row.hole_check_id, row.hole.label): row for row in rows}


def left_holes(
    items: Iterable[Nonconformance], readings: Iterable[HoleReading], was: dict
) -> dict[int, Nonconformance]:
    """The item by which each reading (with its check and hole) that fails stays, by the
    key of the reading. items: with RELATED. was: their readings_of."""
    items = [item for item in items if item.hole_check_id and _stays(item)]
    items_by_reading = {}
    for reading in readings:
        check, label = reading.hole_check, reading.hole.label
        for item in items if fails(reading) else ():
            of = item.hole_check.revision_id, item.part_id
            if label not in item.holes or of != (check.revision_id, check.part_id):
                continue
            then = was[item.hole_check_id, label]
            if reading.pk == then.pk or all(map(le, beyond(reading), beyond(then))):
                items_by_reading[reading.pk] = item
    return items_by_reading


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
    if None in (now.exact, was.exact):
        # Not so again: nobody knows whether for the same reason.
        return False
    of = ("revision_id", "airframe_id", "part_id", "verdict")
    alike = all(getattr(now, name) == getattr(was, name) for name in of)
    (side, *amounts), (same, *decided) = _out(now), _out(was)
    return alike and side == same and all(map(le, amounts, decided))


def _out(result: CharacteristicResult) -> tuple[int, int, int]:
    """At which end (-1 low, 1 high) a result that does not conform is out, by how much
    beyond the limit drawn in by its guard band, and beyond the limit itself."""
    exact, low, guard = result.exact, result.low, result.guard or 0
    if low is not None and exact < low + guard:
        return -1, low + guard - exact, low - exact
    return 1, exact - (result.high - guard), exact - result.high


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


def holes_to_raise(check: HoleCheck, items: list[Nonconformance]) -> list[HoleReading]:
    """What fails in a check, was not read again since, and is neither decided to stay
    nor in an item that is worked on or was raised of this very check. items: those of
    items_of_holes."""
    standing = _standing_readings(check.revision_id, check.part_id)
    mine = [row for row in standing.values() if row.hole_check_id == check.pk]
    left = left_holes(items, mine, readings_of(items))
    raised = {
        label
        for item in items
        if item.hole_check_id == check.pk or item.standing.state not in DONE
        for label in item.holes
    }
    return [
        row
        for row in sorted(mine, key=lambda row: row.hole.order)
        if fails(row) and row.pk not in left and row.hole.label not in raised
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
    if any(
        item.result_id == result.pk
        or (item.part_id == result.part_id and item.standing.state not in DONE)
        for item in items
    ):
        return False
    if left_results(items, [result]):
        return False
    return not stale_of(planned, result.airframe, result)


def newest_result(planned: Characteristic, airframe) -> CharacteristicResult | None:
    rows = CharacteristicResult.objects.filter(
        revision__characteristic=planned, airframe=airframe
    )
    return _newest(rows)


def _newest(rows) -> CharacteristicResult | None:
    related = ("entry__by", "revision", "airframe")
    return rows.select_related(*related).order_by("-pk").first()


def require_found_again(item: Nonconformance, disposition: str) -> str:
    """Refuse a verification that nothing found since shows; what shows it, in words."""
    again = _holes_again if item.hole_check_id else _result_again
    rows, missing = again(item, rework=disposition == Disposition.REWORK)
    if missing:
        places = ", ".join(missing)
        raise Refused(
            "Rework promises full conformity: find it again, and it conforms; not "
            f"shown: {places}. Work that and find it again, or raise an item of what "
            "is not in this one."
            if disposition == Disposition.REWORK
            else f"It was not found again since: {places}.",
            field="note",
        )
    if own := item_life.by_doers(item, rows):
        raise Refused(
            f"{own} did the work and found it again: somebody else finds it again.",
            field="note",
        )
    return ", ".join(dict.fromkeys(map(str, rows)))


def _since(item: Nonconformance) -> int:
    """The entry after which it is found again: of the finding, or of the work."""
    return max(item.entry.pk, item_life.last_worked(item))


def _holes_again(item: Nonconformance, *, rework: bool):
    check, since = item.hole_check, _since(item)
    now = check.revision.pattern.current_id
    standing = _standing_readings(now, check.part_id)
    rows, missing = [], []
    for label in item.holes:
        reading = standing.get(label)
        again = reading and reading.hole_check.entry.pk > since
        if again and lacks_size(reading):
            missing.append(f"{label} (its size)")
        elif again and not (rework and fails(reading)):
            rows.append(reading.hole_check)
        else:
            missing.append(label)
    if rework:
        again = [row for row in standing.values() if row.hole_check.entry.pk > since]
        missing += _not_covered(item, again)
    return rows, missing


def _not_covered(item: Nonconformance, readings: list[HoleReading]) -> list[str]:
    """The other holes of which one of these readings fails, that no other item of the
    serial that is not done names, nor one by which it stays so."""
    others = [row for row in items_of_holes(item.hole_check) if row.pk != item.pk]
    waits = {
        label
        for other in others
        if other.standing.state not in DONE
        for label in other.holes
    }
    failing = [
        row
        for row in sorted(readings, key=lambda row: row.hole.order)
        if fails(row) and row.hole.label not in (*item.holes, *waits)
    ]
    left = left_holes(others, failing, readings_of(others))
    return [row.hole.label for row in failing if row.pk not in left]


def _result_again(item: Nonconformance, *, rework: bool):
    """By the newest result of what it was found on: a part may have moved since."""
    planned = item.result.revision.characteristic
    rows = CharacteristicResult.objects.filter(
        revision__characteristic=planned, part=item.result.part_id
    )
    if item.result.part_id is None:
        rows = rows.filter(airframe=item.airframe)
    result = _newest(rows)
    again = result.entry.pk > _since(item)
    good = again and not (rework and result.verdict != Verdict.CONFORMS)
    if good and not stale_of(planned, result.airframe, result):
        return [result], []
    return [], [planned.number]
