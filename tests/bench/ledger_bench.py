"""How many entries a second `ledger verify` checks, and at how much memory:
`python tests/bench/ledger_bench.py [ENTRIES ...]`.

Wanted: 1,000,000 entries in under 2 minutes, memory that does not grow with them. A
fit check is made by its actions and written again with other keys, past the actions,
until there are as many entries; then all of them are sealed and verified. Prints
processor seconds (other work on the machine does not count), entries a second of those,
seconds by the clock, and the largest memory. On another database: DATABASE_URL, an
empty one.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import uuid
from pathlib import Path

SIZES = (20_000, 100_000)
AT_ONCE = 200  # checks written by one statement


def main() -> None:
    sizes = [int(one) for one in sys.argv[1:]] or SIZES
    sys.stdout.write(
        f"{'entries':>12}{'processor':>10}{'a second':>10}{'clock':>8}{'MB':>8}\n"
    )
    for size in sizes:
        done = subprocess.run(
            [sys.executable, __file__, "--of", str(size)],
            capture_output=True,
            check=True,
        )
        entries, seconds, clock, peak = json.loads(done.stdout)
        rate = entries / seconds
        told = f"{entries:12,}{seconds:10.1f}{rate:10,.0f}{clock:10.1f}{peak:10.0f}\n"
        sys.stdout.write(told)


def measure(size: int) -> None:
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as home:
        os.environ |= {"FAYLINE_HOME": home, "DJANGO_SETTINGS_MODULE": "shop.settings"}
        sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        many_checks(size)

        from shop.ledger import sealer
        from shop.ledger.verify import verify

        sealer.seal()
        before, start = resource.getrusage(resource.RUSAGE_SELF), time.monotonic()
        report = verify()
        after, wall = resource.getrusage(resource.RUSAGE_SELF), time.monotonic() - start
        assert not report.faults, report.faults
        seconds = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        from django.db import connection

        if connection.vendor == "postgresql":
            seconds = wall  # the other half of the work is done by the database
        told = [report.entries, seconds, wall, after.ru_maxrss / 1024]
        json.dump(told, sys.stdout)


def a_check():
    """One finished fit check of 8 stations; its entries with their facts."""
    from qa.actions import checks
    from shop.models import Entry
    from tests.conftest import make_people
    from tests.qa.making import make_check, make_fit_up, make_instrument, read

    people = make_people()
    fit_up = make_fit_up(people["engineer"])
    before = Entry.objects.latest("pk").pk
    gauge = make_instrument(people["engineer"])
    check = make_check(people["builder"], fit_up=fit_up, instrument=gauge)
    for station in range(1, 9):
        read(check, str(station), "gap", "2.00", by=people["builder"])
        read(check, str(station), "flush", "0.05", by=people["builder"])
    checks.finish_check(by=people["builder"], check=check)
    entries = Entry.objects.filter(pk__gt=before + 1).order_by("pk")
    return check, [(entry, json.loads(entry.body)) for entry in entries]


def many_checks(size: int) -> None:
    from django.db import transaction

    from qa.models import CheckState, CurrentReading
    from shop.models import Entry

    check, entries = a_check()
    projected = [*CurrentReading.objects.filter(fit_check=check)]
    projected += [*CheckState.objects.filter(fit_check=check)]
    wanted = (size - Entry.objects.count()) // len(entries)
    for first in range(0, wanted, AT_ONCE):
        rows: dict = {}
        for number in range(first, min(first + AT_ONCE, wanted)):
            clone(check, entries, projected, 10 + number, rows)
        with transaction.atomic():
            for model, made in rows.items():
                model._base_manager.bulk_create(made, batch_size=500)


def clone(check, entries, projected, number: int, rows: dict) -> None:
    """Write the check once more: its keys moved by `number` times a thousand."""
    from django.apps import apps

    from qa.models import Check, Reading
    from shop.ledger.canonical import canonical, entry_digest
    from shop.models import Entry

    tables = {model._meta.db_table: model for model in apps.get_models()}
    step = number * 1000
    acts = {}
    for entry, body in entries:
        acts[entry.act] = act = uuid.uuid4()
        facts = []
        for fact in body["facts"]:
            columns = {**fact["columns"], "id": fact["id"] + step}
            if "fit_check_id" in columns:
                columns["fit_check_id"] += step
            if tables[fact["table"]] is Check:
                columns["number"] += step
            facts.append({**fact, "id": fact["id"] + step, "columns": columns})
            row = tables[fact["table"]](**columns, entry_id=act)
            rows.setdefault(type(row), []).append(row)
        made = Entry(
            **{
                field.attname: getattr(entry, field.attname)
                for field in Entry._meta.concrete_fields
                if field.name not in ("id", "act", "body")
            },
            act=act,
            body=canonical({**body, "facts": facts}),
        )
        made.digest = entry_digest(made)
        rows.setdefault(Entry, []).append(made)
    for row in projected:
        values = {
            field.attname: getattr(row, field.attname)
            for field in row._meta.concrete_fields
            if field.name != "id"
        }
        values["fit_check_id"] += step
        if "reading_id" in values:
            values["reading_id"] += step
        if values.get("last_entry_id"):
            values["last_entry_id"] = acts[values["last_entry_id"]]
        rows.setdefault(type(row), []).append(type(row)(**values))
    assert Reading in rows


if __name__ == "__main__":
    if sys.argv[1:2] == ["--of"]:
        measure(int(sys.argv[2]))
    else:
        main()
