"""Locks on rows that an act changes: taken on both databases, felt on PostgreSQL."""

import functools

from shop.models.prepared_statements import Prepared, Slot


def locked(row):
    """Return the row as it is now, held until the act ends."""
    return hold_row(row._meta.model, row.pk)


def hold_row(model, key):
    """Return the row of a key as it is now, held until the act ends."""
    row = _by_key(model).first(key=key)
    if row is None:
        raise model.DoesNotExist
    return row


@functools.cache
def _by_key(model) -> Prepared:
    rows = model.objects.select_for_update(of=("self",), no_key=True)
    return Prepared(lambda: rows.filter(pk=Slot("key")))
