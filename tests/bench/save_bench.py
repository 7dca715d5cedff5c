"""How many readings a second the server keeps: `python tests/bench/save_bench.py
[SECONDS]`, on another database with DATABASE_URL (an empty one).

Twenty tablets, two on each check, send readings to a server of its own process as fast
as they are answered: each by itself, then ten at a time. Wanted: 150 a second, 99 % of
them answered in 250 ms; then each tablet sends one every 3 s: 99 % in 100 ms. What was
acknowledged is looked for in the records: none may lack, none be there twice, and the
ledger has to hold. Beside it stand the time of one fsync in the same folder, and the
processor of the server for one save: that is what to compare where other work runs on
the machine, and who kept the processors busy: where servers, tablets and database share
two of them, that is what holds four processes. On PostgreSQL these are then measured
against one, each with five of the tablets.

At last the ledger's price: the same saves in one process, in turns with the ledger and
without it (an entry that is a bare receipt: no facts in it, no digest, no seal).
"""

import contextlib
import datetime as dt
import http.client
import json
import os
import statistics
import sys
import tempfile
import threading
import time
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
TABLETS = 20
STATIONS = 100
SECONDS = 10
WARM_SECONDS = 3
PAUSE = 3.0
TICKS = os.sysconf("SC_CLK_TCK")


def main() -> None:
    seconds = float(sys.argv[1]) if sys.argv[1:] else SECONDS
    with a_home() as home:
        checks, tokens = prepare()
        tell("one fsync of 4 kB", f"{fsync_ms(home):.1f} ms")
        with serving(home, 1) as sites:
            warm(sites, checks, tokens)
            one = measured(sites, checks, tokens, seconds, "one a request")
            measured(sites, checks, tokens, seconds, "ten a request", at_once=10)
            measured(sites, checks, tokens, seconds, "one in 3 s", pause=PAUSE)
        if os.environ.get("DATABASE_URL"):
            with serving(home, 4) as sites:
                warm(sites, checks, tokens)
                four = measured(sites, checks, tokens, seconds, "four processes")
            tell("four processes against one", f"{four / one:.2f}")
        hold()
        price_of_the_ledger(checks[0], tokens[0])


@contextlib.contextmanager
def a_home(there: str | None = None):
    """A folder of the records in a new one, or one that is there; set for Django."""
    with tempfile.TemporaryDirectory(prefix="fayline-bench-") as folder:
        home = Path(there or f"{folder}/home")
        home.mkdir(exist_ok=True)
        os.environ |= {
            "FAYLINE_HOME": str(home),
            "DJANGO_SETTINGS_MODULE": "shop.settings",
            "FAYLINE_SECRET_KEY": "a key of this benchmark only",
        }
        yield home


def prepare() -> tuple[list[str], list[str]]:
    """Checks that are open, and tablets on which the builder has proven a PIN."""
    import django

    django.setup()
    from django.core.management import call_command
    from django.utils import timezone

    from shop.actions import tablets
    from shop.models import Entry, Person, Proof
    from tests.conftest import make_people
    from tests.qa.making import make_check, make_fit_up, make_instrument, make_joint
    from tests.shop import making

    call_command("migrate", verbosity=0)
    # On a site that was filled before they are there, and their names are taken.
    making.go_on_after(Entry.objects.count())
    people = {one.role: one for one in Person.objects.order_by("-pk")} or make_people()
    joint = make_joint(people["engineer"], STATIONS)
    checks, tokens = [], []
    for number in range(TABLETS):
        tablet, token = tablets.enroll(by=people["lead"], name=f"Tablet {number}")
        until = timezone.now() + tablets.SHIFT
        Proof.objects.create(tablet=tablet, person=people["builder"], until=until)
        tokens.append(token)
        if number % 2 == 0:
            fit_up = make_fit_up(people["engineer"], joint)
            gauge = make_instrument(people["engineer"])
            check = make_check(people["builder"], fit_up=fit_up, instrument=gauge)
            checks.append(str(check.entry_id))
    return checks, tokens


