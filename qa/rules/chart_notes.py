"""Which notes stand on the points of a chart over parts."""

from qa.models import ChartNote
from qa.rules.over_parts import PartRead

EVERYWHERE = ""


def notes_on(
    reads: list[PartRead], of: str, row: int | None = None
) -> dict[int, list[ChartNote]]:
    """Notes as they stand, by the key of the check that counts first of a part; one
    statement.

    of: a kind of reading at the station of that row, or a mode of whole parts. A note
    stands on the point that its check made; one on every chart on each of the part, by
    whichever of its checks that is. One written against an earlier revision stays with
    its station.
    """
    by_check = {check.pk: read for read in reads for check in read.checks}
    rows = ChartNote.objects.filter(
        fit_check__in=by_check, of__in=(of, EVERYWHERE), replaced_by=None
    )
    notes: dict[int, list[ChartNote]] = {}
    for note in rows.exclude(taken_back=True).select_related("entry__by"):
        read = by_check[note.fit_check_id]
        here = read.own[row].pk if row in read.own else None
        makers = {check.pk for check in read.made_by(of, row)}
        own = note.station_id == here and note.fit_check_id in makers
        if note.of == EVERYWHERE or own:
            notes.setdefault(read.check.pk, []).append(note)
    return notes
