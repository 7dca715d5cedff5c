"""A site of any size: `DATABASE_URL=… FAYLINE_HOME=… python tests/bench/large.py
READINGS`, into an empty database (SQLite where none is named).

Two blocks of a shop (large_blocks.py: a seam that is fitted and checked; for each tenth
of these one that is pulled, laid up, drilled, offered, inspected and packed) are made
by the actions, then written again and again by bulk inserts: other keys, names,
numbers, ids and times, an entry with its digest for each act, and seals over all of
them. `ledger verify` holds.
"""

import json
import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.large_copies import (
    STEP,
    Copy,
    EntryMoves,
    Moves,
    Places,
    all_fields,
)

EVERY = 10  # copies of the first block for one of the second
AT_ONCE = 100  # blocks in one transaction


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    made = fill(int(sys.argv[1]) if sys.argv[1:] else 10_000)
    sys.stdout.write(f"{made}\n")


def fill(readings: int) -> dict[str, int]:
    """Make a site of at least so many readings; return how many rows of what it has."""
    from qa.models import Check, IssuedPack, Joint, Reading
    from shop.ledger import sealer
    from shop.models import Entry, Part, PartDesign, Pull, Seal
    from tests.bench.large_blocks import a_floor, a_seam
    from tests.conftest import make_people

    make_people()
    seam = Block.made_by(a_seam)
    each = Reading.objects.count()
    floor = Block.made_by(a_floor)
    sealer.seal()
    hurry()
    blocks = -(-readings // each)
    for start in range(1, blocks, AT_ONCE):
        numbers = range(start, min(start + AT_ONCE, blocks))
        seam.write(numbers, blocks)
        floor.write([one for one in numbers if one % EVERY == 0], blocks)
    move_counters(blocks)
    move_sequences({*seam.keys, *floor.keys, Entry, Seal})
    counted = (Reading, Check, Joint, Part, PartDesign, Pull, IssuedPack, Entry)
    return {model.__name__: model.objects.count() for model in counted}


class Block:
    """The rows and entries that the actions made after an entry."""

    def __init__(self, first: int):
        from django.apps import apps

        from shop.models import Entry

        self.tables = {model._meta.db_table: model for model in apps.get_models()}
        self.entries = [
            (entry, json.loads(entry.body))
            for entry in Entry.objects.filter(pk__gt=first).order_by("pk")
        ]
        self.keys: dict[type, set] = {}
        for _, body in self.entries:
            for row in body["facts"] + body["rows"]:
                self.keys.setdefault(self.tables[row["table"]], set()).add(row["id"])
        self.add_projections()
        self.rows = {
            model: [
                full_columns(row)
                for row in model._base_manager.filter(pk__in=keys).order_by("pk")
            ]
            for model, keys in self.keys.items()
        }
        self.ids = {str(entry.act) for entry, _ in self.entries}
        for model, rows in self.rows.items():
            names = [f.attname for f in uuid_fields(model) if f.unique]
            self.ids |= {row[name] for row in rows for name in names}
        self.suffixed = {
            model: suffixed(model, self.keys, rows) for model, rows in self.rows.items()
        }
        self.tables_made = [
            (insert_of(model), [Moves(self, model, row) for row in rows])
            for model, rows in self.rows.items()
        ]
        self.places = Places()
        self.entry_moves = [EntryMoves(self, *pair) for pair in self.entries]

    @classmethod
    def made_by(cls, make) -> "Block":
        from shop.models import Entry

        first = Entry.objects.latest("pk").pk
        make()
        return cls(first)

    def add_projections(self) -> None:
        from django.db.models import ForeignKey

        from shop.models import Projection

        facts = dict(self.keys)
        for model in self.tables.values():
            if not issubclass(model, Projection):
                continue
            for field in model._meta.concrete_fields:
                target = field.related_model
                if isinstance(field, ForeignKey) and target in facts:
                    if field.to_fields not in ([None], ["id"]):
                        continue
                    rows = model._base_manager.filter(
                        **{f"{field.name}__in": facts[target]}
                    )
                    found = set(rows.values_list("pk", flat=True))
                    self.keys.setdefault(model, set()).update(found)

    def write(self, numbers, blocks: int) -> None:
        from django.db import connection, transaction

        copies = [Copy(self, number, blocks) for number in numbers]
        with transaction.atomic(), connection.cursor() as cursor:
            write_entries(
                cursor, [made for copy in copies for made in self.copied(copy)]
            )
            for statement, rows in self.tables_made:
                made = [one.prepared(copy) for copy in copies for one in rows]
                cursor.executemany(statement, made)

    def copied(self, copy: Copy) -> list:
        there = self.places.of(copy)
        return [moves.copied(copy, there) for moves in self.entry_moves]


def write_entries(cursor, entries: list) -> None:
    """Insert entries in the order given, and chain them as the sealer would."""
    from django.db import connection

    from shop.ledger.canonical import digest
    from shop.models import Entry, Seal

    fields = [(field.attname, field) for field in all_fields(Entry)]
    last = Seal.objects.order_by("-position").first()
    position, chain, key = last.position, last.digest, Entry.objects.latest("pk").pk
    stored, seals = [], []
    for number, entry in enumerate(entries, 1):
        entry.id = key + number
        chain = digest(chain, entry.digest)
        # What is said once in a block is prepared there.
        stored.append(
            [
                entry.stored[name]
                if name in entry.stored
                else field.get_db_prep_save(getattr(entry, name), connection)
                for name, field in fields
            ]
        )
        # Its own key is as good a one as its position.
        seals.append([position + number, position + number, entry.id, chain])
    cursor.executemany(insert_of(Entry), stored)
    cursor.executemany(insert_of(Seal), seals)


def move_counters(blocks: int) -> None:
    """Let numbers go on after those that the copies took."""
    from django.db.models import F

    from shop.models import Counter

    for row in Counter.objects.all():
        Counter.objects.filter(pk=row.pk).update(last=F("last") + blocks * STEP)


def move_sequences(models) -> None:
    """PostgreSQL: let keys go on after those that were given here."""
    from django.core.management.color import no_style
    from django.db import connection

    statements = connection.ops.sequence_reset_sql(no_style(), [*models])
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def hurry() -> None:
    """SQLite: a site that is cut off here is of no use, so nothing waits for a disk."""
    from django.db import connection

    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA synchronous=OFF")
            cursor.execute("PRAGMA cache_size=-500000")


def insert_of(model) -> str:
    from django.db import connection

    quoted = connection.ops.quote_name
    columns = [quoted(one.column) for one in all_fields(model)]
    return (
        f"INSERT INTO {quoted(model._meta.db_table)} ({', '.join(columns)}) "
        f"VALUES ({', '.join(['%s'] * len(columns))})"
    )


def uuid_fields(model):
    from django.db.models import UUIDField

    return [f for f in all_fields(model) if isinstance(f, UUIDField)]


def full_columns(row) -> dict:
    """Every column of a row, with the link to its entry."""
    from shop.ledger.canonical import plain

    return {f.attname: plain(getattr(row, f.attname)) for f in all_fields(row)}


def suffixed(model, keys, rows) -> set[str]:
    """The columns that must differ in each copy of the rows, beside keys, ids and
    links."""
    from django.db.models import CharField, ForeignKey, IntegerField, UniqueConstraint

    def differs(field) -> bool:
        return isinstance(field, ForeignKey) and field.related_model in keys

    kinds = (CharField, IntegerField)
    found = {
        field.attname
        for field in all_fields(model)
        if field.unique
        and not field.primary_key
        and isinstance(field, kinds)
        and not isinstance(field, ForeignKey)
    }
    for rule in model._meta.constraints:
        if not isinstance(rule, UniqueConstraint) or not rule.fields:
            continue
        fields = [model._meta.get_field(name) for name in rule.fields]
        if any(differs(field) or field.attname in found for field in fields):
            continue
        if any(all(row[field.attname] is None for row in rows) for field in fields):
            continue  # where nothing is named, nothing can be named twice
        plain = [f for f in fields if isinstance(f, kinds)]
        found |= {field.attname for field in plain[:1]}
    return found


if __name__ == "__main__":
    main()
