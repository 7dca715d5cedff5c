"""Which notes stand on the points of a chart over parts."""

from qa.models import ChartNote
from qa.rules.over_parts import PartRead

EVERYWHERE = ""


def notes_on(
    reads: list[PartRead], of: str, row: int | None = None
) -> dict[int, list[ChartNote]]:
    """Notes as they stand, by the key of the check that made the point; one statement.

    of: a kind of reading at the station of that row, or a mode of whole parts. A note
    written against an earlier revision stays with its station.
    """
    checks = {read.check.pk: read for read in reads}
    rows = ChartNote.objects.filter(
        fit_check__in=checks, of__in=(of, EVERYWHERE), replaced_by=None
    )
    found: dict[int, list[ChartNote]] = {}
    for note in rows.exclude(taken_back=True).select_related("entry__by"):
        own = checks[note.fit_check_id].own
        here = own[row].pk if row in own else None
        if note.of == EVERYWHERE or note.station_id == here:
            found.setdefault(note.fit_check_id, []).append(note)
    return found
