"""The photos of a pack: of its checks, items, parts and joints, each kept once."""

from dataclasses import dataclass

from django.db.models import Q

from qa.queries.issue import local
from qa.queries.packs.scope import Scope
from shop.ledger import file_store
from shop.models import PhotoPin


@dataclass(frozen=True)
class PackPhoto:
    """One photo: `path` its file, "" where that is gone, which is said."""

    sha256: str
    path: str
    width: int
    height: int
    shows: str
    note: str
    taken: str


@dataclass(frozen=True)
class Photos:
    key = "photos"
    photos: tuple[PackPhoto, ...]

    @property
    def data(self) -> list:
        return [
            {
                "sha256": one.sha256,
                "shows": one.shows,
                "note": one.note,
                "taken": one.taken,
            }
            for one in self.photos
        ]

    @property
    def told(self) -> dict[str, str]:
        return {f"photo {one.sha256[:12]}": one.shows for one in self.photos}


def section(scope: Scope) -> Photos:
    named = {("check", str(one.pk)): one.label for one in scope.checks}
    named |= {("nonconformance", str(one.pk)): one.label for one in scope.items}
    named |= {("part", str(one.pk)): one.serial for one in scope.parts}
    joints = [draft.state.joint for draft in scope.drafts]
    named |= {("joint", str(one.pk)): one.number for one in joints}
    at = Q(pk=None)
    for kind in ("check", "nonconformance", "part", "joint"):
        keys = [key for of, key in named if of == kind]
        at |= Q(subject_kind=kind, subject_id__in=keys)
    pins = PhotoPin.objects.filter(at).select_related(
        "photo", "entry__by", "entry__confirmation"
    )
    found: dict[str, PackPhoto] = {}
    for pin in pins.order_by("pk"):
        if pin.photo.sha256 not in found:
            shows = named[pin.subject_kind, pin.subject_id]
            found[pin.photo.sha256] = _photo(pin, shows)
    return Photos(tuple(found.values()))


def _photo(pin: PhotoPin, shows: str) -> PackPhoto:
    photo = pin.photo
    path = file_store.path_of(photo.file_name)
    return PackPhoto(
        sha256=photo.sha256,
        path=str(path) if path.is_file() else "",
        width=photo.width,
        height=photo.height,
        shows=shows,
        note=pin.note or photo.caption,
        taken=f"{local(pin.entry.received_at)}, {pin.entry.author}",
    )
