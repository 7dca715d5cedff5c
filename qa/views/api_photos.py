"""Photos from a tablet: sent after the readings, each once, pinned to what it shows."""

import uuid

from django.conf import settings
from django.http import JsonResponse

from qa import envelopes, sync
from qa.actions.photos import BY_KEYS, add_tablet_photo, known_already
from shop import roles
from shop.ledger import Refused

from .api import api, author


@api("PUT")
def photo(request, photo: uuid.UUID):
    """Keep the picture in the body; sent again, it is the same photo.

    The address says by, made_at, and what it shows (qa.actions.photos).
    """
    query = request.GET.dict()
    envelopes.check_keepable(query)
    by, claimed = author(request, query.get("by", ""))
    roles.require(by, "add photos")
    claimed = claimed or query.get("claimed") == "1"
    if any(query.get(name) for name in BY_KEYS) and not known_already(photo):
        sync.require_same_copy(query.get("database", ""))
    picture = add_tablet_photo(
        by=by,
        content=_content(request),
        about=query,
        act=photo,
        made_at=query.get("made_at", "")[:40],
        device=str(request.tablet.pk) if request.tablet else "",
        claimed=claimed,
    )
    receipt = {
        "photo": str(photo),
        "database": request.database,
        "sha256": picture.sha256,
        "width": picture.width,
        "height": picture.height,
    }
    return JsonResponse(receipt, status=201)


def _content(request) -> bytes:
    """The picture, never more of it than a photo may have."""
    content = request.read(settings.PHOTO_LIMIT_BYTES + 1)
    if not content:
        raise Refused("There is no picture in this.", field="file")
    return content
