"""Which photos show a station of a check."""

from qa.models import Check, Kind, Nonconformance
from qa.rules.photographs import station_note
from shop.models import PhotoPin
from shop.queries.tooling import photos_of, pins_of


def photographed(check: Check, labels: list[str]) -> list[str]:
    """Return the stations of which a photo was taken in this check, whether it is
    pinned to the check or to a nonconformance."""
    notes = set(pins_of("check", check.pk).values_list("note", flat=True))
    elsewhere = f", {check.label}"
    beside = PhotoPin.objects.filter(
        subject_kind="nonconformance", note__endswith=elsewhere
    ).values_list("note", flat=True)
    notes.update(note.removesuffix(elsewhere) for note in beside)
    return [label for label in labels if notes & _notes(label)]


def photos_of_item(item: Nonconformance) -> list[PhotoPin]:
    """Return the photos of a nonconformance: its own, and those that the check which
    found it has of its stations."""
    own = photos_of("nonconformance", item.pk)
    if item.fit_check_id is None:
        return own
    notes = {note for label in item.stations for note in _notes(label)}
    at_stations = pins_of("check", item.fit_check_id).filter(note__in=notes)
    return [*own, *at_stations]


def _notes(label: str) -> set[str]:
    return {station_note(label, kind) for kind in ("", *Kind.values)}
