"""The shop's own certificate authority, and the certificate of this server.

Tablets that trust the authority's certificate once accept every certificate that it
issues later, so the server renews its own by itself. Should the authority's key be
stolen, it is good for the shop's network only: its certificate carries critical name
constraints (RFC 5280 section 4.2.1.10), so it cannot vouch for any public site.

Lifetimes: 10 years for the authority; 396 days for the server, below the 398 days
that browsers accept from public authorities and Apple's 825 days for others.
"""

import datetime
import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from shop.atomic_files import write_durably

AUTHORITY_LIFE = datetime.timedelta(days=3652)
SERVER_LIFE = datetime.timedelta(days=396)
RENEW_BEFORE = datetime.timedelta(days=60)
# A tablet whose clock is behind must not find the certificate not yet valid.
BACKDATED = datetime.timedelta(days=1)

# Names that the public internet does not have (RFC 6762, 8375, 6761; .internal is
# reserved by ICANN; .lan is what many routers use).
LOCAL_DOMAINS = ("local", "home.arpa", "internal", "lan", "localhost")
# RFC 1918, 4193, 3927, 4291 and loopback.
LOCAL_NETWORKS = (
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "127.0.0.0/8",
    "fc00::/7",
    "fe80::/10",
    "::1/128",
)


@dataclass(frozen=True)
class Identity:
    """A certificate with its private key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def expires(self) -> datetime.datetime:
        return self.certificate.not_valid_after_utc

    @property
    def name(self) -> str:
        return self.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[
            0
        ].value

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, in pairs, as tablets show it."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    @property
    def der(self) -> bytes:
        return self.certificate.public_bytes(serialization.Encoding.DER)

    def pem(self) -> bytes:
        return self.key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        ) + self.certificate.public_bytes(serialization.Encoding.PEM)


def authority_path(folder: Path) -> Path:
    return folder / "authority.pem"


def server_path(folder: Path) -> Path:
    return folder / "server.pem"


def open_authority(
    folder: Path, shop: str, names: Sequence[str], now: datetime.datetime
) -> Identity:
    """The shop's authority, made at the first call; `names` are those it may vouch for
    beyond the local domains."""
    identity = load(authority_path(folder))
    if identity is None:
        identity = make_authority(shop, names, now)
        save(authority_path(folder), identity)
    return identity


def open_server(
    folder: Path, authority: Identity, hosts: Sequence[str], now: datetime.datetime
) -> tuple[Identity, bool]:
    """The server's identity for these names and addresses, and whether it is new.

    A new one is made when there is none, when it has less than 60 days left, when it
    lacks one of the hosts, or when another authority issued it.
    """
    wanted = [host for host in hosts if may_vouch(authority.certificate, host)]
    try:
        identity = load(server_path(folder))
    except ValueError:  # damaged: it can be made again at no loss
        identity = None
    if (
        identity
        and identity.expires - now >= min(RENEW_BEFORE, authority.expires - now)
        and key_identifier(identity.certificate)
        == own_identifier(authority.certificate)
        and set(wanted) <= set(hosts_of(identity.certificate))
    ):
        return identity, False
    fresh = make_server(authority, wanted, now)
    save(server_path(folder), fresh)
    return fresh, True


def make_authority(shop: str, names: Sequence[str], now) -> Identity:
    key = ec.generate_private_key(ec.SECP256R1())
    # 64 characters is the upper bound of a common name (RFC 5280 appendix A.1).
    name = common_name(f"{shop[:40]} certificate authority")
    domains = dict.fromkeys([*LOCAL_DOMAINS, *(n for n in names if not is_address(n))])
    permitted = [x509.DNSName(domain) for domain in domains] + [
        x509.IPAddress(ipaddress.ip_network(network)) for network in LOCAL_NETWORKS
    ]
    builder = (
        start(name, name, key.public_key(), now - BACKDATED, now + AUTHORITY_LIFE)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(key_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
    )
    return Identity(builder.sign(key, hashes.SHA256()), key)


def make_server(authority: Identity, hosts: Sequence[str], now) -> Identity:
    if not hosts:
        raise ValueError("a server certificate needs a name or address")
    key = ec.generate_private_key(ec.SECP256R1())
    issuer = authority.certificate
    first, last = now - BACKDATED, now - BACKDATED + SERVER_LIFE
    last = min(last, authority.expires)
    builder = (
        start(common_name(hosts[0]), issuer.subject, key.public_key(), first, last)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(key_usage(digital_signature=True), critical=True)
        .add_extension(
            x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False
        )
        .add_extension(
            x509.SubjectAlternativeName([general_name(host) for host in hosts]),
            critical=False,
        )
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(
                issuer.extensions.get_extension_for_class(
                    x509.SubjectKeyIdentifier
                ).value
            ),
            critical=False,
        )
    )
    return Identity(builder.sign(authority.key, hashes.SHA256()), key)


def start(subject, issuer, public_key, first, last) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public_key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(first)
        .not_valid_after(last)
        .add_extension(
            x509.SubjectKeyIdentifier.from_public_key(public_key), critical=False
        )
    )


def key_usage(**allowed: bool) -> x509.KeyUsage:
    names = (
        "digital_signature content_commitment key_encipherment data_encipherment "
        "key_agreement key_cert_sign crl_sign encipher_only decipher_only"
    )
    return x509.KeyUsage(**{name: allowed.get(name, False) for name in names.split()})


def common_name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text[:64])])


def is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def general_name(host: str) -> x509.GeneralName:
    if is_address(host):
        return x509.IPAddress(ipaddress.ip_address(host))
    return x509.DNSName(host)


def hosts_of(certificate: x509.Certificate) -> list[str]:
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    return [str(name.value) for name in names.value]


def may_vouch(authority: x509.Certificate, host: str) -> bool:
    """Whether the authority's name constraints let it vouch for the host."""
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    for permitted in limits.permitted_subtrees:
        if isinstance(permitted, x509.IPAddress):
            if is_address(host) and ipaddress.ip_address(host) in permitted.value:
                return True
        elif not is_address(host) and f".{host}".endswith(f".{permitted.value}"):
            return True
    return False


def own_identifier(certificate: x509.Certificate) -> bytes:
    extension = certificate.extensions.get_extension_for_class(
        x509.SubjectKeyIdentifier
    )
    return extension.value.digest


def key_identifier(certificate: x509.Certificate) -> bytes | None:
    extension = certificate.extensions.get_extension_for_class(
        x509.AuthorityKeyIdentifier
    )
    return extension.value.key_identifier


def load(path: Path) -> Identity | None:
    """Read a key and its certificate; None where there is no file, ValueError where it
    is damaged."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    if os.name != "nt" and path.stat().st_mode & 0o077:
        path.chmod(0o600)  # a copy may have lost what keeps others out
    try:
        certificate = x509.load_pem_x509_certificate(data)
    except x509.InvalidVersion as why:
        raise ValueError(str(why)) from why
    return Identity(certificate, serialization.load_pem_private_key(data, None))


def save(path: Path, identity: Identity) -> None:
    """Write both into one file, whole or not at all, for its owner only."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    write_durably(path, identity.pem())
