"""How tablets fare while a large site is backed up, and how long it takes to have it
back: `python tests/bench/backup_bench.py [READINGS] [SECONDS]`, on another database
with DATABASE_URL (an empty one); `FAYLINE_HOME=… python tests/bench/backup_bench.py 0
[SECONDS]` on a site that large.py made there, in one turn.

A site of so many readings (large.py) is made; then twenty tablets save a reading every
second, in turns with nothing beside them and with a backup being made, by the command
and with the priority that the server gives it at night. Wanted: the 99th percentile of
the saves beside the backup within 1.5 times that without it. The last backup is then
restored into a new home, which verifies its ledger: within five minutes.
"""

import os
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager, nullcontext
from pathlib import Path
from urllib.parse import urlsplit

TREE = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TREE), str(Path(__file__).parent)]
READINGS, SECONDS, TURNS, PAUSE = 10_000, 20.0, 3, 1.0
WANTED, WANTED_MINUTES = 1.5, 5


def main() -> None:
    readings = int(sys.argv[1]) if sys.argv[1:] else READINGS
    seconds = float(sys.argv[2]) if sys.argv[2:] else SECONDS
    there = os.environ.get("FAYLINE_HOME")
    import save_bench

    folder = tempfile.TemporaryDirectory(prefix="fayline-bench-")
    with folder as beside, save_bench.a_home(there) as home:
        place = Path(beside) / "backups"
        if not there:
            fill(readings)
        checks, tokens = save_bench.prepare()
        found = {False: [], True: []}
        with save_bench.serving(home, 1) as sites:
            save_bench.warm(sites, checks, tokens)
            for turn in range(2 if there else 2 * TURNS):
                backing = turn % 2 == 1
                with backing_up(place) if backing else nullcontext() as made:
                    more = True
                    while more:  # the whole backup through
                        found[backing] += save_bench.seconds_of(
                            sites, checks, tokens, seconds, pause=PAUSE
                        )
                        more = made is not None and made.poll() is None
        compare(found)
        new = {"FAYLINE_HOME": str(Path(beside) / "new home")}
        with an_empty_database() as new["DATABASE_URL"]:
            have_it_back(place, new)


MANAGE = TREE / "manage.py"


def fill(readings: int) -> None:
    """In this process, which then goes on giving names of its own."""
    import django

    django.setup()
    import large
    from django.core.management import call_command
    from save_bench import tell

    start = time.monotonic()
    call_command("migrate", verbosity=0)
    made = large.fill(readings)
    seconds = time.monotonic() - start
    tell(f"{made['Reading']:,} readings", f"filled in {seconds:.0f} s by the clock")


@contextmanager
def an_empty_database():
    """The address of one of the kind that the site is in, "" for SQLite."""
    from django.db import connection

    if connection.vendor == "sqlite":
        yield ""
        return
    connection.close()
    with connection._nodb_cursor() as cursor:
        cursor.execute("CREATE DATABASE had_back")
    try:
        yield urlsplit(os.environ["DATABASE_URL"])._replace(path="/had_back").geturl()
    finally:
        with connection._nodb_cursor() as cursor:
            cursor.execute("DROP DATABASE had_back WITH (FORCE)")


def have_it_back(place: Path, new: dict[str, str]) -> None:
    import save_bench

    start = time.monotonic()
    answer = manage("restored and verified", [MANAGE, "restore", str(place)], **new)
    minutes = (time.monotonic() - start) / 60
    save_bench.tell("what it says", answer.splitlines()[-1])
    wanted = f"{minutes:.1f} (wanted: {WANTED_MINUTES} or less)"
    save_bench.tell("minutes to have it back", wanted)


def manage(what: str, command: list, **environment) -> str:
    """Run one command to its end, tell how long it took, return what it said."""
    import save_bench

    start = time.monotonic()
    done = subprocess.run(
        [sys.executable, *command],
        env={**os.environ, **environment},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    save_bench.tell(what, f"{time.monotonic() - start:.1f} s by the clock")
    return done.stdout


@contextmanager
def backing_up(place: Path):
    """Within it a backup is made, by the process given."""
    import save_bench

    from shop.serving.nightly import NICER

    start = time.monotonic()
    command = [sys.executable, MANAGE, "backup", place, "--json"]
    made = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    os.setpriority(os.PRIO_PROCESS, made.pid, NICER)
    try:
        yield made
    finally:
        code = made.wait()
    took = f"{time.monotonic() - start:.1f} s by the clock"
    save_bench.tell("a backup", took if code == 0 else f"failed: {code}")


def compare(found: dict) -> None:
    from press_bench import at
    from save_bench import tell

    for beside, times in found.items():
        what = "beside a backup" if beside else "without it"
        told = f"median {at(times, 0.5):6.1f} ms, 99 % under {at(times, 0.99):7.1f} ms"
        tell(what, f"{told}, {len(times)} saves")
    ratio = at(found[True], 0.99) / at(found[False], 0.99)
    tell("99th percentile, ratio", f"{ratio:.2f} (wanted: {WANTED} or less)")


if __name__ == "__main__":
    main()
