"""Locks on rows that an act changes: taken on both databases, felt on PostgreSQL."""

import functools

from shop.models.prepared import Prepared, Slot


def locked(row):
    """Return the row as it is now, held until the act ends."""
    found = _held(row._meta.model).first(key=row.pk)
    if found is None:
        raise row.DoesNotExist
    return found


@functools.cache
def _held(model) -> Prepared:
    rows = model.objects.select_for_update(of=("self",), no_key=True)
    return Prepared(lambda: rows.filter(pk=Slot("key")))
