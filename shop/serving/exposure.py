"""What is public or half open is served to this machine only."""

import ipaddress
import socket

from django.conf import settings

from .server import CannotServe


def is_only_here(host: str) -> bool:
    """Whether listening on `host` lets nobody in but this machine itself."""
    try:
        entries = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        return False
    return all(_is_loopback(entry[4][0]) for entry in entries)


def _is_loopback(text: str) -> bool:
    address = ipaddress.ip_address(text.split("%")[0])
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback


def refuse_public(host: str) -> None:
    """Raise CannotServe where others could reach the demo or a debugging server."""
    if is_only_here(host):
        return
    if settings.DEBUG:
        raise CannotServe(
            f"FAYLINE_DEBUG shows tracebacks and settings to whoever asks: it is never "
            f"served on {host}, which others can reach. Unset it."
        )
    if holds_demo():
        raise CannotServe(
            "This database holds the demo: its passwords are public, so it is never "
            f"served to a network, and others can reach {host}. Serve a folder of your "
            "own (FAYLINE_HOME)."
        )


def holds_demo() -> bool:
    from shop.models import Person  # noqa: PLC0415 -- models load after apps

    return Person.objects.filter(is_demo=True).exists()
