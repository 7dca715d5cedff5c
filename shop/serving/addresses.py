"""By which names and addresses tablets can reach this machine."""

import ipaddress
import re
import socket
from functools import lru_cache

# Connecting a datagram socket sends nothing: it only asks the system which of its
# own addresses it would use towards that network.
TOWARDS = ("192.168.0.1", "10.0.0.1", "172.16.0.1", "192.0.2.1", "fd00::1")
PRIVATE_ENDINGS = ("lan", "home", "home.arpa", "internal", "localdomain", "corp")
LOOPBACK = ("127.0.0.1", "::1")


def machine_names() -> list[str]:
    """The machine's host name as it is and as the local network announces it."""
    name = socket.gethostname().strip().rstrip(".").lower()
    names = []
    if is_host_name(name) and name != "localhost":
        names.append(name)
        first = name.split(".")[0]
        if not name.endswith(".local"):
            names.append(f"{first}.local")
    return [*names, "localhost"]


def names_of_routers() -> list[str]:
    """The machine's name as routers of small networks announce it: under endings that
    nobody can have on the internet."""
    first = machine_names()[0].split(".")[0]
    return [] if first == "localhost" else [f"{first}.{end}" for end in PRIVATE_ENDINGS]


def machine_addresses() -> list[str]:
    """Addresses of this machine, those of the shop network first, loopback last."""
    addresses = [own_address(target) for target in TOWARDS]
    try:
        entries = socket.getaddrinfo(socket.gethostname(), None)
    except OSError:
        entries = []
    addresses += [entry[4][0].split("%")[0] for entry in entries]
    usable = [text for text in addresses if text and is_reachable(text)]
    return [*dict.fromkeys(usable), *LOOPBACK]


def own_address(target: str) -> str | None:
    family = socket.AF_INET6 if ":" in target else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((target, 9))
            return probe.getsockname()[0].split("%")[0]
    except OSError:
        return None


def is_reachable(text: str) -> bool:
    """Whether others can use the address as it stands (no zone, not loopback)."""
    address = ipaddress.ip_address(text)
    return not (address.is_loopback or address.is_unspecified or address.is_link_local)


def is_host_name(text: str) -> bool:
    label = r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?"
    return bool(re.fullmatch(rf"{label}(\.{label})*", text)) and len(text) <= 253


@lru_cache(maxsize=1)
def hosts_on_labels() -> list[str]:
    """Names and addresses that stand in the codes of this shop's labels, whichever of
    them a tablet itself goes by."""
    here = {"localhost", *LOOPBACK}
    known = [*machine_names(), *machine_addresses()]
    return [address for address in known if address not in here]
