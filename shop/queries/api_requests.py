"""What each request of the api asks first, in one statement."""

from dataclasses import dataclass

from django.db.models import F, Subquery

from shop.models import Incarnation, Seal, ShopIdentity, Tablet, digest_of_token
from shop.models.prepared_statements import Prepared, Slot

from . import heads

_newest_seal = Seal.objects.order_by("-position")
_newest_shop = ShopIdentity.objects.order_by("-id")
_newest_database = Incarnation.objects.order_by("-started_at")


def _head_and_zone() -> dict:
    return {
        "position": Subquery(_newest_seal.values("position")[:1]),
        "digest": Subquery(_newest_seal.values("digest")[:1]),
        "there": heads.there(),
        "time_zone": Subquery(_newest_shop.values("time_zone")[:1]),
    }


BY_TOKEN = Prepared(
    lambda: Tablet.objects.filter(token_sha256=Slot("token")).annotate(
        database=Subquery(_newest_database.values("id")[:1]), **_head_and_zone()
    )
)
BY_SESSION = Prepared(
    lambda: _newest_database.annotate(**_head_and_zone(), database=F("id"))[:1]
)


@dataclass(frozen=True)
class ApiRequest:
    """The tablet that holds a token, revoked or not (None: a person asks, signed in);
    the id of the database; the head of the ledger, as `heads.told` words it; the zone
    of the shop."""

    tablet: Tablet | None
    database: str
    head: str
    time_zone: str


def by_token(token: str, known: str) -> ApiRequest | None:
    """Who asks by a token; known: the head that the tablet keeps."""
    key, at = digest_of_token(token), heads.place(known)
    tablet = BY_TOKEN.first(token=key, position=at)
    return tablet and _asked(tablet, known, tablet)


def by_session(known: str) -> ApiRequest:
    """What a person's request needs; known: the head that the browser keeps."""
    return _asked(BY_SESSION.first(position=heads.place(known)), known, None)


def _asked(row, known: str, tablet: Tablet | None) -> ApiRequest:
    seal = (row.position, row.digest, row.there)
    return ApiRequest(
        tablet,
        str(row.database),
        heads.told(known, *(seal if row.position else heads.UNSEALED)),
        row.time_zone or ShopIdentity.unsaid().time_zone,
    )
