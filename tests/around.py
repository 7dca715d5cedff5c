"""What tests need around them: a browser, a PostgreSQL, a server process."""

import contextlib
import glob
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
import weakref
from pathlib import Path

from tests.warm import CAN_FORK, parent_of

TREE = Path(__file__).resolve().parent.parent

# Without windows, tabs and extensions: the same pages with half the processor.
SHELL = "chromium-headless-shell"
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "msedge",
    "microsoft-edge",
    "chrome",
)
BROWSER_PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
POSTGRESQL_PLACES = (
    "/usr/lib/postgresql/*/bin",
    "/usr/pgsql-*/bin",
    "/opt/homebrew/opt/postgresql*/bin",
    "/usr/local/opt/postgresql*/bin",
    r"C:\Program Files\PostgreSQL\*\bin",
)


def find_browser(*, shell: bool = True) -> str | None:
    """A Chromium or one of its kin, where it will do its shell; FAYLINE_CHROMIUM names
    another, or none ("")."""
    if "FAYLINE_CHROMIUM" in os.environ:
        return os.environ["FAYLINE_CHROMIUM"] or None
    found = filter(None, map(shutil.which, [SHELL] * shell + [*BROWSERS]))
    places = filter(os.path.exists, BROWSER_PLACES)
    return next(found, None) or next(places, None)


def find_postgresql_programs() -> Path | None:
    """The folder of initdb and pg_ctl, the newest where there are several."""
    folders = [path for place in POSTGRESQL_PLACES for path in glob.glob(place)]
    folders = [*sorted(folders, key=version_in, reverse=True)]
    on_path = shutil.which("pg_ctl")
    if on_path:
        folders.append(os.path.dirname(on_path))
    for folder in map(Path, folders):
        if all(shutil.which(name, path=str(folder)) for name in ("initdb", "pg_ctl")):
            return folder
    return None


def version_in(path: str) -> int:
    digits = "".join(c if c.isdigit() else " " for c in path).split()
    return int(digits[0]) if digits else 0


class NoPostgresql(Exception):
    """Why there is no PostgreSQL to test with, in words."""


@contextlib.contextmanager
def postgresql():
    """Address of a PostgreSQL for tests: the one named by the environment, or a
    throw-away one of our own that lives as long as this context."""
    for name in ("TEST_DATABASE_URL", "DATABASE_URL"):
        address = os.environ.get(name, "")
        if address.startswith("postgres"):
            yield address
            return
    programs = find_postgresql_programs()
    if programs is None:
        raise NoPostgresql("none is installed, and TEST_DATABASE_URL names none")
    as_owner = who_may_run_it()
    folder = tempfile.mkdtemp(prefix="fayline-pg-")
    try:
        if as_owner:
            shutil.chown(folder, "postgres")
        with running_cluster(programs, Path(folder), as_owner) as address:
            yield address
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def who_may_run_it() -> list[str]:
    """What to put before a command: PostgreSQL refuses to run as root."""
    if os.name == "nt" or os.geteuid() != 0:
        return []
    import pwd

    try:
        pwd.getpwnam("postgres")
    except KeyError:
        why = "it does not run as root, and there is no user postgres"
        raise NoPostgresql(why) from None
    if not shutil.which("runuser"):
        raise NoPostgresql("it does not run as root, and there is no runuser")
    return ["runuser", "-u", "postgres", "--"]


# Durability is tested by tests/faults and by PostgreSQL's own people.
QUICK = ["fsync=off", "synchronous_commit=off", "full_page_writes=off"]
QUICK += ["checkpoint_timeout=1h", "max_wal_size=8GB", "shared_buffers=256MB"]


@contextlib.contextmanager
def running_cluster(programs: Path, folder: Path, as_owner: list[str]):
    cluster = Cluster(programs, folder, as_owner, QUICK)
    cluster.start()
    try:
        yield cluster.address
    finally:
        cluster.stop()


