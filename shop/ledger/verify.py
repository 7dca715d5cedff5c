"""Check the whole ledger, and everything that pages and papers state against it.

Everything is read at one moment, beside people who go on saving; memory stays bounded:
of the rows that acts set it grows by one number each, by entries not at all.
"""

import contextlib
import gc
import json
import logging
from collections import Counter, defaultdict, namedtuple
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from operator import itemgetter

from django.apps import apps
from django.db import DatabaseError, models

from shop.models import Entry, Fact, Kept, Seal

from . import guards, kept_files, projections
from .canonical import bound_columns, canonical, digest, entry_digest, plain
from .read_only import refuses_writes
from .sealer import START, seal
from .snapshot import snapshot

log = logging.getLogger(__name__)

CHUNK = 2000
# Whoever looks at what was changed needs to know where to look, not all of it.
MOST = 20


@dataclass(frozen=True)
class Report:
    """What was checked, and what does not hold (nothing: all holds).

    position, head: of the newest seal. unsealed: entries saved since, checked but not
    chained yet.
    """

    entries: int
    facts: int
    rows: int
    position: int
    head: str
    unsealed: int
    faults: tuple[str, ...] = ()

    @property
    def fault(self) -> str:
        return self.faults[0] if self.faults else ""


def verify(*, expect: tuple[int, str] | None = None, most: int | None = MOST) -> Report:
    """Seal what waits, where that can be written; check everything at one moment.

    expect: a head noted down before, (position, digest); its beginning is enough.
    most: how many faults to look for (None: all).
    """
    try:
        seal()
    except DatabaseError as why:
        if not refuses_writes(why):
            raise
    with snapshot(), _few_collections():
        run = _Run(expect)
        faults = tuple(islice(run.faults(), most))
    return Report(
        entries=run.entries,
        facts=run.facts_seen.total(),
        rows=run.rows,
        position=run.position,
        head=run.chain,
        unsealed=run.unsealed,
        faults=faults,
    )


@contextlib.contextmanager
def _few_collections():
    """Let garbage wait for a chunk of rows: looked for after every 700 objects, as is
    usual, it takes a fifth of the time."""
    usual = gc.get_threshold()
    gc.set_threshold(50 * CHUNK, *usual[1:])
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _chunks(rows: Iterable) -> Iterator[list]:
    rows = iter(rows)
    while chunk := list(islice(rows, CHUNK)):
        yield chunk


def _bodies(keys, name="pk") -> dict:
    """Return the bodies of entries by key, read."""
    rows = Entry.objects.filter(**{f"{name}__in": set(keys)})
    return {key: json.loads(body) for key, body in rows.values_list(name, "body")}


def _whole(what: str, faults: Iterator[str]) -> Iterator[str]:
    """Give the faults of one part; a column may hold what none of its kind can hold."""
    try:
        yield from faults
    except (ValueError, TypeError, AttributeError, LookupError) as why:
        log.exception("verify")
        yield f"{what} cannot be read to the end ({why!r})"


COLUMNS = (
    "pk",
    "act",
    "form",
    "by_id",
    "device",
    "made_at",
    "seq",
    "claimed",
    "received_at",
    "fingerprint",
    "body",
    "digest",
)


class _Entry(namedtuple("_Entry", ("position", "seal", *COLUMNS))):
    """An entry with its seal (None: not sealed yet); a model costs twice the time."""

    __slots__ = ()

    def __str__(self) -> str:
        return f"{self.form} {self.act}"


def _all_entries() -> Iterator[_Entry]:
    """Give all entries, those sealed in the order of their seals, then the others."""
    names = [f"entry__{name}" for name in COLUMNS]
    sealed = Seal.objects.order_by("position").values_list("position", "digest", *names)
    loose = Entry.objects.filter(seal__isnull=True).order_by("pk").values_list(*COLUMNS)
    yield from map(_Entry._make, sealed.iterator(CHUNK))
    for entry in loose.iterator(CHUNK):
        yield _Entry(None, None, *entry)


