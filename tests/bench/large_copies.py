"""How large.py moves a row, an entry and its texts from the first block to a copy."""

import datetime as dt
import json
import os
import re
from types import SimpleNamespace

STEP = 10_000  # between the keys of one block and the next
UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# A place of a text: alone in its quotes as they are of a key, or within others.
MARK = re.compile('"\ue000k([0-9]+)\ue001"|\ue000([0-9]+)\ue001')


class Copy:
    """One more block: where each key, id, name and time of the first goes to."""

    def __init__(self, block, number: int, blocks: int):
        self.block, self.number = block, number
        self.shift = number * STEP
        random = os.urandom(16 * len(block.ids)).hex()
        self.ids = {
            old: dashed(random[32 * at : 32 * at + 32])
            for at, old in enumerate(block.ids)
        }
        self.later = dt.timedelta(minutes=5 * (number - blocks))
        self.as_stored: dict = {}

    def id_of(self, old: str) -> str:
        return self.ids[old]

    def key_of(self, old: int) -> int:
        return old + self.shift

    def key_in_text(self, old: str) -> str:
        return str(int(old) + self.shift)

    def moment(self, text: str) -> str:
        from shop.ledger.canonical import stamp

        return stamp(dt.datetime.fromisoformat(text) + self.later)

    def named(self, name: str) -> str:
        return f"{name}-{self.number}"


def dashed(digits: str) -> str:
    """A UUID (version 4) of 32 random hexadecimal digits, as texts have it."""
    version, kind = f"4{digits[13:16]}", f"a{digits[17:20]}"
    parts = (digits[:8], digits[8:12], version, kind, digits[20:])
    return "-".join(parts)


class Places:
    """What differs between the copies, each once, and the texts that hold it."""

    def __init__(self):
        self.numbers: dict = {}

    def number(self, how, value) -> int:
        return self.numbers.setdefault((how, value), len(self.numbers))

    def mark(self, how, value) -> str:
        kind = "k" if how is Copy.key_of else ""
        return f"\ue000{kind}{self.number(how, value)}\ue001"

    def of(self, copy: Copy) -> list[str]:
        """What stands there in a copy, as it is within JSON."""
        moved = [how(copy, value) for how, value in self.numbers]
        return [
            json.dumps(one, ensure_ascii=False)[1:-1]
            if isinstance(one, str)
            else str(one)
            for one in moved
        ]


class Text:
    """A canonical text of the first block, as it is in each copy."""

    def __init__(self, content):
        from shop.ledger.canonical import canonical

        parts = MARK.split(canonical(content))
        self.form = "%s".join(part.replace("%", "%%") for part in parts[::3])
        self.places = [
            int(whole or within)
            for whole, within in zip(parts[1::3], parts[2::3], strict=True)
        ]

    def of(self, there: list[str]) -> str:
        return self.form % tuple([there[place] for place in self.places])


class EntryMoves:
    """An entry of the first block: what its copies say."""

    def __init__(self, block, entry, body: dict):
        self.entry, self.block = entry, block
        said = self.with_marks(body["said"])
        self.said = Text(said)
        told = {"said": said, "result": self.with_marks(body["result"])}
        told |= {kind: [*map(self.bound, body[kind])] for kind in ("facts", "rows")}
        self.body = Text(told)
        self.by = entry.by.username if entry.by else ""
        names = ("form", "by_id", "device", "made_at", "seq", "claimed")
        self.stored = {name: getattr(entry, name) for name in names}

    def with_marks(self, content):
        """What was said or answered, with a mark for each id of the block."""
        places, ids = self.block.places, self.block.ids
        return json.loads(
            UUID.sub(
                lambda m: places.mark(Copy.id_of, m[0]) if m[0] in ids else m[0],
                json.dumps(content),
            )
        )

    def bound(self, row: dict) -> dict:
        places, key, columns = self.block.places, row["id"], row["columns"]
        if not isinstance(key, str):
            key = places.mark(Copy.key_of, key)
        elif key in self.block.ids:
            key = places.mark(Copy.id_of, key)
        if columns:
            moves = Moves(self.block, self.block.tables[row["table"]], columns)
            marks = {n: places.mark(*how) for n, how in moves.moving.items()}
            columns = {**columns, **marks}
        return {"table": row["table"], "id": key, "columns": columns}

    def copied(self, copy: Copy, there: list[str]) -> SimpleNamespace:
        from shop.ledger.canonical import digest, entry_digest

        entry = self.entry
        made = SimpleNamespace(
            act=copy.ids[str(entry.act)],
            form=entry.form,
            by_id=entry.by_id,
            device=entry.device,
            made_at=entry.made_at,
            seq=entry.seq,
            claimed=entry.claimed,
            received_at=entry.received_at + copy.later,
            # As `Act.fingerprint`, of a text that is there already.
            fingerprint=digest(entry.form, self.by, self.said.of(there)),
            body=self.body.of(there),
        )
        made.digest = entry_digest(made)
        made.stored = self.stored | {
            name: getattr(made, name) for name in ("fingerprint", "body", "digest")
        }
        return made


class Moves:
    """A row of the first block: what stays in each copy, and how the rest moves."""

    def __init__(self, block, model, row: dict):
        fields = {one.attname: one for one in all_fields(model)}
        self.fields = [fields[name] for name in row]
        self.moving = {}
        for name, value in row.items():
            if how := how_it_moves(block, model, fields[name], value):
                self.moving[name] = (how, value)
        self.row = row
        self.made = None

    def prepared(self, copy: Copy) -> list:
        """The values as the database takes them, in the order of the columns."""
        from django.db import connection

        if self.made is None:
            self.made = [
                field.get_db_prep_save(value, connection)
                for field, value in zip(self.fields, self.row.values(), strict=True)
            ]
            self.places = [
                (place, field, (type(field), *self.moving[field.attname]))
                for place, field in enumerate(self.fields)
                if field.attname in self.moving
            ]
        made, stored = list(self.made), copy.as_stored
        for place, field, kind in self.places:
            if kind not in stored:
                _, how, value = kind
                stored[kind] = field.get_db_prep_save(how(copy, value), connection)
            made[place] = stored[kind]
        return made


def how_it_moves(block, model, field, value):
    """What is done to a value in each copy; None where it stays."""
    from django.db.models import DateTimeField, ForeignKey

    if value is None:
        return None
    if isinstance(value, str) and value in block.ids:
        return Copy.id_of
    if field.primary_key and not isinstance(value, str):
        return Copy.key_of
    if isinstance(field, ForeignKey):
        return Copy.key_of if value in block.keys.get(field.related_model, ()) else None
    if isinstance(field, DateTimeField):
        return Copy.moment
    if field.attname == "subject_id" and value.isdecimal():  # what a photo shows
        return Copy.key_in_text
    if field.attname not in block.suffixed[model]:
        return None
    return Copy.named if isinstance(value, str) else Copy.key_of


def all_fields(model):
    return model._meta.concrete_fields
