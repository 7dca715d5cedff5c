"""Which database this is: a restored copy has another id, carried by receipts."""

from shop.models import Incarnation


def database_ids() -> list[str]:
    """Return which database this is, then which it was before it was restored."""
    rows = Incarnation.objects.order_by("-started_at").values_list("id", flat=True)
    return [str(one) for one in rows]


def database_id() -> str:
    return database_ids()[0]