class _Run:
    """One walk over everything. `faults` gives what does not hold, in order."""

    def __init__(self, expect: tuple[int, str] | None):
        self.expect = expect
        self.entries = self.position = self.unsealed = self.rows = 0
        self.chain = START
        self.facts_seen: Counter[str] = Counter()
        # Of each kept row the entry that set it last: {table: {key: number}}.
        self.newest: dict[str, dict] = defaultdict(dict)
        models_by_table = {model._meta.db_table: model for model in apps.get_models()}
        self.of_facts = {
            n: _Columns(m) for n, m in models_by_table.items() if issubclass(m, Fact)
        }
        self.kept = {n: m for n, m in models_by_table.items() if issubclass(m, Kept)}

    def faults(self) -> Iterator[str]:
        yield from guards.faults()
        yield from _whole("the chain", self._entries())
        for table, binding in self.of_facts.items():
            yield from _whole(table, self._unnamed_facts(table, binding.model))
        for table, model in self.kept.items():
            yield from _whole(table, self._kept_rows(table, model))
        for family in projections.FAMILIES:
            tables = ", ".join(model._meta.db_table for model in family.keys)
            differences = projections.differences([family])
            words = (word for difference in differences for word in difference.words())
            yield from _whole(tables, words)
        yield from kept_files.faults()

    # ------------------------------------------------------------ the chain

    def _entries(self) -> Iterator[str]:
        broken = ""
        for chunk in _chunks(_all_entries()):
            for entry in chunk:
                self.entries += 1
                if entry_digest(entry) != entry.digest:
                    yield f"entry {entry.pk} ({entry}) is not what its digest says"
                if entry.position is None:
                    self.unsealed += 1
                elif not broken and (broken := self._link(entry)):
                    yield broken
            yield from self._facts(chunk)
        if self.expect and not broken and self.position < self.expect[0]:
            yield (
                f"the ledger ends with seal {self.position}, you have noted seal "
                f"{self.expect[0]}: its tail is gone"
            )

    def _link(self, entry: _Entry) -> str:
        self.position += 1
        if entry.position != self.position:
            return f"seal {self.position} is missing"
        self.chain = digest(self.chain, entry.digest)
        if entry.seal != self.chain:
            return f"seal {self.position} does not follow from the one before it"
        if self.expect and self.position == self.expect[0]:
            noted = self.expect[1].strip().lower()
            if not self.chain.startswith(noted):
                return (
                    f"seal {self.position} is {self.chain}, you have noted {noted}: "
                    "the chain was written anew, or that is of another shop"
                )
        return ""

    # ------------------------------------------------------------ facts

    def _facts(self, entries: list[_Entry]) -> Iterator[str]:
        wanted = defaultdict(list)
        for entry in entries:
            try:
                body = json.loads(entry.body)
            except ValueError:
                yield f"entry {entry.pk} ({entry}) has no body that can be read"
                continue
            for fact in body.get("facts", ()):
                wanted[fact["table"]].append((entry, fact))
            for row in body.get("rows", ()):
                self._bind(entry, row)
        for table, facts in wanted.items():
            stored = self.of_facts.get(table)
            if stored is None:
                yield f"the table {table} of entry {facts[0][0].pk} is gone"
                continue
            self.facts_seen[table] += len(facts)
            yield from _whole(table, stored.compare_all(facts))

    def _unnamed_facts(self, table: str, model) -> Iterator[str]:
        """A row put in by hand is in no entry, or in one that does not name it."""
        if model._base_manager.count() == self.facts_seen[table]:
            return
        rows = model._base_manager.order_by("pk").values_list("pk", "entry_id")
        for chunk in _chunks(rows.iterator(CHUNK)):
            bodies = _bodies((act for _key, act in chunk), "act")
            for key, act in chunk:
                facts = bodies.get(act, {}).get("facts", ())
                if (table, key) not in {(fact["table"], fact["id"]) for fact in facts}:
                    yield f"{table} {key} is in no entry"

    # ------------------------------------------------------------ kept rows

    def _bind(self, entry: _Entry, row: dict) -> None:
        newest = self.newest[row["table"]]
        if row["columns"] is None:
            newest.pop(row["id"], None)
        else:
            newest[row["id"]] = entry.pk

    def _kept_rows(self, table: str, model) -> Iterator[str]:
        newest = self.newest[table]
        for chunk in _chunks(model._base_manager.order_by("pk").iterator(CHUNK)):
            self.rows += len(chunk)
            keys = {row.pk: newest.pop(plain(row.pk), None) for row in chunk}
            bodies = _bodies(key for key in keys.values() if key)
            bound = {
                (number, row["id"]): row["columns"]
                for number, body in bodies.items()
                for row in body["rows"]
                if row["table"] == table
            }
            for row in chunk:
                columns_bound = bound.get((keys[row.pk], plain(row.pk)))
                yield from _compare_kept(row, keys[row.pk], columns_bound)
        for key, number in sorted(newest.items(), key=lambda item: item[1]):
            yield f"{table} {key} of entry {number} is gone"


