"""When a person last read the hand-over."""

from django.utils import timezone

from shop.ledger import writing
from shop.models import Entry, Person, Visit


def mark_read(*, by: Person, up_to: int | None = None) -> Visit:
    """Note that a person has read what changed, up to an entry (default: the newest).

    No fact of the shop changes, so nothing goes into the ledger.
    """
    newest = Entry.objects.order_by("-pk").values_list("pk", flat=True).first()
    up_to = min(up_to or newest or 0, newest or 0)
    with writing():
        visit, _ = Visit.objects.update_or_create(
            person=by, defaults={"read_up_to": up_to, "read_at": timezone.now()}
        )
    return visit
