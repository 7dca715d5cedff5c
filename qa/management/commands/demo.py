"""`manage.py demo`: the whole product with an invented shop's data, on this machine.

manage.py gives it a home of its own, the folder `demo` below FAYLINE_HOME.
"""

import shutil

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from shop.management.commands import serve
from shop.serving import database, exposure, server


class Command(BaseCommand):
    help = "Serve the demo on this machine; --reset starts it anew."

    def add_arguments(self, parser):
        parser.add_argument("--reset", action="store_true", help="forget what was done")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--host", default=serve.ONLY_HERE)

    def handle(self, *, reset, port, host, **_options):
        if settings.HOME.name != "demo":
            raise CommandError("Start the demo as: python3 manage.py demo")
        try:
            if not exposure.is_only_here(host):
                raise CommandError(
                    f"The demo's passwords are public, and others can reach {host}: it "
                    f"is served to this machine only, on {serve.ONLY_HERE}."
                )
            make_ours(settings.HOME)
            with server.hold_home(settings.HOME):
                # Before anything is made or removed: perhaps another one runs there.
                door = server.open_door(host, port, "--port")
                # What was cut short while it was made is made anew as well.
                if reset or not whole().exists():
                    forget(settings.HOME)
                self.prepare()
                if not whole().exists():
                    self.load()
                serve.serve_here(door, self.stdout.write, *signs_in())
        except server.CannotServe as error:
            raise CommandError(str(error)) from None
        self.stdout.write("Stopped. The demo's data stays for the next start.")

    def prepare(self):
        try:
            database.prepare(self.stdout.write)
        except (database.EarlierVersion, database.LaterVersion):
            raise CommandError(
                "This demo was made by another version of Fayline. Start it anew "
                "(what was done in it is forgotten): python3 manage.py demo --reset"
            ) from None

    def load(self):
        from qa import demo

        self.stdout.write("Loading the demo …")
        self.stdout.flush()
        demo.load()
        connection.close()
        whole().touch()


def whole():
    """The mark that the scenario was loaded to its end."""
    return settings.HOME / "loaded"


def signs_in():
    from qa import demo

    yield "Sign in as one of these (this machine only; the passwords are public):"
    for username, password, role in demo.sign_ins():
        yield f"  {username:<10} {password:<18} {role}"


MARK = "demo-folder"
# Made by the settings before any command runs, or by whoever held the folder before.
BARE = {"secret.key", "serving.lock", "static", MARK}


def make_ours(home) -> None:
    """Mark an empty folder as the demo's; refuse one that holds anything else."""
    if (home / MARK).is_file():
        return
    strange = sorted(path.name for path in home.iterdir() if path.name not in BARE)
    static = home / "static"
    if static.is_dir() and any(static.iterdir()):
        strange.append("static")
    if strange:
        raise CommandError(
            f"{home} holds what the demo did not make ({strange[0]} …), and the demo "
            "touches only a folder of its own. Move it away, or let FAYLINE_HOME name "
            "another folder."
        )
    (home / MARK).write_text("The demo made this folder and may empty it.\n", "utf-8")


def forget(home) -> None:
    """Remove the demo's database, photos and papers; its lock and secret may stay."""
    for path in home.iterdir():
        if path.name in BARE - {"static"}:
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()
