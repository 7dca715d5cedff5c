"""The files of photos: each is named by its digest, and must still have it."""

import hashlib
from collections.abc import Iterator

from django.conf import settings

from shop.models import Photo


def faults() -> Iterator[str]:
    """Give every photo whose file is gone, cannot be read, or is another picture."""
    photos = Photo.objects.order_by("sha256", "pk").only("pk", "sha256")
    before = None
    for photo in photos.iterator(2000):
        if photo.sha256 == before:
            continue
        before = photo.sha256
        try:
            with (settings.MEDIA_ROOT / photo.file_name).open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            yield f"shop_photo {photo.pk}: its file {photo.file_name} is gone"
        except OSError as why:
            yield f"shop_photo {photo.pk}: its file cannot be read ({why.strerror})"
        else:
            if found != photo.sha256:
                yield f"shop_photo {photo.pk}: its file holds another picture"
