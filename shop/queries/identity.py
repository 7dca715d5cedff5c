"""Who the shop is, and who said so when."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from zoneinfo import ZoneInfoNotFoundError

from django.utils import timezone

from shop.models import ShopIdentity
from shop.models.prepared_statements import Prepared

NEWEST = Prepared(lambda: ShopIdentity.objects.order_by("-id")[:1])


def the_shop() -> ShopIdentity:
    """Return what holds now: the newest that was said, else how the server started."""
    return NEWEST.first() or ShopIdentity.unsaid()


def in_zone(name: str) -> None:
    """Let the days of this thread be those of the shop's zone."""
    # A machine may lack a zone that another one knew.
    with suppress(ZoneInfoNotFoundError):
        timezone.activate(name)


@contextmanager
def in_shops_zone() -> Iterator[None]:
    """Inside, days and times are those of the shop's zone: for what no request asks
    for. The middleware does so for those."""
    with timezone.override(None):
        in_zone(the_shop().time_zone)
        yield


def history(most: int = 30) -> list[ShopIdentity]:
    """Return what was said, newest first, with who said it."""
    rows = ShopIdentity.objects.select_related("entry__by").order_by("-id")
    return list(rows[:most])
