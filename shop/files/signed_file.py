"""A detached signature (CMS, RFC 5652) beside a file that somebody brings: whether it
is of exactly these bytes, and by whom. Needs no record and no network.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from asn1crypto import (
    cms,
    tsp,  # noqa: F401 -- adds attributes to cms, before the first is looked up there
)
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
from cryptography.x509.oid import NameOID

from shop.files.signature_form import BROKEN, issued_by, require_form


class UnreadableSignature(ValueError):
    """It is no signature that this program reads; the words say why."""


class UnusableCertificate(ValueError):
    """By this certificate nothing can be tried; the words say why."""


class ForeignSignature(ValueError):
    """It holds, but is not by whom it was said to be."""


@dataclass(frozen=True)
class Signer:
    """Who signed: the certificate, and when (as the signer's own clock said)."""

    certificate: x509.Certificate
    at: str

    @property
    def name(self) -> str:
        names = self.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
        return names[0].value if names else self.certificate.subject.rfc4514_string()


def signer_of(
    data: bytes, signature: bytes, known: Sequence[x509.Certificate] = ()
) -> Signer | None:
    """Who signed exactly these bytes; None where the signature is of other bytes, or
    is broken itself. Raises UnreadableSignature.

    A certificate known stands for an issuer's that is not in the signature; whether it
    is by them is for require_by.
    """
    try:
        require_form(signature, known)
        content = cms.ContentInfo.load(signature, strict=True)
        if content["content_type"].native != "signed_data":
            raise UnreadableSignature("it holds no signed data")
        signed = content["content"]
        (info,) = signed["signer_infos"]
        certificate = _certificate(signed, info)
        signed_attributes = {
            attr["type"].native: attr["values"] for attr in info["signed_attrs"]
        }
        digest = signed_attributes["message_digest"][0].native
        kind = signed_attributes["content_type"][0].native
        at = (
            signed_attributes["signing_time"][0].native
            if "signing_time" in signed_attributes
            else ""
        )
        named = info["digest_algorithm"]["algorithm"].native
        # As it was signed: the set itself, without the tag it has in the message.
        attributes = info["signed_attrs"].untag().dump()
        holds = _holds(certificate.public_key(), info["signature"].native, attributes)
    except UnreadableSignature:
        raise
    except BROKEN as why:
        raise UnreadableSignature(str(why).partition("\n")[0]) from why
    if named != "sha256":
        raise UnreadableSignature(f"its digests are by {named}, not sha256")
    if kind != "data" or digest != hashlib.sha256(data).digest():
        return None
    if not holds:
        return None
    return Signer(certificate, str(at))


def _certificate(signed, info) -> x509.Certificate:
    """The certificate that the signature says is its signer's."""
    wanted = info["sid"].chosen
    for certificate in signed["certificates"]:
        own = certificate.chosen
        same = (own.issuer, own.serial_number) == (
            wanted["issuer"],
            wanted["serial_number"].native,
        )
        if same:
            return x509.load_der_x509_certificate(own.dump())
    raise UnreadableSignature("its signer's certificate is not in it")


def _holds(key, mark: bytes, attributes: bytes) -> bool:
    try:
        if isinstance(key, rsa.RSAPublicKey):
            key.verify(mark, attributes, padding.PKCS1v15(), hashes.SHA256())
        elif isinstance(key, ec.EllipticCurvePublicKey):
            key.verify(mark, attributes, ec.ECDSA(hashes.SHA256()))
        else:
            return False
    except InvalidSignature:
        return False
    return True


def require_by(signer: Signer, known: x509.Certificate) -> None:
    """Raise ForeignSignature unless the signer's certificate is the one known, or was
    issued by it; unless it is one for signing papers, and was valid when it signed."""
    own = signer.certificate
    if not is_by(own, known):
        raise ForeignSignature(
            f"it is by {signer.name}, whose certificate is neither the one given nor "
            "issued by it"
        )
    if own != known:
        _require_issuer(known)
    if not _for_papers(own):
        raise ForeignSignature(
            f"it is by {signer.name}, whose certificate is not one for signing papers"
        )
    at = _moment(signer.at)
    if at is None:
        raise ForeignSignature("it does not say when it was made")
    if not own.not_valid_before_utc <= at <= own.not_valid_after_utc:
        raise ForeignSignature(
            f"it was made at {signer.at}, when the certificate of {signer.name} was "
            "not valid"
        )


def is_by(certificate: x509.Certificate, known: x509.Certificate) -> bool:
    """Whether it is the one known, or issued by it."""
    return certificate == known or issued_by(certificate, known)


def _require_issuer(known: x509.Certificate) -> None:
    try:
        limits = known.extensions.get_extension_for_class(x509.BasicConstraints)
    except (x509.ExtensionNotFound, *BROKEN):
        raise UnusableCertificate(
            "the certificate given does not say whether it may issue others"
        ) from None
    usage = _usage(known)
    if not limits.value.ca or (usage and not usage.key_cert_sign):
        raise ForeignSignature("the certificate given may not issue others")


def _for_papers(certificate: x509.Certificate) -> bool:
    """Whether it is for what somebody stands up for (RFC 5280, contentCommitment,
    also called nonRepudiation): a server's certificate is not."""
    usage = _usage(certificate)
    return bool(usage and usage.content_commitment)


def _usage(certificate: x509.Certificate) -> x509.KeyUsage | None:
    """What its key is for, where it says so."""
    try:
        usage = certificate.extensions.get_extension_for_class(x509.KeyUsage)
    except (x509.ExtensionNotFound, *BROKEN):
        return None
    return usage.value


def _moment(text: str) -> datetime | None:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return at if at.tzinfo else at.replace(tzinfo=UTC)
