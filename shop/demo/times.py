"""Times and measures of the demo."""

from datetime import date, datetime, timedelta

from django.utils import timezone

from shop.forms.measures import Measure, parse_measure


def ago(days: float = 0, hours: float = 0) -> datetime:
    """A time so long before now, on the whole minute."""
    moment = timezone.now() - timedelta(days=days, hours=hours)
    return moment.replace(second=0, microsecond=0)


def day(days: float) -> date:
    """A date so many days ago; negative: still to come."""
    return timezone.localdate() - timedelta(days=days)


def mm(text: str) -> Measure:
    return parse_measure(text, "length", "mm")


def grams(text: str) -> Measure:
    return parse_measure(text, "mass", "g")


def kpa(text: str) -> Measure:
    return parse_measure(text, "pressure", "kPa")
