"""The photos of a pack: of its checks, items, parts and joints, each kept once."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

from django.db.models import Q

from qa.queries.issue import local
from qa.queries.packs.scope import Scope
from shop.ledger import file_store
from shop.models import PhotoPin


@dataclass(frozen=True)
class PackPhoto:
    """One photo: `path` its file; "" where that is not there as it was kept, and then
    `missing` says why."""

    sha256: str
    path: str
    width: int
    height: int
    shows: str
    note: str
    taken: str
    missing: str = ""


@dataclass(frozen=True)
class Photos:
    key = "photos"
    photos: tuple[PackPhoto, ...]

    @property
    def data(self) -> list:
        return [
            {
                "sha256": photo.sha256,
                "shows": photo.shows,
                "note": photo.note,
                "taken": photo.taken,
                "not_shown": photo.missing,
            }
            for photo in self.photos
        ]


def section(scope: Scope) -> Photos:
    named = {("check", str(check.pk)): check.label for check in scope.checks}
    for item in scope.items:
        named["nonconformance", str(item.pk)] = scope.name_of(item)
    named |= {("part", str(part.pk)): part.serial for part in scope.parts}
    joints = [draft.state.joint for draft in scope.drafts]
    named |= {("joint", str(joint.pk)): joint.number for joint in joints}
    results = scope.gathered.records.results
    for planned in scope.characteristics:
        if result := results.get(planned.pk):
            named["result", str(result.pk)] = planned.number
    at = Q(pk=None)
    for kind in {of for of, _key in named}:
        keys = [key for of, key in named if of == kind]
        at |= Q(subject_kind=kind, subject_id__in=keys)
    pins = PhotoPin.objects.filter(at).select_related(
        "photo", "entry__by", "entry__confirmation"
    )
    photos: dict[str, PackPhoto] = {}
    for pin in pins.order_by("pk"):
        if pin.photo.sha256 not in photos:
            shows = named[pin.subject_kind, pin.subject_id]
            photos[pin.photo.sha256] = _photo(pin, shows)
    return Photos(tuple(photos.values()))


def _photo(pin: PhotoPin, shows: str) -> PackPhoto:
    photo = pin.photo
    path = file_store.path_of(photo.file_name)
    missing = why_not_shown(path, photo.sha256, "this photo")
    return PackPhoto(
        sha256=photo.sha256,
        path="" if missing else str(path),
        width=photo.width,
        height=photo.height,
        shows=shows,
        note=pin.note or photo.caption,
        taken=f"{local(pin.entry.received_at)}, {pin.entry.author}",
        missing=missing,
    )


def why_not_shown(path: Path, sha256: str, named: str) -> str:
    """Why a picture is not shown, "" where it is: one that was changed on disk proves
    nothing, and could not be drawn."""
    try:
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        return f"The file of {named} is gone."
    except OSError:
        return f"The file of {named} cannot be read."
    return "" if digest == sha256 else f"The file of {named} was changed on disk."
