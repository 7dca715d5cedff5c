"""Keeps the server's certificate valid while the server runs."""

import asyncio
import datetime
import logging

from django.conf import settings

from shop import environment

from . import addresses, authority

LOG = logging.getLogger(__name__)
EVERY_SECONDS = 60
# Where this process serves https; set when it starts to.
HTTPS_PORT: int | None = None
# Where it was told to listen, when that is not everywhere.
LISTENS: list[str] = []


def folder():
    return settings.HOME / "keys"


def served_file():
    """Where the certificate lies that this home's server shows, with its key."""
    return authority.server_path(folder())


def own_hosts() -> list[str]:
    """Names and addresses of this machine, with those the shop has set."""
    stated = [host for host in settings.ALLOWED_HOSTS if host.strip("*.")]
    stated = [host.lstrip(".").strip("[]").lower() for host in stated]
    hosts = [
        *stated,
        *LISTENS,
        *addresses.machine_addresses(),
        *addresses.machine_names(),
    ]
    return list(dict.fromkeys(hosts))


def utc_now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC).replace(microsecond=0)


def shop_authority() -> authority.Identity:
    names = [host for host in own_hosts() if not authority.is_address(host)]
    with _alone():
        return authority.open_authority(folder(), settings.SHOP_NAME, names, utc_now())


def present_authority() -> authority.Identity | None:
    """The authority if the shop has one; never makes one."""
    return authority.load(authority.authority_path(folder()))


def private_url(asked: str) -> str | None:
    """The https address of the host that was asked by http; None without https."""
    if HTTPS_PORT is None:
        return None
    host = asked.rsplit(":", 1)[0] if not asked.endswith("]") else asked
    return f"https://{host}:{HTTPS_PORT}/"


def _alone():
    """Of several servers of this home one makes what is lacking, the others find it."""
    folder().mkdir(parents=True, exist_ok=True, mode=0o700)
    return environment.alone(folder() / ".lock")


def bring_up_to_date(issuer: authority.Identity) -> bool:
    """Issue a new certificate if it is time to; say whether one was issued."""
    with _alone():
        _, is_new = authority.open_server(folder(), issuer, own_hosts(), utc_now())
    return is_new


async def keep_valid(config, issuer: authority.Identity) -> None:
    """Look every minute: time passes, a machine can get another address, and another
    server of this home may have renewed it."""
    while True:
        await asyncio.sleep(EVERY_SECONDS)
        try:
            await asyncio.to_thread(bring_up_to_date, issuer)
            if config.shows_another_certificate():
                config.renew_certificate()
        except (OSError, ValueError):
            LOG.exception("the certificate could not be renewed; trying again")
