"""Holes as the numbers want them, from the records."""

from collections import Counter
from collections.abc import Iterable

from django.db.models import Q

from qa.models import HoleCheck, HoleReading
from qa.numeric.holes import position as numbers
from shop.numeric.units import to_mm


def hole_found(hole, x_nm, y_nm, size_nm, edge_nm) -> numbers.Hole:
    """A required hole and where it was found, as the numbers want it."""

    def mm(nm):
        return None if nm is None else to_mm(nm)

    return numbers.Hole(
        label=hole.label,
        nominal=(to_mm(hole.x_nm), to_mm(hole.y_nm)),
        measured=(to_mm(x_nm), to_mm(y_nm)),
        zone_mm=to_mm(hole.zone_nm),
        hole_mm=mm(size_nm),
        mmc_mm=mm(hole.low_nm),
        hole_max_mm=mm(hole.high_nm),
        edge_mm=mm(edge_nm),
        fastener_mm=mm(hole.fastener_nm),
    )


def as_read(reading: HoleReading) -> numbers.Hole:
    """A reading on record, as the numbers want it (its hole comes with it)."""
    hole = reading.hole
    edge = hole.edge_nm if reading.edge_nm is None else reading.edge_nm
    return hole_found(hole, reading.x_nm, reading.y_nm, reading.size_nm, edge)


def readings_in_turn(checks: Iterable[HoleCheck]) -> list[HoleReading]:
    """What was read in some checks, each with its hole, as it tells after those before:
    who reads a hole without its size says nothing of a size that was not right. checks:
    in the order in which they were made."""
    order = {check.pk: (row, check) for row, check in enumerate(checks)}
    read = HoleReading.objects.filter(hole_check__in=order).select_related("hole")
    newest: dict[tuple, HoleReading] = {}
    in_turn = sorted(read, key=lambda reading: order[reading.hole_check_id][0])
    for reading in in_turn:
        reading.hole_check = order[reading.hole_check_id][1]
        here = reading.hole_check.part_id, reading.hole_id
        before = newest.get(here)
        if before and lacks_size(reading) and sized(before).size_conforms is False:
            reading.sized = sized(before)
        newest[here] = reading
    return in_turn


def newest_readings(checks: Iterable[HoleCheck]) -> dict[tuple, HoleReading]:
    """By (part, hole) the newest of them: who reads some holes again says nothing of
    the others."""
    return {
        (reading.hole_check.part_id, reading.hole_id): reading
        for reading in readings_in_turn(checks)
    }


def read_in(check: HoleCheck) -> dict[int, HoleReading]:
    """What was read in one check, by hole, as it told then."""
    checks = HoleCheck.objects.filter(
        revision=check.revision_id, part=check.part_id, number__lte=check.number
    )
    return {
        reading.hole_id: reading
        for reading in readings_in_turn(checks.order_by("number"))
        if reading.hole_check_id == check.pk
    }


def tell_wrong_sizes(checks: list[HoleCheck]) -> None:
    """A hole that was too large and was read again without its size is too large still:
    count it as failing. checks: the newest first, with what the database counted as
    `failing` and `unsized`."""
    if not any(check.unsized for check in checks):
        return
    wrong = Counter(
        reading.hole_check_id
        for reading in readings_in_turn(reversed(checks))
        if reading.sized and reading.position_conforms
    )
    for check in checks:
        check.failing += wrong[check.pk]


def sized(reading: HoleReading) -> HoleReading:
    """The reading that tells the size: itself, or where it has none an earlier one of
    the same hole that was too small or too large."""
    return reading.sized or reading


def fails(reading: HoleReading) -> bool:
    return not reading.position_conforms or sized(reading).size_conforms is False


def beyond(reading: HoleReading) -> tuple[int, int, int]:
    """By how much, in nm, a reading (with its hole) is out of its place, too small and
    too large; 0 where it is not."""
    hole, size = reading.hole, sized(reading).size_nm
    out = 0
    if not reading.position_conforms:
        # Exact squares were compared: out by less than 1 nm is out.
        out = max(reading.position_nm - reading.allowed_nm, 1)
    small = large = 0
    if size is not None:
        small = max((hole.low_nm or size) - size, 0)
        large = max(size - (size if hole.high_nm is None else hole.high_nm), 0)
    return out, small, large


def lacks_size(reading: HoleReading) -> bool:
    """Whether its size has limits and was not measured: then it cannot conform."""
    hole = reading.hole
    limited = hole.low_nm is not None or hole.high_nm is not None
    return limited and reading.size_nm is None


# The same, asked of the database.
LACKS_SIZE = Q(readings__size_nm=None) & ~Q(
    readings__hole__low_nm=None, readings__hole__high_nm=None
)
