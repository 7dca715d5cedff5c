"""When something was measured: by the clock of the tablet where it can be believed,
by the day that the server received it where not."""

from datetime import date, datetime, timedelta

from django.utils import timezone

# A clock may go ahead by so much; one that says more is wrong.
AHEAD = timedelta(minutes=10)
# What is said to have waited longer than this to be sent is not believed.
WAITED = timedelta(days=31)


def _clock(made_at: str) -> datetime | None:
    """The moment that a clock told; None where that is none, or of no known zone."""
    try:
        told = datetime.fromisoformat(made_at)
    except ValueError:
        return None
    return told if told.tzinfo else None


def made_when(made_at: str, received: datetime) -> datetime:
    """When something was done, as `made_at` of its act says; when it was received where
    that says nothing, lies ahead or too far back to be believed."""
    told = _clock(made_at)
    if told and received - WAITED <= told <= received + AHEAD:
        return min(told, received)
    return received


def first_day(entry) -> date:
    """The first day, in the shop's zone, on which what an entry holds may have been
    measured: as its clock says, however far back; where its clock is wrong, the first
    of the days that anything waits to be sent."""
    received = entry.received_at
    told = _clock(entry.made_at)
    if entry.made_at and (told is None or told > received + AHEAD):
        return timezone.localtime(received - WAITED).date()
    try:
        return timezone.localtime(min(told or received, received)).date()
    except OverflowError:
        return date.min


def last_day(entry, newest: datetime | None = None) -> date:
    """The last such day: it was received on it, or its newest reading was."""
    return timezone.localtime(
        max(entry.received_at, newest or entry.received_at)
    ).date()
