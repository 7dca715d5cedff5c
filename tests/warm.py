"""Servers that start warm: a parent that has imported the product forks each of them.

Cold, a start is two seconds of a processor, all but a quarter of a second of it for
imports, and the suite starts some three hundred. A forked one reads its environment,
its settings and its database as a cold one does (tests/test_around.py compares them);
tests/shop/test_server.py starts them cold. Only where a process can be waited for by a
descriptor (Linux); elsewhere `Site` starts all of them cold.
"""

import contextlib
import functools
import importlib
import json
import os
import select
import signal
import subprocess
import sys
import threading
from pathlib import Path

HERE = Path(__file__).resolve()
CAN_FORK = hasattr(os, "pidfd_open")


@functools.cache
def parent_of(tree: Path, postgresql: bool) -> "Parent":
    """The parent of all servers of one tree on one kind of database."""
    return Parent(tree)


class Parent:
    """The process that forks: asked by one line of JSON, answers by one."""

    def __init__(self, tree: Path):
        self.tree = tree
        self.process = None
        self.one_at_a_time = threading.Lock()

    def ask(self, **what) -> int:
        with self.one_at_a_time:
            self.process.stdin.write(json.dumps(what).encode() + b"\n")
            self.process.stdin.flush()
            answer = self.process.stdout.readline()
        if not answer:
            raise RuntimeError("the parent of the servers has ended")
        return json.loads(answer)

    def start(self, command, environment, folder, log) -> "Forked":
        """As Popen([python, "-m", "django", *command], env=environment, cwd=folder)
        with both of its outputs at the end of the file `log`."""
        with self.one_at_a_time:
            if self.process is None:
                self.process = subprocess.Popen(
                    [sys.executable, "-P", str(HERE)],
                    env=environment,
                    cwd=folder,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                )
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


def serve_forks() -> None:
    """Answer until nobody asks any more; return in each child, which goes on."""
    warm_up()
    for line in iter(sys.stdin.buffer.readline, b""):
        what = json.loads(line)
        if "gather" in what:
            _, status = os.waitpid(what["gather"], 0)
            answer = os.waitstatus_to_exitcode(status)
        else:
            answer = os.fork()
            if not answer:
                return become(**what)
        os.write(1, json.dumps(answer).encode() + b"\n")
    return os._exit(0)


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
    serve_forks()
