"""A site of any size: `DATABASE_URL=… FAYLINE_HOME=… python tests/bench/large.py
READINGS`, into an empty database (SQLite where none is named).

Two blocks of a shop (large_blocks.py: a seam that is fitted and checked; for each tenth
of these one that is pulled, laid up, drilled, offered, inspected and packed) are made
by the actions, then written again and again by bulk inserts: other keys, names,
numbers, ids and times, an entry with its digest for each act, and seals over all of
them. `ledger verify` holds.
"""

import datetime as dt
import json
import os
import re
import sys
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
STEP = 10_000  # between the keys of one block and the next
EVERY = 10  # copies of the first block for one of the second
AT_ONCE = 20  # blocks in one transaction
UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


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
    from shop.models import Entry, Part, PartDesign, Pull
    from tests.bench.large_blocks import a_floor, a_seam
    from tests.conftest import make_people

    make_people()
    seam = Block.made_by(a_seam)
    each = Reading.objects.count()
    floor = Block.made_by(a_floor)
    blocks = -(-readings // each)
    for start in range(1, blocks, AT_ONCE):
        numbers = range(start, min(start + AT_ONCE, blocks))
        seam.write(numbers, blocks)
        floor.write([one for one in numbers if one % EVERY == 0], blocks)
        sealer.seal(everywhere=False)  # else each batch goes through all before it
    move_counters(blocks)
    move_sequences({*seam.keys, *floor.keys})
    sealer.seal()
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
        self.suffixed = {model: suffixed(model, self.keys) for model in self.keys}
        self.tables_made = [
            (insert_of(model), [Moves(self, model, row) for row in rows])
            for model, rows in self.rows.items()
        ]
        for _, body in self.entries:
            for row in body["facts"] + body["rows"]:
                if row["columns"]:
                    model = self.tables[row["table"]]
                    row["moves"] = Moves(self, model, row["columns"])

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

        from shop.models import Entry

        copies = [Copy(self, number, blocks) for number in numbers]
        entries = [one.entry(pair) for one in copies for pair in self.entries]
        with transaction.atomic(), connection.cursor() as cursor:
            Entry.objects.bulk_create(entries, batch_size=500)
            for statement, rows in self.tables_made:
                made = [one.prepared(copy) for copy in copies for one in rows]
                cursor.executemany(statement, made)


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


class Copy:
    """One more block: where each key, id, name and time of the first goes to."""

    def __init__(self, block: Block, number: int, blocks: int):
        self.block, self.number = block, number
        self.shift = number * STEP
        self.ids = {old: str(uuid.uuid4()) for old in block.ids}
        self.later = dt.timedelta(minutes=5 * (number - blocks))

    def moment(self, text: str) -> str:
        from shop.ledger.canonical import stamp

        return stamp(dt.datetime.fromisoformat(text) + self.later)

    def text(self, content) -> object:
        """What was said or answered, with the ids of this copy."""
        told = json.dumps(content)
        return json.loads(UUID.sub(lambda m: self.ids.get(m[0], m[0]), told))

    def bound(self, row: dict) -> dict:
        return {
            "table": row["table"],
            "id": self.ids.get(row["id"], row["id"])
            if isinstance(row["id"], str)
            else row["id"] + self.shift,
            "columns": row["columns"] and row["moves"].plain(self),
        }

    def entry(self, pair):
        from shop.ledger import Act
        from shop.ledger.canonical import canonical, entry_digest
        from shop.models import Entry

        entry, body = pair
        said = self.text(body["said"])
        told = {
            "said": said,
            "result": self.text(body["result"]),
            "facts": [self.bound(row) for row in body["facts"]],
            "rows": [self.bound(row) for row in body["rows"]],
        }
        made = Entry(
            act=uuid.UUID(self.ids[str(entry.act)]),
            form=entry.form,
            by_id=entry.by_id,
            device=entry.device,
            made_at=entry.made_at,
            seq=entry.seq,
            claimed=entry.claimed,
            received_at=entry.received_at + self.later,
            fingerprint=Act(entry.form, by=entry.by, said=said).fingerprint,
            body=canonical(told),
        )
        made.digest = entry_digest(made)
        return made


class Moves:
    """A row of the first block: what stays in each copy, and how the rest moves."""

    def __init__(self, block: Block, model, row: dict):
        fields = {one.attname: one for one in all_fields(model)}
        self.fields = [fields[name] for name in row]
        self.moving = {}
        for name, value in row.items():
            if how := how_it_moves(block, model, fields[name], value):
                self.moving[name] = (how, value)
        self.row = row
        self.made = None

    def plain(self, copy: "Copy") -> dict:
        moved = {name: how(copy, value) for name, (how, value) in self.moving.items()}
        return {**self.row, **moved}

    def prepared(self, copy: "Copy") -> list:
        """The values as the database takes them, in the order of the columns."""
        from django.db import connection

        if self.made is None:
            self.made = [
                field.get_db_prep_save(value, connection)
                for field, value in zip(self.fields, self.row.values(), strict=True)
            ]
            self.places = [
                (place, field, *self.moving[field.attname])
                for place, field in enumerate(self.fields)
                if field.attname in self.moving
            ]
        made = list(self.made)
        for place, field, how, value in self.places:
            made[place] = field.get_db_prep_save(how(copy, value), connection)
        return made


def how_it_moves(block: Block, model, field, value):
    """What is done to a value in each copy; None where it stays."""
    from django.db.models import DateTimeField, ForeignKey

    if value is None:
        return None
    if isinstance(value, str) and value in block.ids:
        return lambda copy, value: copy.ids[value]
    if field.primary_key and not isinstance(value, str):
        return lambda copy, value: value + copy.shift
    if isinstance(field, ForeignKey):
        ours = block.keys.get(field.related_model, ())
        return (lambda copy, value: value + copy.shift) if value in ours else None
    if isinstance(field, DateTimeField):
        return lambda copy, value: copy.moment(value)
    if field.attname == "subject_id" and value.isdecimal():  # what a photo shows
        return lambda copy, value: str(int(value) + copy.shift)
    if field.attname not in block.suffixed[model]:
        return None
    if isinstance(value, str):
        return lambda copy, value: f"{value}-{copy.number}"
    return lambda copy, value: value + copy.shift


def insert_of(model) -> str:
    from django.db import connection

    quoted = connection.ops.quote_name
    columns = [quoted(one.column) for one in all_fields(model)]
    return (
        f"INSERT INTO {quoted(model._meta.db_table)} ({', '.join(columns)}) "
        f"VALUES ({', '.join(['%s'] * len(columns))})"
    )


def all_fields(model):
    return model._meta.concrete_fields


def uuid_fields(model):
    from django.db.models import UUIDField

    return [f for f in all_fields(model) if isinstance(f, UUIDField)]


def full_columns(row) -> dict:
    """Every column of a row, with the link to its entry."""
    from shop.ledger.canonical import plain

    return {f.attname: plain(getattr(row, f.attname)) for f in all_fields(row)}


def suffixed(model, keys) -> set[str]:
    """The columns that must differ in each copy, beside keys, ids and links."""
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
        plain = [f for f in fields if isinstance(f, kinds)]
        found |= {field.attname for field in plain[:1]}
    return found


if __name__ == "__main__":
    main()
