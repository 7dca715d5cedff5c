"""What is on record of the server's clock: jumps, and records dated after now."""

import json
from datetime import datetime, timedelta

from django.utils import timezone

from shop.models import Entry

FORM = "clock/1"
# Clocks that a network sets drift by far less; people who set one by hand do not.
JUMP = timedelta(seconds=60)
SHOWN_FOR = timedelta(days=7)


def behind() -> timedelta | None:
    """By how much the clock is behind the newest act on record; None when it is not."""
    newest = Entry.objects.order_by("-id").values_list("received_at", flat=True).first()
    late = newest - timezone.now() if newest else timedelta(0)
    return late if late >= JUMP else None


def jumps_lately() -> list[tuple[datetime, timedelta]]:
    """When the clock jumped in the last days and by how much, the newest first."""
    since = timezone.now() - SHOWN_FOR
    rows = Entry.objects.filter(form=FORM, received_at__gt=since).order_by("-id")[:8]
    return [
        (at, timedelta(seconds=json.loads(body)["said"]["seconds"]))
        for at, body in rows.values_list("received_at", "body")
    ]
