"""What is due, as a calendar of RFC 5545."""

from datetime import datetime, timedelta
from urllib.parse import urljoin, urlsplit

from icalendar import Calendar, Event, Timezone, TimezoneStandard

from qa.queries.due import DueCalendar

AN_HOUR = timedelta(hours=1)
A_DAY = timedelta(days=1)


def render(
    due_calendar: DueCalendar, *, made_at: datetime, root: str, database: str
) -> bytes:
    """Return the calendar. root: address of the site; database: makes ids unique."""
    calendar = Calendar()
    calendar.add("prodid", "-//Fayline//what is due//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", due_calendar.name)
    calendar.add("x-wr-timezone", due_calendar.zone)
    for due in due_calendar.dues:
        event = Event()
        event.add("uid", f"{due.key}@{database}")
        event.add("dtstamp", made_at)
        event.add("summary", due.words)
        event.add("dtstart", due.on)
        long = AN_HOUR if isinstance(due.on, datetime) else A_DAY
        event.add("dtend", due.on + long)
        # It takes nobody's time.
        event.add("transp", "TRANSPARENT")
        if urlsplit(root).hostname:
            event.add("url", urljoin(root, due.address))
        calendar.add_component(event)
    if not due_calendar.dues:
        # A calendar has a component (RFC 5545, 3.6), also when nothing is due.
        calendar.add_component(_utc())
    return calendar.to_ical()


def _utc() -> Timezone:
    zone, standard = Timezone(), TimezoneStandard()
    zone.add("tzid", "UTC")
    standard.add("dtstart", datetime(1970, 1, 1))
    standard.add("tzoffsetfrom", timedelta())
    standard.add("tzoffsetto", timedelta())
    zone.add_component(standard)
    return zone
