"""Keeps the server's certificate valid while the server runs."""

import asyncio
import datetime
import logging

from django.conf import settings

from . import addresses, authority

LOG = logging.getLogger(__name__)
EVERY_SECONDS = 60
# Where this process serves https; set when it starts to.
HTTPS_PORT: int | None = None


def folder():
    return settings.HOME / "keys"


def own_hosts() -> list[str]:
    """Names and addresses of this machine, with those the shop has set."""
    stated = [host for host in settings.ALLOWED_HOSTS if host.strip("*.")]
    stated = [host.lstrip(".").strip("[]").lower() for host in stated]
    found = [*stated, *addresses.machine_addresses(), *addresses.machine_names()]
    return list(dict.fromkeys(found))


def utc_now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC).replace(microsecond=0)


def shop_authority() -> authority.Identity:
    names = [host for host in own_hosts() if not authority.is_address(host)]
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


def bring_up_to_date(issuer: authority.Identity) -> bool:
    """Issue a new certificate if it is time to; say whether one was issued."""
    _, is_new = authority.open_server(folder(), issuer, own_hosts(), utc_now())
    return is_new


async def keep_valid(config, issuer: authority.Identity) -> None:
    """Look every minute: time passes, and a machine can get another address."""
    while True:
        await asyncio.sleep(EVERY_SECONDS)
        try:
            if await asyncio.to_thread(bring_up_to_date, issuer):
                config.renew_certificate()
        except (OSError, ValueError):
            LOG.exception("the certificate could not be renewed; trying again")
