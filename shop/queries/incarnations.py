"""Which database this is: a restored copy has another id, carried by receipts."""

from shop.models import Incarnation
from shop.models.prepared_statements import Prepared

NEWEST_FIRST = Prepared(
    lambda: Incarnation.objects.order_by("-started_at").values_list("id")
)


def database_ids() -> list[str]:
    """Return which database this is, then which it was before it was restored."""
    return [str(key) for (key,) in NEWEST_FIRST.rows()]


def database_id() -> str:
    return database_ids()[0]
