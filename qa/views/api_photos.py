"""Photos from a tablet: sent after the readings, each once, pinned to its check."""

import uuid

from django.conf import settings
from django.db import IntegrityError
from django.http import JsonResponse

from qa import sync
from qa.models import Check
from shop import roles
from shop.actions.photos import add_photo
from shop.ledger import Refused
from shop.models import Photo

from .api import api, author


@api("PUT")
def photo(request, photo: uuid.UUID):
    """Keep the picture in the body; sent again, it is the same photo.

    The address says what it shows: check (its act), station, kind, by, made_at.
    """
    asked = request.GET
    by, claimed = author(request, asked.get("by", ""))
    roles.require(by, "add photos")
    kept = Photo.objects.filter(entry_id=photo).first()
    if kept is None:
        check = _check(asked.get("check", ""))
        try:
            kept = add_photo(
                by=by,
                content=_content(request),
                subject_kind="check",
                subject_id=str(check.pk),
                caption=_caption(asked),
                act=photo,
                made_at=asked.get("made_at", "")[:40],
                device=str(request.tablet.pk) if request.tablet else "",
                claimed=claimed,
            )
        except IntegrityError:
            # It came in twice at once and the other was first.
            kept = Photo.objects.get(entry_id=photo)
    told = {
        "photo": str(photo),
        "database": sync.database_id(),
        "sha256": kept.sha256,
        "width": kept.width,
        "height": kept.height,
    }
    return JsonResponse(told, status=201)


def _check(text: str) -> Check:
    try:
        return Check.objects.get(entry_id=uuid.UUID(text))
    except (ValueError, Check.DoesNotExist):
        message = "The server does not know the check of this photo."
        raise Refused(message, field="check", code="unknown") from None


def _content(request) -> bytes:
    """The picture, never more of it than a photo may have."""
    content = request.read(settings.PHOTO_LIMIT_BYTES + 1)
    if not content:
        raise Refused("There is no picture in this.", field="file")
    return content


def _caption(asked) -> str:
    station, kind = asked.get("station", ""), asked.get("kind", "")
    return f"station {station} {kind}".strip()[:200] if station else ""
