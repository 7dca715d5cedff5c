"""Locks on rows that an act changes: taken on both databases, felt on PostgreSQL."""


def locked(row):
    """Return the row as it is now, held until the act ends."""
    rows = row._meta.model.objects.select_for_update(of=("self",), no_key=True)
    return rows.get(pk=row.pk)