@contextlib.contextmanager
def serving(home: Path, count: int):
    """So many servers of one database; each has a folder of its own but the first."""
    from tests.around import Site

    settings = {
        name: os.environ[name]
        for name in ("DATABASE_URL", "FAYLINE_SECRET_KEY")
        if name in os.environ
    }
    sites = []
    try:
        for number in range(count):
            folder = home.with_name(f"home-{number}") if number else home
            folder.mkdir(exist_ok=True)
            sites.append(Site(folder, settings).start())
        yield sites
    finally:
        for site in sites:
            site.stop()


def warm(sites, checks, tokens) -> None:
    """Let each thread of each server build its statements, and the database plan them
    (it looks five times how to): not measured."""
    measured(sites, checks, tokens, WARM_SECONDS * len(sites), "")


def seconds_of(sites, checks, tokens, seconds, **how) -> list[float]:
    """What each save of a turn took; all that was acknowledged is there."""
    told, _spent, _cpu = a_turn(sites, checks, tokens, seconds, **how)
    return [second for one in told for second in one.seconds]


class Told:
    """What one tablet was answered: seconds of each request, acts that were kept."""

    def __init__(self):
        self.seconds, self.kept, self.faults = [], [], []


def a_turn(sites, checks, tokens, seconds, *, at_once=1, pause=0.0):
    """Let the tablets send for so long: what each was told, seconds by the clock, and
    those of processors by whom they worked for: servers, tablets, the whole machine."""
    told = [Told() for _ in tokens]
    end = time.monotonic() + seconds
    before = worked(sites)
    threads = [
        threading.Thread(
            target=tablet,
            args=(sites[n % len(sites)].port, checks[n // 2], tokens[n], told[n]),
            kwargs={"end": end, "at_once": at_once, "pause": pause, "first": n},
        )
        for n in range(len(tokens))
    ]
    start = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    spent = time.monotonic() - start
    cpu = [now - then for now, then in zip(worked(sites), before, strict=True)]
    faults = [fault for one in told for fault in one.faults]
    assert not faults, faults[:3]
    look_for([act for one in told for act in one.kept])
    return told, spent, cpu


def measured(sites, checks, tokens, seconds, what, **how) -> float:
    told, spent, (cpu, mine, busy) = a_turn(sites, checks, tokens, seconds, **how)
    kept = [act for one in told for act in one.kept]
    times = sorted(second for one in told for second in one.seconds)
    least = min(len(one.kept) for one in told) / (len(kept) / len(told))
    rate = len(kept) / spent
    if not what:
        return rate
    tell(
        what,
        f"{rate:6.0f} a second, {cpu / len(kept) * 1000:5.2f} ms of the server each, "
        f"median {statistics.median(times) * 1000:4.0f} ms, "
        f"99 % under {times[int(len(times) * 0.99)] * 1000:4.0f} ms, "
        f"the slowest tablet {least:.2f} of the mean",
    )
    rest = busy - cpu - mine
    tell(
        f"  of {os.cpu_count()} processors busy",
        f"{busy / spent:.2f}: servers {cpu / spent:.2f}, these tablets "
        f"{mine / spent:.2f}, database and all else {rest / spent:.2f}",
    )
    return rate


def tablet(port, check, token, told, *, end, at_once, pause, first) -> None:
    # Each from an address of its own, as the server counts what comes from one.
    mine = (f"127.0.0.{first + 2}", 0)
    line = http.client.HTTPConnection("127.0.0.1", port, 60, source_address=mine)
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    time.sleep(pause * first / TABLETS)
    station = first
    while time.monotonic() < end:
        acts = []
        for _ in range(at_once):
            station += 1
            acts.append(reading(check, station, kind="gap" if first % 2 else "flush"))
        start = time.monotonic()
        if at_once == 1:
            url, body = f"/api/acts/{acts[0]['id']}", acts[0]["body"]
            line.request("PUT", url, json.dumps(body), headers)
        else:
            line.request("POST", "/api/acts", json.dumps({"acts": acts}), headers)
        answer = line.getresponse()
        said = answer.read()
        told.seconds.append(time.monotonic() - start)
        headers["X-Head"] = answer.headers.get("X-Head", "").partition(" ")[0]
        if at_once == 1:
            statuses = [answer.status]
        else:
            statuses = [one["status"] for one in json.loads(said)["answers"]]
        if statuses != [201] * at_once:
            told.faults.append(said[:300])
            return
        told.kept += [act["id"] for act in acts]
        time.sleep(max(0.0, start + pause - time.monotonic()))


def reading(check: str, station: int, kind: str) -> dict:
    said = {
        "check": check,
        "station": str(station % STATIONS + 1),
        "kind": kind,
        "outcome": "value",
        "value": "2.2",
        "unit": "mm",
    }
    body = {"form": "reading/1", "by": "builder", "device": "", "seq": station}
    made_at = dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds")
    body |= {"made_at": made_at, "said": said}
    return {"id": str(uuid.uuid4()), "body": body}


def look_for(kept: list[str]) -> None:
    """Every act that was acknowledged is there, with one reading."""
    from qa.models import Reading

    assert len(set(kept)) == len(kept)
    for first in range(0, len(kept), 500):
        some = kept[first : first + 500]
        there = Reading.objects.filter(entry_id__in=some).values_list("entry_id")
        assert sorted(str(act) for (act,) in there) == sorted(some)


def processor(site) -> float:
    """Seconds that a server's processor worked, all threads; on PostgreSQL without what
    the database did."""
    fields = Path(f"/proc/{site.process.pid}/stat").read_text().rpartition(") ")[2]
    return sum(map(int, fields.split()[11:13])) / TICKS


def worked(sites) -> tuple[float, float, float]:
    return sum(map(processor, sites)), time.process_time(), machine()


def machine() -> float:
    """Seconds that all processors of this machine worked, for whomever."""
    user, nice, system, _idle, _wait, *more = map(
        int, Path("/proc/stat").read_text().split("\n")[0].split()[1:]
    )
    return (user + nice + system + sum(more[:3])) / TICKS


def fsync_ms(folder: Path) -> float:
    times = []
    with (folder / "fsync").open("wb") as file:
        for _ in range(50):
            file.write(b"x" * 4096)
            file.flush()
            start = time.perf_counter()
            os.fsync(file.fileno())
            times.append(time.perf_counter() - start)
    return statistics.median(times) * 1000


# ------------------------------------------------------------------ the ledger's price


def price_of_the_ledger(check: str, token: str, rounds: int = 10) -> None:
    """In turns with and without: processor and, for PostgreSQL's part, the clock."""
    from django.test import Client

    from shop.ledger import sealer
    from shop.ledger.acts import Act

    client, headers = (
        Client(SERVER_NAME="localhost"),
        {"HTTP_AUTHORIZATION": f"Bearer {token}"},
    )
    usual = Act._append
    spent: dict[bool, list] = {True: [], False: []}
    for turn in range(2 * rounds):
        with_ledger = turn % 2 == 0
        Act._append = usual if with_ledger else _bare
        try:
            start = time.process_time()
            for number in range(STATIONS):
                act = reading(check, number, "gap")
                url, body = f"/api/acts/{act['id']}", json.dumps(act["body"])
                kind = {"content_type": "application/json"}
                assert client.put(url, body, **kind, **headers).status_code == 201
            if with_ledger:
                sealer.seal()
            spent[with_ledger].append(time.process_time() - start)
        finally:
            Act._append = usual
    best = {which: min(times) / STATIONS * 1000 for which, times in spent.items()}
    tell("one save in one process, with the ledger", f"{best[True]:.2f} ms")
    tell("without", f"{best[False]:.2f} ms, ratio {best[True] / best[False]:.2f}")


def _bare(act, changed) -> None:
    """The receipt alone, by which an act sent again is known."""
    from shop.ledger.canonical import canonical
    from shop.models import Entry
    from shop.models.prepared_statements import insert

    act.entry = Entry(
        act=act.id,
        form=act.form,
        by=act.by,
        received_at=act.now,
        fingerprint=act.fingerprint,
        body=canonical({"result": act.result}),
    )
    insert(act.entry)


def hold() -> None:
    """The ledger of what the server kept holds (the bare receipts are none of it)."""
    from shop.ledger.verify import verify

    faults = list(verify().faults)
    tell("ledger", "holds" if not faults else f"{len(faults)} faults")


def tell(what: str, value: str) -> None:
    sys.stdout.write(f"{what:<42}{value}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
