"""Servers that start warm: a parent that has imported the product forks each of them.

Cold, a start is two seconds of a processor, all but a quarter of a second of it for
imports, and the suite starts some three hundred. A forked one reads its environment,
its settings and its database as a cold one does (tests/test_around.py compares them);
tests/shop/test_server.py starts them cold. Only where a process can be waited for by a
descriptor (Linux); elsewhere `Site` starts all of them cold.
"""

import contextlib
import functools
import hashlib
import importlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

HERE = Path(__file__).resolve()
CAN_FORK = hasattr(os, "pidfd_open")


@functools.cache
def parent_of(tree: Path, postgresql: bool) -> "Parent":
    """The parent of all servers of one tree on one kind of database, in all workers of
    a run of the tests."""
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID", f"alone {os.getpid()}")
    name = hashlib.sha256(f"{tree} {postgresql} {run}".encode()).hexdigest()
    return Parent(f"\0servers of {name}")


class Parent:
    """The process that forks: asked by one line of JSON, answers by one.

    The worker that first wants it starts it; it ends when none is connected any more.
    """

    def __init__(self, address: str):
        self.address = address
        self.pid = self.lines = self.process = None
        self.one_at_a_time = threading.Lock()

    def ask(self, **what) -> int:
        with self.one_at_a_time:
            answer = self.answer(what)
        if answer is None:
            raise RuntimeError("the parent of the servers has ended")
        return answer

    def answer(self, what: dict) -> int | None:
        """None: it has ended."""
        try:
            self.lines.write(json.dumps(what).encode() + b"\n")
            self.lines.flush()
            return json.loads(self.lines.readline() or b"null")
        except ConnectionError:
            return None

    def connect(self, environment, folder) -> None:
        """To one that is there, else to one that is started; at the end of a test one
        may be gone before it answers."""
        while self.pid is None:
            started = self.open(environment, folder)
            self.pid = self.answer({})
            if started and self.pid is None:
                raise RuntimeError("the parent of the servers did not start")

    def open(self, environment, folder) -> bool:
        """Whether it had to be started."""
        while True:
            started = self.started(environment, folder)
            with (
                socket.socket(socket.AF_UNIX) as link,
                contextlib.suppress(ConnectionRefusedError),  # ended, or not yet there
            ):
                link.connect(self.address)
                self.lines = link.makefile("rwb")  # which keeps it open
                return started

    def started(self, environment, folder) -> bool:
        with socket.socket(socket.AF_UNIX) as here:
            try:
                here.bind(self.address)  # of all workers one can
            except OSError:
                return False
            here.listen(64)
            # What is set for the first of its children is none of the others' business.
            usual = {
                name: value
                for name, value in environment.items()
                if name == "FAYLINE_HOME" or not name.startswith("FAYLINE_")
            }
            self.process = subprocess.Popen(
                [sys.executable, "-P", str(HERE), str(here.fileno())],
                env=usual,
                cwd=folder,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                pass_fds=[here.fileno()],
            )
            return True

    def start(self, command, environment, folder, log) -> "Forked":
        """As Popen([python, "-m", "django", *command], env=environment, cwd=folder)
        with both of its outputs at the end of the file `log`."""
        with self.one_at_a_time:
            self.connect(environment, folder)
        what = {"command": command, "folder": str(folder), "log": str(log)}
        return Forked(self, self.ask(**what, environment=environment))


class Forked:
    """A forked server, with what tests use of a Popen."""

    def __init__(self, parent: Parent, pid: int):
        self.parent, self.pid, self.returncode = parent, pid, None
        self.ends = os.pidfd_open(pid)

    def poll(self, seconds: float | None = 0) -> int | None:
        if self.returncode is None:
            if not select.select([self.ends], [], [], seconds)[0]:
                return None
            os.close(self.ends)
            self.returncode = self.parent.ask(gather=self.pid)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        if self.poll(timeout) is None:
            raise subprocess.TimeoutExpired("a forked server", timeout)
        return self.returncode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            signal.pidfd_send_signal(self.ends, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)


# --------------------------------------------------------- in the parent's process


def serve_forks(number: int) -> None:
    """Answer until nobody is connected; return in each child, which goes on.

    number: of the descriptor that workers connect to.
    """
    warm_up()
    here = socket.socket(fileno=number)
    link = here.accept()[0]
    workers = {link: link.makefile("rwb")}
    while workers:
        for ready in select.select([here, *workers], [], [])[0]:
            if ready is here:
                link = here.accept()[0]
                workers[link] = link.makefile("rwb")
            elif not (line := workers[ready].readline()):
                workers.pop(ready).close()
                ready.close()
            else:
                what = json.loads(line)
                answer = answered(what)
                if not answer and "command" in what:
                    for one in (here, *workers.values(), *workers):
                        one.close()
                    return become(**what)
                workers[ready].write(json.dumps(answer).encode() + b"\n")
                workers[ready].flush()
    return os._exit(0)


def answered(what: dict) -> int:
    """The number of a new child (0: in it), how one ended, or who this is."""
    if "gather" in what:
        _, status = os.waitpid(what["gather"], 0)
        return os.waitstatus_to_exitcode(status)
    return os.fork() if what else os.getpid()


def warm_up() -> None:
    """Import what a server needs, and open nothing."""
    import gc

    import django
    from django.conf import settings

    django.setup()
    for name in (settings.ROOT_URLCONF, "shop.management.commands.serve"):
        importlib.import_module(name)
    for name in settings.MIDDLEWARE:
        importlib.import_module(name.rpartition(".")[0])
    make_what_never_changes()
    gc.freeze()


def make_what_never_changes() -> None:
    """What each server of these sources would make again: addresses read, scripts
    packed, migrations imported, models found to be sound."""
    from django.core.checks import model_checks, registry
    from django.db.migrations.loader import MigrationLoader
    from django.urls import get_resolver

    from qa.views import tablet
    from shop.serving.compressed import gzipped

    get_resolver()._populate()
    for text in tablet._release().files.values():
        gzipped(text.content)
    MigrationLoader(None)
    assert not model_checks.check_all_models(None)
    registry.registry.registered_checks.discard(model_checks.check_all_models)


def become(command, environment, folder, log) -> None:
    """Be what was started: outputs, environment, settings, then its command."""
    from django.conf import empty, settings
    from django.core.management import execute_from_command_line
    from django.core.signals import setting_changed
    from django.db import connections
    from django.test import signals  # noqa: F401 -- they clear what was kept

    said = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    for here, there in enumerate((os.open(os.devnull, os.O_RDONLY), said, said)):
        os.dup2(there, here)
    os.environ.clear()
    os.environ.update(environment)
    os.chdir(folder)
    before = {name: getattr(settings, name) for name in dir(settings)}
    importlib.reload(sys.modules[os.environ["DJANGO_SETTINGS_MODULE"]])
    settings._wrapped = empty
    with contextlib.suppress(AttributeError):  # made where something asked its vendor
        del connections["default"]
    connections._settings = None
    connections.__dict__.pop("settings", None)
    for name in {*dir(settings)} - {"DATABASES"}:
        value = getattr(settings, name)
        if name.isupper() and value != before.get(name):
            setting_changed.send(None, setting=name, value=value, enter=True)
    sys.argv = ["manage.py", *command]
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    serve_forks(int(sys.argv[1]))
