"""The shop's certificate authority: chain, constraints, lifetimes, renewal, files.

Sources: RFC 5280 (section 4.2.1.10 name constraints, 4.2.1.12 extended key usage);
the verifiers of `cryptography` (its WebPKI profile) and of openssl are independent of
the code that issues. Lifetimes: 396 days lies below the 398 of the CA/Browser Forum's
Baseline Requirements 6.3.2 (before March 2026) and Apple's 825 (support note 103769).
"""

import base64
import datetime
import os
import shutil
import stat
import subprocess

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from shop.serving import authority
from shop.serving.authority import (
    Identity,
    hosts_of,
    make_authority,
    make_server,
    may_vouch,
    open_authority,
    open_server,
)

NOW = datetime.datetime(2026, 11, 25, 9, 0, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)
HOSTS = ["192.168.1.20", "shop-pc.local", "shop-pc", "127.0.0.1"]


@pytest.fixture(scope="module")
def issuer():
    return make_authority("Invented Gliders", ["shop-pc"], NOW)


@pytest.fixture(scope="module")
def leaf(issuer):
    return make_server(issuer, HOSTS, NOW)


def subject(host):
    return (
        x509.IPAddress(_ip(host)) if authority.is_address(host) else x509.DNSName(host)
    )


def _ip(host):
    import ipaddress

    return ipaddress.ip_address(host)


def verify(issuer: Identity, certificate, host, at=NOW):
    """Chain of the certificate for the host as cryptography's verifier builds it."""
    store = Store([issuer.certificate])
    builder = PolicyBuilder().store(store).time(at.replace(tzinfo=None))
    return builder.build_server_verifier(subject(host)).verify(certificate, [])


@pytest.mark.parametrize("host", HOSTS)
def test_a_tablet_that_trusts_the_authority_accepts_the_server_by(host, issuer, leaf):
    chain = verify(issuer, leaf.certificate, host)
    assert chain == [leaf.certificate, issuer.certificate]


def test_another_host_and_another_authority_are_refused(issuer, leaf):
    with pytest.raises(VerificationError):
        verify(issuer, leaf.certificate, "192.168.1.21")
    other = make_authority("Invented Gliders", ["shop-pc"], NOW)
    with pytest.raises(VerificationError):
        verify(other, leaf.certificate, HOSTS[0])


def test_before_and_after_its_life_it_is_refused(issuer, leaf):
    verify(issuer, leaf.certificate, HOSTS[0], NOW - DAY)  # a slow tablet clock
    for at in (NOW - 2 * DAY, NOW + 396 * DAY):
        with pytest.raises(VerificationError):
            verify(issuer, leaf.certificate, HOSTS[0], at)


@pytest.mark.parametrize("host", ["example.com", "8.8.8.8", "local.example.com"])
def test_a_stolen_key_vouches_for_nothing_on_the_internet(host, issuer):
    forged = make_server(issuer, [host], NOW)
    assert not may_vouch(issuer.certificate, host)
    with pytest.raises(VerificationError):
        verify(issuer, forged.certificate, host)


def authority_below(issuer):
    """A second authority, well formed, that the first one has issued."""
    builder = authority.start(
        authority.common_name("below"),
        issuer.certificate.subject,
        issuer.key.public_key(),
        NOW - DAY,
        NOW + 400 * DAY,
    )
    identifier = x509.AuthorityKeyIdentifier.from_issuer_public_key(
        issuer.key.public_key()
    )
    for extension, critical in (
        (x509.BasicConstraints(ca=True, path_length=None), True),
        (authority.key_usage(key_cert_sign=True), True),
        (identifier, False),
    ):
        builder = builder.add_extension(extension, critical=critical)
    return Identity(builder.sign(issuer.key, hashes.SHA256()), issuer.key)


def test_a_stolen_key_makes_no_further_authority(issuer):
    below = authority_below(issuer)
    last = make_server(below, [HOSTS[0]], NOW)
    # Trusted by itself, the second authority is in order: its length is what counts.
    assert verify(below, last.certificate, HOSTS[0])
    store = Store([issuer.certificate])
    builder = PolicyBuilder().store(store).time(NOW.replace(tzinfo=None))
    verifier = builder.build_server_verifier(subject(HOSTS[0]))
    with pytest.raises(VerificationError):
        verifier.verify(last.certificate, [below.certificate])


def test_constraints_are_critical_and_lives_are_as_promised(issuer, leaf):
    limits = issuer.certificate.extensions.get_extension_for_class(x509.NameConstraints)
    basic = issuer.certificate.extensions.get_extension_for_class(x509.BasicConstraints)
    assert limits.critical and basic.critical
    assert (basic.value.ca, basic.value.path_length) == (True, 0)
    assert issuer.key.curve.name == "secp256r1"
    life = leaf.certificate.not_valid_after_utc - leaf.certificate.not_valid_before_utc
    assert life == 396 * DAY
    assert hosts_of(leaf.certificate) == HOSTS


