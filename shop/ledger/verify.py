"""Check the whole ledger: seals, entries, and every fact against its entry."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from django.db import models

from shop.models import Entry, Fact, Seal

from .canonical import canonical, columns, digest, entry_digest
from .guards import guarded_models, missing
from .sealer import START, seal

CHUNK = 2000


@dataclass(frozen=True)
class Report:
    """What was checked, and the first thing that does not hold ("" when all holds)."""

    entries: int
    facts: int
    head: str
    fault: str = ""


class Broken(Exception):
    """The first thing that does not hold."""


def verify() -> Report:
    """Seal what waits, then check everything; memory stays bounded."""
    if names := missing():
        return Report(0, 0, "", f"the database lacks the guard {names[0]}")
    seal()
    tables = {
        model._meta.db_table: model
        for model in guarded_models()
        if issubclass(model, Fact)
    }
    seen: Counter[str] = Counter()
    entries, chain = 0, START
    try:
        for chunk in _chunks(
            Seal.objects.order_by("position").select_related("entry").iterator(CHUNK)
        ):
            for one in chunk:
                entries += 1
                chain = _check_link(one, entries, chain)
            _check_facts([one.entry for one in chunk], tables, seen)
        _check_nothing_unsealed(entries)
        for table, model in tables.items():
            _check_nothing_extra(model, seen[table])
    except Broken as fault:
        return Report(entries, seen.total(), chain, str(fault))
    return Report(entries, seen.total(), chain)


def _chunks(rows: Iterator) -> Iterator[list]:
    while chunk := list(islice(rows, CHUNK)):
        yield chunk


def _check_link(one: Seal, position: int, chain: str) -> str:
    entry = one.entry
    if one.position != position:
        raise Broken(f"seal {position} is missing")
    if entry_digest(entry) != entry.digest:
        raise Broken(f"entry {entry.id} ({entry}) is not what its digest says")
    chain = digest(chain, entry.digest)
    if one.digest != chain:
        raise Broken(f"seal {position} does not follow from the one before it")
    return chain


def _check_facts(entries: list[Entry], tables: dict, seen: Counter) -> None:
    wanted = defaultdict(list)
    for entry in entries:
        for fact in json.loads(entry.body)["facts"]:
            wanted[fact["table"]].append((entry, fact))
    for table, facts in wanted.items():
        model = tables.get(table)
        if model is None:
            raise Broken(f"the table {table} of entry {facts[0][0].id} is gone")
        rows = model._base_manager.in_bulk([fact["id"] for _, fact in facts])
        for entry, fact in facts:
            _check_fact(entry, fact, rows.get(fact["id"]))
        seen[table] += len(facts)


def _check_fact(entry: Entry, fact: dict, row: models.Model | None) -> None:
    name = f"{fact['table']} {fact['id']}"
    if row is None:
        raise Broken(f"{name} of entry {entry.id} ({entry}) is gone")
    if row.entry_id != entry.act:
        raise Broken(f"{name} points at another entry than {entry.id}")
    now = columns(row)
    for column, value in fact["columns"].items():
        # Columns added by later releases are not in old entries; none may vanish.
        if column not in now or canonical(now[column]) != canonical(value):
            raise Broken(
                f"{name}: {column} is {now.get(column)!r}, entry {entry.id} says "
                f"{value!r}"
            )


def _check_nothing_unsealed(sealed: int) -> None:
    if loose := Entry.objects.filter(seal__isnull=True).order_by("id").first():
        raise Broken(f"entry {loose.id} has no seal")
    if Entry.objects.count() != sealed:
        raise Broken("there are more entries than seals")


def _check_nothing_extra(model, listed: int) -> None:
    """Every row must be named by an entry: one put in by hand is not."""
    if model._base_manager.count() == listed:
        return
    known = set()
    for body in Entry.objects.values_list("body", flat=True).iterator(CHUNK):
        known.update(
            fact["id"]
            for fact in json.loads(body)["facts"]
            if fact["table"] == model._meta.db_table
        )
    extra = model._base_manager.exclude(pk__in=known).order_by("pk").first()
    key = extra.pk if extra else "?"
    raise Broken(f"{model._meta.db_table} {key} is in no entry")
