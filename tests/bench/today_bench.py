"""How long Today, lists, search and the chain take as the shop grows:
`python tests/bench/today_bench.py`.

Wanted: under 2x the time when tools and parts grow from 10 to 10,000. Each size gets a
database of its own; rows are written past the actions, since only their number matters
here. Prints the fastest of several requests through Django's client in processor time
(SQLite works in this process, and other work on the machine does not count), the number
of statements, and the ratio of the largest to the smallest shop.
"""

import os
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

SIZES = (10, 1_000, 10_000)
REPEATS = 15
PULLS = 40  # behind the mold whose chain is walked


def main() -> None:
    found = {size: measured(size) for size in SIZES}
    pages = list(found[SIZES[0]])
    head = "".join(f"{f'{size:,}':>12}" for size in SIZES)
    title = f"ms, fastest of {REPEATS}"
    sys.stdout.write(f"{title:<28}{head}{'ratio':>8}{'statements':>12}\n")
    for page in pages:
        times = [found[size][page][0] for size in SIZES]
        counts = sorted({found[size][page][1] for size in SIZES})
        row = "".join(f"{ms:12.1f}" for ms in times)
        told = "/".join(map(str, counts))
        sys.stdout.write(f"{page:<28}{row}{times[-1] / times[0]:8.2f}{told:>12}\n")


def measured(size: int) -> dict[str, tuple[float, int]]:
    """Fastest ms and statements by page, in a process with a shop of this size."""
    import json
    import subprocess

    done = subprocess.run(
        [sys.executable, __file__, str(size)], capture_output=True, check=True
    )
    return json.loads(done.stdout)


def measure(size: int) -> None:
    import json

    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as home:
        os.environ |= {"FAYLINE_HOME": home, "DJANGO_SETTINGS_MODULE": "shop.settings"}
        sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        from tests.around import by_hand

        with by_hand():
            mold = fill(size)
        json.dump(timed(mold), sys.stdout)


def fill(size: int) -> int:
    """A shop of `size` tools and parts; the key of a mold with PULLS pulls."""
    from django.utils import timezone

    from shop.ledger import perform
    from shop.models import (
        Laminate,
        Lineage,
        Lot,
        Material,
        Part,
        PartDesign,
        Person,
        Pull,
        Tool,
        ToolStep,
    )

    now = timezone.now()
    day = timezone.localdate()
    lead = Person.objects.create(username="lead", name="Lead", role="lead")
    builder = Person.objects.create(username="builder", name="Builder", role="builder")
    assert builder
    resin = Material.objects.create(code="RES", name="Resin", kind="resin")
    laminate = Laminate.objects.create(
        code="L", name="Skin", resin=resin, fiber_fraction_ppm=500_000
    )
    design = PartDesign.objects.create(number="D", name="Door")
    Tool.objects.bulk_create(
        Tool(
            kind="mold" if n % 2 else "plug",
            code=f"T-{n:05d}",
            name=f"Tool {n}",
            service_interval=20,
            pulls_since_service=25 if n % 10 == 0 else 3,
            made_at=now - timedelta(days=300),
            waits_since=now - timedelta(days=n % 90),
        )
        for n in range(size)
    )
    tools = list(Tool.objects.order_by("pk"))
    ToolStep.objects.bulk_create(
        ToolStep(tool=tool, order=1, name="polish") for tool in tools
    )
    for step in ToolStep.objects.select_related("tool"):
        step.tool.waits_for = step
        step.tool.waits_for_id = step.pk
        tools[step.tool_id - tools[0].pk].waits_for_id = step.pk
    Tool.objects.bulk_update(tools, ["waits_for"], batch_size=500)
    Part.objects.bulk_create(
        Part(design=design, serial=f"P-{n:05d}") for n in range(size)
    )
    Lot.objects.bulk_create(
        Lot(
            material=resin,
            number=f"{n:05d}",
            received_on=day,
            expires_on=day + timedelta(days=n % 400),
        )
        for n in range(max(size // 10, 5))
    )
    mold = tools[1]
    parts = list(Part.objects.order_by("pk")[:PULLS])
    for number in range(1, PULLS + 1):
        with perform("pull/1", by=lead) as act:
            pull = Pull.objects.create(
                tool=mold,
                number=number,
                laminate=laminate,
                surface=0,
                started_entry_id=act.id,
                started_at=now - timedelta(days=number),
                state="demolded",
            )
            if number <= len(parts):
                act.record(Lineage(part=parts[number - 1], kind="pulled", pull=pull))
    return mold.pk


def timed(mold: int) -> dict[str, tuple[float, int]]:
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import reverse

    from shop.models import Part, Person

    client = Client()
    client.force_login(Person.objects.get(username="builder"))
    part = Part.objects.order_by("pk").first()
    pages = {
        "today": reverse("front"),
        "tooling": reverse("tooling"),
        "tooling, by waiting": reverse("tooling") + "?order=waiting",
        "parts": reverse("parts"),
        "pulls": reverse("pulls"),
        "lots": reverse("lots"),
        "parts to weigh": reverse("to_weigh"),
        "holds": reverse("holds"),
        "left and right": reverse("pairs"),
        "search for a serial": reverse("search") + "?q=P-00007",
        "chain of a mold": reverse("chain", args=["tool", mold]),
        "chain of a part": reverse("chain", args=["part", part.pk]),
    }
    found = {}
    for name, url in pages.items():
        answer = client.get(url)
        assert answer.status_code == 200, (url, answer.status_code)
        with CaptureQueriesContext(connection) as seen:
            client.get(url)
        # Asked now: the next request forgets what the last one did.
        statements = len(seen)
        times = []
        for _ in range(REPEATS):
            start = time.process_time()
            client.get(url)
            times.append((time.process_time() - start) * 1000)
        found[name] = (min(times), statements)
    return found


if __name__ == "__main__":
    if len(sys.argv) > 1:
        measure(int(sys.argv[1]))
    else:
        main()
