"""Heads of the ledger: what others keep of it, so that they see if it is rewritten."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Subquery

from shop.ledger import sealer
from shop.models import Seal
from shop.models.prepared_statements import Prepared, Slot

NONE = "-"
NOWHERE = 0
UNSEALED = (0, sealer.START, None)
NEWEST = Prepared(
    lambda: Seal.objects.order_by("-position").values_list(
        "position", "digest", "entry__received_at"
    )[:1]
)


def there() -> Subquery:
    """The digest that the ledger has at a position, a slot."""
    return Subquery(Seal.objects.filter(position=Slot("position")).values("digest"))


@dataclass(frozen=True)
class Head:
    """The newest seal: how many entries are chained, the digest over all of them, and
    when the last of them came in (None: there is none yet)."""

    position: int
    digest: str
    at: datetime | None

    @property
    def groups(self) -> list[str]:
        """The digest in groups that can be read aloud and typed from paper."""
        return [self.digest[at : at + 8] for at in range(0, len(self.digest), 8)]


def newest() -> Head:
    """The head as it is, without what waits for the sealer."""
    return Head(*(NEWEST.first() or UNSEALED))


def place(known: str) -> int:
    """The position that a tablet says it knows."""
    is_position = known.isascii() and known.isdigit() and len(known) < 19
    return int(known) if is_position else NOWHERE


def told(known: str, position: int, digest: str, there: str | None) -> str:
    """What a tablet is told with each answer: the newest head, and the digest that this
    ledger has at the position that the tablet knows ("-": it has none there). "" where
    nothing was ever sealed and the tablet knows nothing."""
    if not (position or known):
        return ""
    return f"{position} {digest} {there or NONE}"
