"""`manage.py test`: the whole suite, on SQLite and, where there is one, PostgreSQL."""

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand

# Arguments of pytest that several workers would get in the way of.
ONE_AT_A_TIME = ("-n", "-s", "--pdb", "--trace", "--co", "-h", "--help", "--version")
# Arguments after which nothing runs that a database could change.
ONLY_TELLS = (
    *("--version", "-V", "--help", "-h", "--markers", "--fixtures"),
    *("--collect-only", "--co"),
)
NO_TESTS_RUN = 5


class Command(BaseCommand):
    help = "Run the tests; all arguments go to pytest (-k WORDS, -x, a path, ...)."

    def run_from_argv(self, argv):
        sys.exit(self.run_tests(argv[2:]))

    def handle(self, *args, **_options):
        sys.exit(self.run_tests(list(args)))

    def run_tests(self, arguments):
        from tests.around import NoPostgresql, find_browser, postgresql

        if set(arguments) & set(ONLY_TELLS):
            with tempfile.TemporaryDirectory() as folder:
                return run_pytest(arguments, {}, folder)[0]
        # Stopped from outside, it still takes its PostgreSQL down with it.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
        say = self.stdout.write
        if not find_browser():
            say(
                "Left out: what needs a browser. Install Chromium, Chrome or Edge, or "
                "name one in FAYLINE_CHROMIUM."
            )
        with contextlib.ExitStack() as stack:
            try:
                address = stack.enter_context(postgresql())
            except NoPostgresql as why:
                address = None
                say(f"Left out: the same tests on PostgreSQL ({why}).")
            self.stdout.flush()
            # Compiled by the first half, read by the second.
            folder = stack.enter_context(tempfile.TemporaryDirectory())
            return self.run_on_both(arguments, address, folder)

    def run_on_both(self, arguments, address, folder):
        began = time.monotonic()
        code, first = run_pytest(arguments, {}, folder)
        if address is None or code not in (0, 1):
            return code
        self.stdout.write("\nThe tests that use a database, on PostgreSQL:")
        self.stdout.flush()
        again = ["--only-database", *arguments]
        second_code, second = run_pytest(again, {"DATABASE_URL": address}, folder)
        if second_code == NO_TESTS_RUN:
            second_code = 0
        seconds = time.monotonic() - began
        self.stdout.write(f"\nBoth together:\n{summary(first, second, seconds)}")
        return code or second_code


def run_pytest(arguments, environment, folder):
    """Run pytest as a process of its own; return its exit code and what it counted.

    folder: where it may leave what another run can use."""
    if not any(argument.startswith(ONE_AT_A_TIME) for argument in arguments):
        # The order and the groups are those of tests/conftest.py. One worker more than
        # processors: what waits for a browser, a bad network or a clock leaves its own
        # idle. With three more the same tests took a tenth more of the processors.
        count = str(min(os.cpu_count() or 1, 4) + 1)
        spread = ["--dist", "loadgroup", "--no-loadscope-reorder"]
        arguments = ["-n", count, *spread, *arguments]
    counts = Path(folder) / "counts.json"
    counts.unlink(missing_ok=True)
    inherited = {k: v for k, v in os.environ.items() if k != "DATABASE_URL"}
    # The tests choose their own settings and home (tests/settings.py).
    for name in ("DJANGO_SETTINGS_MODULE", "FAYLINE_HOME"):
        inherited.pop(name, None)
    if inherited.pop("PYTHONDONTWRITEBYTECODE", None):
        # Wished for the tree: without any, each of hundreds of processes compiles
        # all of the product.
        inherited["PYTHONPYCACHEPREFIX"] = f"{folder}/bytecode"
    # Each worker has a processor; threads of its own would wait for one another.
    inherited.setdefault("OPENBLAS_NUM_THREADS", "1")
    process = subprocess.Popen(
        [sys.executable, "-m", "pytest", *arguments],
        cwd=settings.BASE_DIR,
        env={**inherited, **environment, "FAYLINE_TEST_COUNTS": str(counts)},
    )
    try:
        while process.returncode is None:
            # Ctrl-C is for pytest to answer: it tells what it has done so far.
            with contextlib.suppress(KeyboardInterrupt):
                process.wait()
    finally:
        process.terminate()
    counted = json.loads(counts.read_text()) if counts.exists() else {}
    return process.returncode, counted


def summary(first, second, seconds):
    """The closing line of pytest for two runs taken together."""
    kinds = ("failed", "passed", "skipped", "xfailed", "xpassed", "error")
    counts = {kind: first.get(kind, 0) + second.get(kind, 0) for kind in kinds}
    parts = [f"{count} {kind}" for kind, count in counts.items() if count]
    return f" {', '.join(parts) or 'no tests ran'} in {seconds:.2f}s ".center(79, "=")
