"""When something was measured: by the clock of the tablet where it can be believed,
by the day that the server received it where not."""

from datetime import UTC, date, datetime, time, timedelta

from django.utils import timezone

# A clock may go ahead by so much; one that says more is wrong.
AHEAD = timedelta(minutes=10)
# What is said to have waited longer than this to be sent is not believed.
WAITED = timedelta(days=31)
# Before anything was measured.
EVER = datetime(1970, 1, 1, tzinfo=UTC)


def _clock(made_at: str) -> datetime | None:
    """The moment that a clock told; None where that is none, or of no known zone."""
    try:
        moment = datetime.fromisoformat(made_at)
    except ValueError:
        return None
    return moment if moment.tzinfo else None


def made_when(made_at: str, received: datetime) -> datetime:
    """When something was done, as `made_at` of its act says; when it was received where
    that says nothing, lies ahead or too far back to be believed."""
    moment = _clock(made_at)
    if moment and received - WAITED <= moment <= received + AHEAD:
        return min(moment, received)
    return received


def used_from(made_at: str, received: datetime) -> datetime | None:
    """The first moment at which something that is received now may have been measured:
    as its clock says, however far back; where its clock is wrong, nobody knows, and
    where it says nothing it was measured as it was received (None)."""
    if not made_at:
        return None
    moment = _clock(made_at)
    if moment is None or moment > received + AHEAD:
        return EVER
    return max(min(moment, received), EVER)


def day_of(moment: datetime) -> date:
    """Its day in the shop's zone."""
    return timezone.localtime(moment).date()


def midnight(day: date) -> datetime:
    """The moment at which a day begins in the shop's zone."""
    try:
        return timezone.make_aware(datetime.combine(day, time.min))
    except OverflowError:
        return EVER
