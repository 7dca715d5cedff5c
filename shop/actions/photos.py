"""Photos: encoded anew by us, kept by their content, pinned to what they show."""

import hashlib

from django.db import IntegrityError
from django.utils.translation import gettext as _

from shop import roles
from shop.ledger import Act, Refused, file_store, find_receipt, perform
from shop.models import Person, Photo, PhotoPin
from shop.rules.pictures import encode_photo


def keep_file(content: bytes, ending: str = "jpg") -> str:
    """Write a file under its digest; return the digest.

    It is on disk before it is acknowledged: a tablet may then drop its copy.
    """
    digest = hashlib.sha256(content).hexdigest()
    try:
        file_store.keep(file_store.name_of(digest, ending), content)
    except OSError as error:
        message = _("The server cannot keep it now: %(why)s.")
        raise Refused(
            message % {"why": error.strerror or error}, field="file", code="no_room"
        ) from error
    return digest


def add_photo(
    *,
    by: Person,
    content: bytes,
    subject_kind: str,
    subject_id: str,
    x_ppm: int | None = None,
    y_ppm: int | None = None,
    caption: str = "",
    act=None,
    **envelope,
) -> Photo:
    """Keep a photo and pin it to a thing (or to a point of the picture).

    With the same act, however often, it is the same photo; raises ReusedAct for
    another picture or another pin under that act.
    """
    roles.require(by, "add photos")
    subject_id = str(subject_id)
    details = {
        # Of the picture as it came: another release may encode it to other bytes.
        "sent": hashlib.sha256(content).hexdigest(),
        "subject": [subject_kind, subject_id],
        "at": [x_ppm, y_ppm],
        "caption": caption,
    }
    if known_photo := _kept(act, by, details):
        return known_photo
    jpeg, width, height = encode_photo(content)
    digest = keep_file(jpeg)
    photo = Photo(sha256=digest, width=width, height=height, size=len(jpeg))
    photo.caption = caption
    pin = PhotoPin(
        subject_kind=subject_kind,
        subject_id=subject_id,
        x_ppm=x_ppm,
        y_ppm=y_ppm,
        note=caption,
    )
    try:
        with perform("photo/1", by=by, act=act, said=details, **envelope) as done:
            pin.photo = done.record(photo)
            done.record(pin)
            done.result = {"photo": photo.pk, "sha256": digest}
    except IntegrityError:
        # It came in twice at once and the other was first.
        if known_photo := _kept(act, by, details):
            return known_photo
        raise
    return photo


def _kept(act, by: Person, details: dict) -> Photo | None:
    """Return the photo of an act that was saved before."""
    if act is None:
        return None
    fingerprint = Act("photo/1", by=by, said=details).fingerprint
    entry = find_receipt(act, fingerprint)
    return entry and Photo.objects.get(entry_id=act)
