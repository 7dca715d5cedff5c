"""One process that answers http and https at once, until it is told to stop."""

import asyncio
import errno
import signal
import socket
import ssl
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

from hypercorn.asyncio import serve
from hypercorn.config import Config, Sockets

from shop.environment import try_lock

STOP_SIGNALS = ("SIGINT", "SIGTERM", "SIGBREAK")


class CannotServe(Exception):
    """Why the server does not start, in words for whoever started it."""


def open_door(host: str, port: int, option: str) -> socket.socket:
    """Listen on host and port; 0 lets the system choose a port."""
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        door = socket.create_server((host, port), family=family, backlog=100)
    except OverflowError:
        raise CannotServe(f"{port} is no port: it goes from 1 to 65535.") from None
    except OSError as error:
        raise CannotServe(why_not(error, host, port, option)) from None
    # asyncio turns Nagle's delay off only where the socket names its protocol;
    # with it every answer waits 40 ms for the other side's acknowledgement.
    named = socket.IPPROTO_TCP
    return socket.socket(family, socket.SOCK_STREAM, named, fileno=door.detach())


def why_not(error: OSError, host: str, port: int, option: str) -> str:
    other = f"start with another, for instance {option} {port + 11}"
    if error.errno == errno.EADDRINUSE:
        return (
            f"Port {port} is in use; perhaps Fayline runs already. "
            f"Stop what uses it, or {other}."
        )
    if error.errno == errno.EACCES:
        return f"Port {port} is not for ordinary users here; {other}."
    if error.errno == errno.EADDRNOTAVAIL or isinstance(error, socket.gaierror):
        return f"{host} is no address of this machine."
    return f"Cannot listen on {host}, port {port}: {error}"


def hold_home(home: Path):
    """Keep a second server from working on the same data: return what holds it.

    Write transactions queue inside the process and one sealer chains the ledger, so
    two servers on one folder would be in each other's way.
    """
    try:
        file = (home / "serving.lock").open("a+b")
    except OSError as why:
        raise CannotServe(
            f"The folder {home} cannot be written: {why.strerror}."
        ) from None
    if not try_lock(file):
        file.close()
        raise CannotServe(f"Another server already works on {home}. Stop it first.")
    return file


class ServerConfig(Config):
    """What hypercorn needs to know, with sockets and certificate already open."""

    include_server_header = False
    loglevel = "WARNING"
    keep_alive_timeout = 30

    def __init__(self, http: Sequence, https: Sequence = (), certificate=None):
        super().__init__()
        self.http, self.https = list(http), list(https)
        self.secure = None
        if certificate:
            self.certfile = self.keyfile = str(certificate)
            self.shown = Path(certificate).read_bytes()
            self.secure = super().create_ssl_context()

    def create_sockets(self) -> Sockets:
        return Sockets(self.https, self.http, [])

    def create_ssl_context(self) -> ssl.SSLContext | None:
        return self.secure

    def shows_another_certificate(self) -> bool:
        """Whether another one lies in the file by now."""
        return Path(self.certfile).read_bytes() != self.shown

    def renew_certificate(self) -> None:
        """Use the certificate that now lies in the file for the next connections."""
        self.shown = Path(self.certfile).read_bytes()
        self.secure.load_cert_chain(self.certfile, self.keyfile)


def run(application, config: ServerConfig, *also: Callable[[], Awaitable]) -> None:
    """Serve until Ctrl-C or the system's stop signal; `also` runs meanwhile."""
    asyncio.run(serve_until_stopped(application, config, also))


async def serve_until_stopped(application, config, also):
    loop = asyncio.get_running_loop()
    stop = asyncio.Event()

    def on_signal(number, _frame):
        # A second Ctrl-C ends it at once.
        signal.signal(number, signal.SIG_DFL)
        loop.call_soon_threadsafe(stop.set)

    for name in STOP_SIGNALS:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), on_signal)
    tasks = [asyncio.create_task(work()) for work in also]
    try:
        await serve(application, config, shutdown_trigger=stop.wait, mode="asgi")
    finally:
        for task in tasks:
            task.cancel()