@pytest.mark.skipif(not shutil.which("openssl"), reason="no openssl here")
def test_openssl_accepts_the_chain_and_refuses_a_forged_name(issuer, leaf, tmp_path):
    root, good, bad = (tmp_path / name for name in ("root", "good", "bad"))
    forged = make_server(issuer, ["example.com"], NOW)
    for path, identity in ((root, issuer), (good, leaf), (bad, forged)):
        path.write_bytes(identity.certificate.public_bytes(serialization.Encoding.PEM))
    at = str(int(NOW.timestamp()))
    command = ["openssl", "verify", "-x509_strict", "-attime", at, "-CAfile", root]
    right = [*command, "-verify_ip", "192.168.1.20", "-purpose", "sslserver", good]
    assert subprocess.run(right, capture_output=True).returncode == 0
    wrong = subprocess.run([*command, bad], capture_output=True, text=True)
    assert wrong.returncode != 0
    assert "permitted subtree violation" in wrong.stdout + wrong.stderr


def test_it_is_made_once_and_kept_for_its_owner_only(tmp_path):
    folder = tmp_path / "keys"
    first = open_authority(folder, "Shop", ["shop-pc"], NOW)
    made, is_new = open_server(folder, first, HOSTS, NOW)
    again = open_authority(folder, "Renamed", [], NOW + DAY)
    same, is_newer = open_server(folder, again, HOSTS, NOW + DAY)
    assert (is_new, is_newer) == (True, False)
    assert again.certificate == first.certificate
    assert same.certificate == made.certificate
    assert sorted(path.name for path in folder.iterdir()) == [
        "authority.pem",
        "server.pem",
    ]
    if os.name != "nt":
        modes = {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()}
        assert modes == {0o600}
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700


@pytest.mark.skipif(os.name == "nt", reason="modes of files are of POSIX systems")
def test_a_key_that_others_could_read_is_closed_to_them_again(tmp_path):
    open_authority(tmp_path, "Shop", [], NOW)
    path = authority.authority_path(tmp_path)
    path.chmod(0o644)
    open_authority(tmp_path, "Shop", [], NOW)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def renewed(folder, issuer, hosts, at):
    return open_server(folder, issuer, hosts, at)[1]


def test_it_renews_at_60_days_left_and_for_a_new_address(tmp_path):
    issuer = open_authority(tmp_path, "Shop", ["shop-pc"], NOW)
    assert renewed(tmp_path, issuer, HOSTS, NOW)
    # Backdated by a day: 395 days are left at the start.
    assert not renewed(tmp_path, issuer, HOSTS, NOW + 335 * DAY)
    assert not renewed(tmp_path, issuer, HOSTS[:2], NOW)
    assert renewed(tmp_path, issuer, [*HOSTS, "10.0.0.7"], NOW)
    assert renewed(tmp_path, issuer, HOSTS, NOW + 336 * DAY)
    # A name that the authority may not vouch for is left out, not asked for ever.
    assert not renewed(tmp_path, issuer, [*HOSTS, "8.8.8.8"], NOW + 336 * DAY)


def test_a_damaged_certificate_is_made_again_and_a_new_authority_replaces_it(tmp_path):
    issuer = open_authority(tmp_path, "Shop", ["shop-pc"], NOW)
    renewed(tmp_path, issuer, HOSTS, NOW)
    path = authority.server_path(tmp_path)
    whole = path.read_bytes()
    der = x509.load_pem_x509_certificate(whole).public_bytes(Encoding.DER)
    # A version that no certificate has, which is read as no other damage is.
    other = der.replace(bytes.fromhex("a003020102"), bytes.fromhex("a003020105"), 1)
    lines = base64.encodebytes(other).decode()
    marks = "-----BEGIN CERTIFICATE-----\n{}-----END CERTIFICATE-----\n"
    key = whole[whole.index(b"-----BEGIN PRIVATE") :]
    for damaged in (whole[:300], marks.format(lines).encode() + key):
        path.write_bytes(damaged)
        assert renewed(tmp_path, issuer, HOSTS, NOW)
    authority.authority_path(tmp_path).unlink()
    other = open_authority(tmp_path, "Shop", ["shop-pc"], NOW)
    assert renewed(tmp_path, other, HOSTS, NOW)


def test_near_the_end_of_the_authority_the_server_ends_with_it(tmp_path):
    issuer = open_authority(tmp_path, "Shop", ["shop-pc"], NOW)
    late = issuer.expires - 30 * DAY
    made, _ = open_server(tmp_path, issuer, HOSTS, late)
    assert made.expires == issuer.expires
    assert not renewed(tmp_path, issuer, HOSTS, late + DAY)
