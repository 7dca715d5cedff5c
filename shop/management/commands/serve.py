"""`manage.py serve`: the server of a shop, or of one machine without --shop."""

import contextlib
import functools
import gc
import ssl
import sys

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.urls import get_resolver

from shop.numeric.units import S_PER_MIN
from shop.serving import (
    addresses,
    certificates,
    database,
    exposure,
    server,
    terminal,
)
from shop.serving.application import Application
from shop.serving.authority import may_vouch

EVERYWHERE = "0.0.0.0"  # noqa: S104 -- tablets come from the shop network
ONLY_HERE = "127.0.0.1"


class Command(BaseCommand):
    help = (
        "Serve the site: on this machine only, or with --shop on the shop network by "
        "https and http, with a certificate of its own that renews itself."
    )

    def add_arguments(self, parser):
        parser.add_argument("--shop", action="store_true", help="serve the network")
        parser.add_argument("--http", type=int, default=8000, metavar="PORT")
        parser.add_argument("--https", type=int, default=8443, metavar="PORT")
        parser.add_argument("--host", help="address to listen on")

    def handle(self, *, shop, http, https, host, **_options):
        from shop.ledger import file_store

        host = host or (EVERYWHERE if shop else ONLY_HERE)
        try:
            if settings.BUCKET:
                file_store.options_of(settings.BUCKET)
            with held_home():
                database.prepare(self.stdout.write)
                exposure.refuse_public(host)
                say_who_can_sign_in(self.stdout.write)
                say_if_clock_is_behind(self.stdout.write)
                if shop:
                    serve_shop(host, http, https, self.stdout)
                else:
                    door = server.open_door(host, http, "--http")
                    serve_here(door, self.stdout.write)
        except (server.CannotServe, ImproperlyConfigured) as error:
            raise CommandError(str(error)) from None
        self.stdout.write("Stopped.")


def held_home():
    """On SQLite no other server may work on this home; on PostgreSQL several may."""
    if connection.vendor == "sqlite":
        return server.hold_home(settings.HOME)
    return contextlib.nullcontext()


def say_who_can_sign_in(say) -> None:
    from shop.models import Person

    if not Person.objects.filter(is_active=True).exists():
        say(
            "Nobody can sign in yet. Make the shop's lead first, in another terminal: "
            "python3 manage.py first_lead"
        )


def say_if_clock_is_behind(say) -> None:
    from shop.queries import clock

    if late := clock.behind():
        say(
            "The clock of this computer is "
            f"{late.total_seconds() / S_PER_MIN:.0f} minutes behind the newest "
            "record: set it, or what is saved now is dated before it."
        )


def application() -> Application:
    """The site with the sealer of the ledger beside it, and an eye on the clock."""
    from shop.asgi import application as site
    from shop.ledger import sealer
    from shop.serving import clock, logs, nightly

    logs.start()
    watch, running = clock.ClockWatch(), []

    def look_at_clock():
        if jump := watch.look():
            clock.record_jump(jump)

    # What is loaded by now stays: else a full round of the collector looks through all
    # of it, some 0.1 s in which nobody is answered.
    _ = get_resolver().url_patterns
    gc.collect()
    gc.freeze()
    # This thread asks nothing more: its session would stay as long as the server does.
    connection.close()
    return Application(
        site,
        start=lambda: running.extend(
            (sealer.start(also=look_at_clock), nightly.start())
        ),
        stop=lambda: [*[thread.stop() for thread in running], logs.stop()],
    )


def serve_here(door, say, *more_to_say: str) -> None:
    """Serve plain http on an open socket; `more_to_say` follows the address."""
    host, port = door.getsockname()[:2]
    say(f"Fayline is on http://{terminal.in_url(host)}:{port}/")
    for line in more_to_say:
        say(line)
    say("Ctrl-C stops it.")
    sys.stdout.flush()
    server.run(application(), server.ServerConfig([door]))


def serve_shop(host: str, http: int, https: int, stdout) -> None:
    from shop.queries.server import CERTIFICATES

    plain = server.open_door(host, http, "--http")
    secure = server.open_door(host, https, "--https")
    if host != EVERYWHERE:
        certificates.LISTENS.append(host)
    try:
        issuer = certificates.shop_authority()
        certificates.bring_up_to_date(issuer)
        keys = certificates.served_file()
        CERTIFICATES.append(keys)
        config = server.ServerConfig([plain], [secure], keys)
    except (ValueError, ssl.SSLError) as error:
        raise CommandError(
            f"The certificate authority in {certificates.folder()} cannot be read "
            f"({error}). Restore it from a copy; or remove that folder: a new one is "
            "made, and every tablet has to trust that one again."
        ) from None
    certificates.HTTPS_PORT = secure.getsockname()[1]
    at = best_address(issuer) if host == EVERYWHERE else host
    tell_shop(at, plain.getsockname()[1], secure.getsockname()[1], issuer, stdout)
    sys.stdout.flush()
    keep_valid = functools.partial(certificates.keep_valid, config, issuer)
    server.run(application(), config, keep_valid)


def best_address(issuer) -> str:
    """The address that a tablet should open: one that the certificate is good for."""
    known = [*addresses.machine_addresses(), *addresses.machine_names()]
    good = [a for a in known if ":" not in a and may_vouch(issuer.certificate, a)]
    return next((a for a in good if a not in addresses.LOOPBACK), ONLY_HERE)


def tell_shop(at, http: int, https: int, issuer, stdout) -> None:
    site = f"https://{terminal.in_url(at)}:{https}/"
    trust = f"http://{terminal.in_url(at)}:{http}/trust/"
    say = stdout.write
    say(f"Fayline is on {site}")
    for name in addresses.machine_names():
        if name.endswith(".local"):
            say(f"or by name:   https://{name}:{https}/")
    say(f"New tablets first open {trust} and trust this shop's certificate:")
    lines = terminal.qr_lines(trust, colors=stdout.isatty())
    if terminal.can_show(stdout, lines[0] + lines[-1]):
        for line in lines:
            say(line)
    say("Its fingerprint (SHA-256), to compare with what the tablet shows:")
    say(f"  {issuer.fingerprint[:47]}\n  {issuer.fingerprint[48:]}")
    say("Ctrl-C stops it.")
