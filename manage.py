#!/usr/bin/env python3
"""The one door to every command: see README.md. Sets itself up first."""

import contextlib
import errno
import os
import sys

OLDEST, NEWEST = (3, 11), (3, 13)
TREE = os.path.dirname(os.path.abspath(__file__))

CANNOT_WRITE, PIPE_CLOSED = 4, 141
NO_ROOM = ("ENOSPC", "EDQUOT", "EFBIG", "EIO")  # Windows knows not all of them


def complaint_about(version):
    """What is wrong with this Python version, in words; None when it will do.

    This file must parse on any Python 3, or the words are never reached.
    """
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return None
    return (
        "Fayline runs on Python {}.{} to {}.{}, and this is Python {}.{}.\n"
        "Install one of those from python.org (or your system's packages)\n"
        "and start again with it, for instance: python3.{} manage.py {}"
    ).format(
        *(OLDEST + NEWEST + tuple(version[:2]) + NEWEST[1:]),
        " ".join(sys.argv[1:]) or "demo",
    )


def choose_home(arguments, environment):
    """Give the demo a folder of its own, so that it never touches a shop's data."""
    if arguments[1:2] == ["demo"]:
        home = environment.get("FAYLINE_HOME") or os.path.join(TREE, "var")
        environment["FAYLINE_HOME"] = os.path.join(home, "demo")
        for name in ("DATABASE_URL", "FAYLINE_FILES"):  # they are the shop's
            environment.pop(name, None)


def main():
    complaint = complaint_about(sys.version_info)
    if complaint:
        sys.exit(complaint)
    from shop import environment

    environment.enter(sys.argv)
    choose_home(sys.argv, os.environ)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    from django.core.management import execute_from_command_line

    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever started this: nobody reads
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115
    if hasattr(sys.stdout, "reconfigure"):  # a console that lacks a sign of a name
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        try:
            execute_from_command_line(sys.argv)
        finally:
            sys.stdout.flush()
    except OSError as why:
        code = code_of_unwritten(why)
        if code is None:
            raise
        # What is left to say goes nowhere, or Python would try once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(code)
    except Exception as why:
        words = words_on_database(why)
        if words is None:
            raise
        sys.exit("manage.py " + " ".join(sys.argv[1:2]) + ": " + words)


def words_on_database(why):
    """One line on a database that is damaged or of no use; None for other errors."""
    from django.db import DatabaseError

    if not isinstance(why, DatabaseError):
        return None
    from shop.serving.database import unreadable

    return unreadable(why)


def code_of_unwritten(why):
    """The exit code when an answer could not be written; None for any other error.

    It is not one of the verdicts that commands end with. Whoever closed the pipe had
    read enough, as `head` does, and is told nothing.
    """
    if isinstance(why, BrokenPipeError):
        return PIPE_CLOSED
    if errno.errorcode.get(why.errno) not in NO_ROOM:
        return None
    command = " ".join(["manage.py", *sys.argv[1:2]])
    with contextlib.suppress(OSError):  # no room there either
        sys.stderr.write(command + ": cannot write: " + str(why.strerror) + "\n")
    return CANNOT_WRITE


if __name__ == "__main__":
    main()
