"""Notes that people write on the points of charts over parts."""

from django.utils.translation import gettext as _

from qa.models import ChartNote, Check, Station
from shop import roles
from shop.actions.locks import locked
from shop.ledger import Refused, perform


def write_note(
    *, by, check: Check, words: str, station: Station | None = None, of: str = ""
) -> ChartNote:
    """Write on the point that a check made of its part.

    of: "gap" or "flush" at a station of the revision that the check was taken against,
    a mode of whole parts, or "" for every chart of the joint.
    """
    roles.require(by, "comment")
    words = _required(words)
    if station and station.revision_id != check.fit_up.revision_id:
        raise Refused(_("This station is of another revision."), code="conflict")
    content = {"check": str(check.entry_id), "of": of, "words": words}
    content["station"] = station.label if station else ""
    with perform("chart_note/1", by=by, said=content) as act:
        return act.record(
            ChartNote(fit_check=check, station=station, of=of, words=words)
        )


def replace_note(
    *, by, note: ChartNote, words: str, taken_back: bool = False
) -> ChartNote:
    """Write a note anew, or take it back and say why; the first stays on record."""
    roles.require(by, "comment")
    words = _required(words)
    content = {"note": str(note.entry_id), "words": words, "taken_back": taken_back}
    with perform("chart_note_replaced/1", by=by, said=content) as act:
        locked(note.fit_check.state)
        if ChartNote.objects.filter(replaces=note).exists():
            raise Refused(_("Somebody has changed this note already."), code="conflict")
        return act.record(
            ChartNote(
                fit_check=note.fit_check,
                station=note.station,
                of=note.of,
                words=words,
                replaces=note,
                taken_back=taken_back,
            )
        )


def _required(words: str) -> str:
    words = " ".join(words.split())
    if not words:
        raise Refused(_("Write the note."), field="words")
    return words
