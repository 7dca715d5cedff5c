"""What grows with the site: `python tests/bench/growth_bench.py [READINGS …]`, on
another database with DATABASE_URL (an empty one for each size: then one size a run).

Every page without a key in its address, the pages of a check, a joint, a part and an
airframe, and the saves of a tablet, at 10,000 readings and at as many as named (100,000
unless told; see large.py for what else there is then). Wanted: 1.5x at most, and 150 ms
a list. Prints the fastest of some requests through Django's client, in processor time
on SQLite and by the clock on PostgreSQL, with statements and kB of the answer.
"""

import json
import os
import re
import subprocess
import sys
import tempfile
import time
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
SMALL, LARGE = 10_000, 100_000
REPEATS = 5


def main() -> None:
    sizes = [int(one) for one in sys.argv[1:]] or [SMALL, LARGE]
    found = [measured(size) for size in sizes]
    head = "".join(f"{f'{size:,}':>11}" for size in sizes)
    sys.stdout.write(f"{'ms':<28}{head}{'ratio':>7}{'statements':>14}{'kB':>12}\n")
    for page in found[0]:
        if page not in found[-1]:
            continue
        rows = [one[page] for one in found]
        times = "".join(f"{row[0]:11.1f}" for row in rows)
        ratio = rows[-1][0] / max(rows[0][0], 0.1)
        counts = "/".join(str(row[1]) for row in rows)
        weights = "/".join(str(row[2]) for row in rows)
        mark = " <" if ratio > 1.5 or rows[-1][0] > 150 else ""
        sys.stdout.write(
            f"{page:<28}{times}{ratio:7.2f}{counts:>14}{weights:>12}{mark}\n"
        )


def measured(size: int) -> dict:
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as home:
        home = os.environ.get("FAYLINE_HOME") or home
        done = subprocess.run(
            [sys.executable, __file__, "--of", str(size)],
            env={**os.environ, "FAYLINE_HOME": home},
            stdout=subprocess.PIPE,
            check=True,
        )
    return json.loads(done.stdout)


def measure(size: int) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "shop.settings"
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    from qa.models import Reading
    from tests.bench.large import fill

    if not Reading.objects.exists():
        fill(size)
    if connection.vendor == "postgresql":  # as its autovacuum does in use
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    found = pages()
    found |= saves()
    json.dump(found, sys.stdout)


def clock() -> float:
    from django.db import connection

    if connection.vendor == "sqlite":
        return time.process_time()
    return time.perf_counter()


def timed(do) -> tuple[float, int, int]:
    """Fastest ms, statements, kB of what it answers."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    times = []
    for _ in range(REPEATS):
        start = clock()
        answer = do()
        b"".join(answer) if answer.streaming else None
        times.append((clock() - start) * 1000)
        if times[0] > 2000:
            break
    with CaptureQueriesContext(connection) as seen:
        answer = do()
        content = b"".join(answer) if answer.streaming else answer.content
        statements = len(seen)
    return round(min(times), 2), statements, len(content) // 1000


def pages() -> dict:
    from django.test import Client

    from shop.actions import devices
    from shop.models import Opens, Person
    from tests.bench.site_walk import addresses, of_scripts, unreached
    from tests.conftest import PASSWORD

    lead = Person.objects.get(username="lead")
    client = Client(SERVER_NAME="localhost", raise_request_exception=False)
    client.force_login(lead)
    found = addresses(client)
    _device, token = devices.make_device(
        by=lead, name="Growth", person=lead, opens=Opens.READS, password=PASSWORD
    )
    script = Client(
        SERVER_NAME="localhost", headers={"Authorization": f"Bearer {token}"}
    )
    asked = [(name, client, address) for name, address in found.items()]
    asked += [(name, script, address) for name, address in of_scripts().items()]
    only = os.environ.get("FAYLINE_GROWTH_ONLY")
    told = {}
    for name, who, address in asked:
        if only and not re.search(only, name):
            continue
        answer = who.get(address)
        if answer.status_code == 200:
            sys.stderr.write(f"{name}\n")
            told[name] = timed(lambda who=who, address=address: who.get(address))
        elif answer.status_code not in (302, 404, 405):
            sys.stderr.write(f"{name} {address}: {answer.status_code}\n")
    if not only:
        sys.stderr.write(f"No page leads to: {' '.join(unreached(found))}\n")
    return told


def saves() -> dict:
    from django.test import Client

    from qa.models import Check, Instrument
    from shop.ledger import sealer
    from shop.models import PartDesign, Person

    client = Client(SERVER_NAME="localhost")
    client.force_login(Person.objects.get(username="lead"))
    check = Check.objects.filter(state__state="open").latest("pk")

    def send(form, said):
        body = {"form": form, "by": "lead", "device": "", "seq": 1, "made_at": ""}
        answer = client.put(
            f"/api/acts/{uuid.uuid4()}",
            json.dumps({**body, "said": said}),
            content_type="application/json",
        )
        assert answer.status_code == 201, answer.content
        return answer

    def reading():
        said = {"station": "3", "kind": "gap", "outcome": "value", "unit": "mm"}
        return send("reading/1", {**said, "value": "2.2", "check": str(check.entry_id)})

    def begun():
        gauge = Instrument.objects.latest("pk")
        said = {"fitup": str(check.fit_up.entry_id), "finish": "finished"}
        return send("check/2", {**said, "instrument": str(gauge.uuid)})

    def finished():
        started = json.loads(begun().content)["result"]["check"]
        return send("finish/1", {"check": started})

    def part():
        design = PartDesign.objects.latest("pk")
        said = {"serial": uuid.uuid4().hex[:20], "origin": "made"}
        answer = client.post("/parts/add/", {**said, "design": design.pk})
        assert answer.status_code == 302, answer.content[-3000:]
        return answer

    def sealed():
        reading()
        sealer.seal(everywhere=False)  # as the server does, each second
        return client.get("/health")

    def polled():
        return client.get(f"/api/checks/{check.entry_id}")

    works = (reading, begun, finished, part, sealed, polled)
    return {f"save: {work.__name__}": timed(work) for work in works}


if __name__ == "__main__":
    if sys.argv[1:2] == ["--of"]:
        measure(int(sys.argv[2]))
    else:
        main()
