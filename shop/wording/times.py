"""Times as a person reads them."""

from datetime import datetime

from django.utils import timezone


def zoned(moment: datetime | None, timespec: str = "minutes") -> str:
    """A time in the shop's zone, with its offset: a zone's short name can mean several.

    timespec: "minutes" or "seconds". Nothing is said of no time.
    """
    if moment is None:
        return ""
    text = timezone.localtime(moment).isoformat(" ", timespec)
    return f"{text[:-6]} {text[-6:]}"
