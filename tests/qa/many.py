"""More rows than an expression of SQLite has terms, each of an entry of its own."""

import uuid

from shop.models import Entry

MANY = 1100


def multiplied(row, **counted) -> None:
    """Put in MANY rows as this one; counted: columns that differ, and their type."""
    entry = Entry.objects.get(act=row.entry_id)
    entries = [alike(entry, act=uuid.uuid4()) for _ in range(MANY)]
    Entry.objects.bulk_create(entries)
    rows = [
        alike(row, entry_id=made.act, **{name: of(at) for name, of in counted.items()})
        for at, made in enumerate(entries, 10)
    ]
    type(row)._base_manager.bulk_create(rows)


def alike(row, **other):
    names = [field.attname for field in row._meta.concrete_fields]
    columns = {name: getattr(row, name) for name in names if name != "id"}
    return type(row)(**{**columns, **other})
