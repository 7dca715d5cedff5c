"""Times as a person reads them."""

import re
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


_ZONED = re.compile(r"(\d{4}-\d\d-\d\d \d\d:\d\d(:\d\d)?) ([+-]\d\d:\d\d)")


def rezoned(text: str) -> str:
    """A text in which each time that `zoned` wrote, whatever zone the shop had then,
    stands as it would write it now."""
    return _ZONED.sub(_again, text)


def _again(written: re.Match) -> str:
    moment, seconds, offset = written.groups()
    try:
        when = datetime.fromisoformat(f"{moment}{offset}")
        return zoned(when, "seconds" if seconds else "minutes")
    except (ValueError, OverflowError):  # no time, although it looks like one
        return written[0]