def _compare_kept(row: models.Model, number: int | None, kept: dict | None):
    name = f"{row._meta.db_table} {row.pk}"
    if kept is None:
        yield f"{name} is in no entry"
        return
    for column, now in bound_columns(row).items():
        # A column added by a later release is not in the entries before it.
        if column in kept and canonical(kept[column]) != canonical(now):
            if column in row.bound_by_digest:
                yield f"{name}: {column} is another than entry {number} says"
            else:
                yield (
                    f"{name}: {column} is {now!r}, entry {number} says {kept[column]!r}"
                )


def _values_at(places: list[int]):
    """What gives the values at some places of a row, always as a tuple."""
    if len(places) > 1:
        return itemgetter(*places)
    return lambda row: tuple([row[place] for place in places])


class _Columns:
    """Facts of one table, read as plain columns: models would cost half the time."""

    def __init__(self, model):
        self.model = model
        self.table = model._meta.db_table
        fields = model._meta.concrete_fields
        self.names = [field.attname for field in fields]
        self.place = {name: at for at, name in enumerate(self.names)}
        self.key = self.place[model._meta.pk.attname]
        self.entry = self.place["entry_id"]
        self.fresh = {field.attname: field for field in fields if field.name != "entry"}
        # As an entry lists them.
        self.listed = sorted(self.fresh)
        self.values = _values_at([self.place[name] for name in self.listed])

    def rows(self, keys: list) -> dict:
        # In no order: one by a link would lose a row whose link was changed.
        rows = self.model._base_manager.filter(pk__in=keys).order_by()
        rows = rows.values_list(*self.names)
        return {plain(row[self.key]): row for row in rows}

    def compare_all(self, facts: list[tuple[_Entry, dict]]) -> Iterator[str]:
        rows = self.rows([fact["id"] for _entry, fact in facts])
        for entry, fact in facts:
            yield from self.compare(entry, fact, rows.get(fact["id"]))

    def compare(self, entry: _Entry, fact: dict, row: tuple | None) -> Iterator[str]:
        name = f"{self.table} {fact['id']}"
        if row is None:
            yield f"{name} of entry {entry.pk} ({entry}) is gone"
            return
        if row[self.entry] != entry.act:
            yield f"{name} points at another entry than {entry.pk}"
            return
        columns = fact["columns"]
        # Most are equal as they are, column by column.
        if list(columns) == self.listed and self.values(row) == tuple(columns.values()):
            return
        for column, value in columns.items():
            at = self.place.get(column)
            now = None if at is None else row[at]
            # None may vanish. No text is made of what is equal as it is.
            if at is None or (
                now != value and canonical(plain(now)) != canonical(value)
            ):
                yield (
                    f"{name}: {column} is {plain(now)!r}, entry {entry.pk} says "
                    f"{value!r}"
                )
        if len(columns) < len(self.fresh):
            yield from self._added(name, entry, columns, row)

    def _added(self, name, entry, columns, row) -> Iterator[str]:
        """Columns of later releases are not in old entries: nobody filled them."""
        for column, field in self.fresh.items():
            now = row[self.place[column]]
            if column not in columns and now not in (None, field.get_default()):
                yield (
                    f"{name}: {column} is {plain(now)!r}, there was no such column at "
                    f"entry {entry.pk}"
                )
