"""What each request of a tablet asks first, in one statement."""

from dataclasses import dataclass

from django.db.models import Subquery

from shop.models import Incarnation, Seal, ShopIdentity, Tablet, digest_of_token
from shop.models.prepared_statements import Prepared, Slot

from . import heads

_newest_seal = Seal.objects.order_by("-position")
_newest_shop = ShopIdentity.objects.order_by("-id")
_newest_database = Incarnation.objects.order_by("-started_at")
BY_TOKEN = Prepared(
    lambda: Tablet.objects.filter(token_sha256=Slot("token")).annotate(
        database=Subquery(_newest_database.values("id")[:1]),
        position=Subquery(_newest_seal.values("position")[:1]),
        digest=Subquery(_newest_seal.values("digest")[:1]),
        there=heads.there(),
        time_zone=Subquery(_newest_shop.values("time_zone")[:1]),
    )
)


@dataclass(frozen=True)
class TabletRequest:
    """The tablet that holds a token, revoked or not; the id of the database; the head
    of the ledger, as `heads.head_for_tablet` tells it; the zone of the shop."""

    tablet: Tablet
    database: str
    head: str
    time_zone: str


def by_token(token: str, known: str) -> TabletRequest | None:
    """Who asks by a token; known: the head that the tablet keeps."""
    key, at = digest_of_token(token), heads.place(known)
    tablet = BY_TOKEN.first(token=key, position=at)
    if tablet is None:
        return None
    seal = (tablet.position, tablet.digest, tablet.there)
    head = seal if tablet.position else heads.UNSEALED
    return TabletRequest(
        tablet,
        str(tablet.database),
        heads.told(known, *head),
        tablet.time_zone or ShopIdentity.unsaid().time_zone,
    )
