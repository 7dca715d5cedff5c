"""Who the shop is, and who said so when."""

from shop.models import ShopIdentity
from shop.models.prepared_statements import Prepared

NEWEST = Prepared(lambda: ShopIdentity.objects.order_by("-id")[:1])


def the_shop() -> ShopIdentity:
    """Return what holds now: the newest that was said, else how the server started."""
    return NEWEST.first() or ShopIdentity.unsaid()


def history(most: int = 30) -> list[ShopIdentity]:
    """Return what was said, newest first, with who said it."""
    rows = ShopIdentity.objects.select_related("entry__by").order_by("-id")
    return list(rows[:most])
