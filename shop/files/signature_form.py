"""What a signature (CMS) may hold: nothing but what is signed, or follows from it.

Much of one is bound by no digest: versions, other certificates, attributes that are not
signed, another encoding of the same. Here it is made again from what is bound, as this
program writes it, and has to be the same to the byte.
"""

from collections.abc import Sequence

from asn1crypto import cms
from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm

# What reading something damaged raises, in asn1crypto and in cryptography.
BROKEN = (
    ValueError,
    KeyError,
    TypeError,
    IndexError,
    AttributeError,
    OverflowError,
    InvalidSignature,
    UnsupportedAlgorithm,
    x509.InvalidVersion,
    x509.DuplicateExtension,
    x509.UnsupportedGeneralNameType,
)
SHA256 = (
    bytes.fromhex("300b0609608648016503040201"),
    bytes.fromhex("300d06096086480165030402010500"),
)
SIGNED_WITH = (
    bytes.fromhex("300d06092a864886f70d0101010500"),  # rsaEncryption
    bytes.fromhex("300d06092a864886f70d01010b0500"),  # sha256WithRSAEncryption
    bytes.fromhex("300a06082a8648ce3d040302"),  # ecdsa-with-SHA256
)


class OddSignature(ValueError):
    """It holds what nothing binds; the words say what."""


def require_form(data: bytes, known: Sequence[x509.Certificate] = ()) -> None:
    """Raise OddSignature unless all of it is signed by its one signer, or follows from
    what is. Whether the signature itself holds is for the caller, who may know
    certificates that it does not carry."""
    try:
        signed = cms.ContentInfo.load(data, strict=True)["content"]
        (info,) = signed["signer_infos"]
        (digest,) = signed["digest_algorithms"]
        methods = digest.dump(), info["digest_algorithm"].dump()
        if methods[0] != methods[1] or methods[0] not in SHA256:
            raise OddSignature("its digests are not by sha256 alone")
        if info["signature_algorithm"].dump() not in SIGNED_WITH:
            raise OddSignature("it is signed in a way that is not read here")
        _require_chain(signed, info, known)
        if _made_again(signed, info) != data:
            raise OddSignature("it holds more than what is signed, or is written oddly")
    except OddSignature:
        raise
    except BROKEN as why:
        raise OddSignature(f"not all of it can be read: {why}") from why


def _require_chain(signed, info, known) -> None:
    """The certificates are the signer's, that of who issued it, and so on to one that
    issued itself, or is one known or issued by one: each bound by the next, and no
    other."""
    left = [
        x509.load_der_x509_certificate(each.chosen.dump(force=True))
        for each in signed["certificates"]
    ]
    named = info["sid"].chosen
    # To the byte: asn1crypto takes names for the same whatever their case.
    wanted = named["issuer"].dump(force=True), named["serial_number"].native
    (own,) = (x for x in left if (x.issuer.public_bytes(), x.serial_number) == wanted)
    left.remove(own)
    while own.issuer != own.subject:
        above = [each for each in left if each.subject == own.issuer]
        if not above:
            _require_bound(own, known)
            break
        own.verify_directly_issued_by(above[0])
        left.remove(above[0])
        own = above[0]
    else:
        own.verify_directly_issued_by(own)
    if left:
        raise OddSignature("it carries a certificate that nothing asks for")


def _require_bound(last, known) -> None:
    """Whoever issued the last certificate is not in it: then one that is known binds
    it."""
    if not known:
        raise OddSignature(
            "the certificate of who issued its signer's is neither in it nor given"
        )
    if not any(last == issuer or issued_by(last, issuer) for issuer in known):
        who = last.issuer.rfc4514_string()
        raise OddSignature(f"the certificate of {who} is neither in it nor given")


def issued_by(certificate: x509.Certificate, issuer: x509.Certificate) -> bool:
    try:
        certificate.verify_directly_issued_by(issuer)
    except BROKEN:
        return False
    return True


def _made_again(signed, info) -> bytes:
    """The signature as it is written: what is bound as it stands, the rest anew."""
    again = cms.SignerInfo(
        {
            "version": "v1",
            "sid": info["sid"],
            "digest_algorithm": info["digest_algorithm"],
            "signed_attrs": info["signed_attrs"],
            "signature_algorithm": info["signature_algorithm"],
            "signature": info["signature"].native,
        }
    )
    content = {
        "version": "v1",
        "digest_algorithms": signed["digest_algorithms"],
        "encap_content_info": {"content_type": "data"},
        "certificates": signed["certificates"],
        "signer_infos": [again],
    }
    made = cms.ContentInfo({"content_type": "signed_data", "content": content})
    return made.dump(force=True)