class Cluster:
    """A PostgreSQL of the tests' own in a folder that its owner may write."""

    def __init__(self, programs: Path, folder: Path, as_owner: list[str], options=()):
        self.as_owner, self.data, self.log = as_owner, folder / "data", folder / "log"
        command = [programs / "initdb", "-D", self.data, "-U", "fayline", "-A", "trust"]
        run(as_owner, *command, "-E", "UTF8", "--locale=C", "--no-sync")
        port = held_port(self)
        options = [*options, "wal_level=minimal", "max_wal_senders=0"]
        # Between two tests that are rolled back every table is empty, and a statement
        # that was planned for empty tables then goes through all of them, row by row.
        options += ["autovacuum=off"]
        # Compiling a statement takes longer than it does on the few rows of a test.
        options += ["jit=off"]
        # So does weighing every order in which a dozen tables can be joined.
        options += ["join_collapse_limit=1", "from_collapse_limit=1"]
        options += ["max_parallel_workers_per_gather=0"]
        if os.name == "nt":
            where = f"127.0.0.1:{port}"
            options += ["listen_addresses=127.0.0.1"]
        else:
            where = f"{str(folder).replace('/', '%2F')}:{port}"
            options += ["listen_addresses=", f"unix_socket_directories={folder}"]
        self.address = f"postgres://fayline@{where}/postgres"
        self.switches = " ".join(f"-c '{one}'" for one in [*options, f"port={port}"])
        self.control = [programs / "pg_ctl", "-D", self.data, "-w", "-s"]

    def start(self) -> None:
        control = [*self.control, "-l", self.log, "-o", self.switches]
        run(self.as_owner, *control, "start")

    def stop(self) -> None:
        run(self.as_owner, *self.control, "-m", "immediate", "stop")


def run(as_owner: list[str], *command) -> None:
    done = subprocess.run(
        [*as_owner, *map(str, command)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,  # a pipe would stay open in the server
        stderr=subprocess.PIPE if "start" not in command else subprocess.DEVNULL,
        cwd=tempfile.gettempdir(),
        check=False,
    )
    if done.returncode:
        words = (done.stderr or b"").decode(errors="replace").strip()
        name = Path(command[0]).name
        raise NoPostgresql(f"{name} failed: {words or done.returncode}")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def held_port(owner) -> int:
    """A free port that is given to nobody else as long as the owner is there, also
    while its server does not listen yet, or was killed."""
    if os.name == "nt":  # where the same option lets two listen
        return free_port()
    with socket.socket() as held:
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
        weakref.finalize(owner, os.close, held.detach())
    return port


class Site:
    """The real server in a process of its own, as `manage.py serve` starts it.

    home: folder of its data. environment: what is set beside FAYLINE_HOME.
    command: which command serves, with its option that takes the port.
    tree: the sources it runs from; another release may take over at the next start.
    warm: forked from a parent that has imported the product, where that can be done.
    """

    command = ("serve", "--http")

    def __init__(
        self, home: Path, environment: dict, port: int | None = None, *, warm=False
    ):
        self.home = home
        self.environment = environment
        self.port = port or held_port(self)
        self.tree = TREE
        self.warm = warm and CAN_FORK
        self.log = home.with_name(f"{home.name}-server.log")
        self.process = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, *options: str) -> "Site":
        command = [*self.command, str(self.port), *options]
        self.process = self.run(command, self.everything())
        self.wait_until_it_answers()
        return self

    def everything(self) -> dict[str, str]:
        """Its environment."""
        inherited = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("FAYLINE_", "DJANGO_", "PYTEST"))
            and name != "DATABASE_URL"
        }
        settings = {
            "PYTHONPATH": str(self.tree),
            "PYTHONUNBUFFERED": "1",
            "DJANGO_SETTINGS_MODULE": "shop.settings",
            "FAYLINE_HOME": str(self.home),
        }
        return {**inherited, **settings, **self.environment}

    def run(self, command: list[str], environment: dict):
        if self.warm:
            parent = parent_of(self.tree, "DATABASE_URL" in environment)
            return parent.start(command, environment, self.home, self.log)
        with self.log.open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "django", *command],
                env=environment,
                cwd=self.home,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )

    def wait_until_it_answers(self, seconds: float = 300) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.process.poll() is not None:
                raise RuntimeError(f"the server ended:\n{self.words()}")
            with contextlib.suppress(OSError):
                address = f"{self.url}/health"
                with urllib.request.urlopen(address, timeout=5) as answer:
                    if answer.status == 200:
                        return
            time.sleep(0.05)
        self.kill()
        raise RuntimeError(f"the server does not answer:\n{self.words()}")

    def words(self) -> str:
        return self.log.read_text("utf-8", errors="replace")

    def kill(self) -> None:
        """End it as a power cut would."""
        if self.process and self.process.poll() is None:
            self.process.kill()
        if self.process:
            self.process.wait()

    def stop(self) -> int:
        """Ask it to stop, as Ctrl-C does; return its exit code."""
        self.process.terminate()
        return self.process.wait(timeout=30)


def by_hand():
    """An act for rows that a test makes or changes past the actions."""
    from shop.ledger import perform

    return perform("by_hand/1", by=None)
