"""The shop's signature under a file: a certificate for papers, by its own authority.

RSA, since an elliptic key would make an embedded signature ask for PDF 2.0, which
PDF/A-3 forbids (reference on papers, 6.5). The time of signing is what this server
says: no authority for time is asked.
"""

import datetime
import io
from concurrent.futures import ThreadPoolExecutor

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import pkcs7
from cryptography.x509.oid import ExtendedKeyUsageOID

from . import authority, certificates

RSA_BITS = 3072
# As many days as whoever reads a pack may take to try its signature.
LIFE = datetime.timedelta(days=3652)


def papers_path():
    return certificates.folder() / "papers.pem"


def own_identity() -> authority.Identity:
    """The certificate and key that papers are signed with, made at the first call; anew
    when it is about to end, or another authority issued it."""
    issuer, now = certificates.shop_authority(), certificates.utc_now()
    try:
        identity = authority.load(papers_path())
    except ValueError:  # damaged: made again, old signatures still hold
        identity = None
    if (
        identity
        and identity.expires - now >= min(authority.RENEW_BEFORE, issuer.expires - now)
        and authority.key_identifier(identity.certificate)
        == authority.own_identifier(issuer.certificate)
    ):
        return identity
    made = make_identity(issuer, now)
    authority.save(papers_path(), made)
    return made


def make_identity(issuer: authority.Identity, now) -> authority.Identity:
    key = rsa.generate_private_key(public_exponent=65537, key_size=RSA_BITS)
    shop = issuer.name.removesuffix(" certificate authority")
    first = now - authority.BACKDATED
    builder = (
        authority.start(
            authority.common_name(f"{shop}, papers"),
            issuer.certificate.subject,
            key.public_key(),
            first,
            min(first + LIFE, issuer.expires),
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            authority.key_usage(digital_signature=True, content_commitment=True),
            critical=True,
        )
        # What programs that verify a CMS signature ask of a signer.
        .add_extension(
            x509.ExtendedKeyUsage([ExtendedKeyUsageOID.EMAIL_PROTECTION]),
            critical=False,
        )
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(
                issuer.certificate.extensions.get_extension_for_class(
                    x509.SubjectKeyIdentifier
                ).value
            ),
            critical=False,
        )
    )
    return authority.Identity(builder.sign(issuer.key, hashes.SHA256()), key)


def sign(data: bytes) -> tuple[bytes, str]:
    """A detached signature (CMS, DER) over exactly these bytes, and who signed."""
    own, issuer = own_identity(), certificates.shop_authority()
    builder = (
        pkcs7.PKCS7SignatureBuilder()
        .set_data(data)
        .add_signer(own.certificate, own.key, hashes.SHA256())
        .add_certificate(issuer.certificate)
    )
    options = [
        pkcs7.PKCS7Options.DetachedSignature,
        pkcs7.PKCS7Options.Binary,
        pkcs7.PKCS7Options.NoCapabilities,
    ]
    return builder.sign(serialization.Encoding.DER, options), own.name


def signed_inside(data: bytes) -> bytes:
    """A copy of a PDF with the shop's signature inside: its first bytes are those of
    the file as it was issued. Two copies differ: each says when it was signed."""
    # Slow to import, and asked for now and then.
    from asn1crypto import keys  # noqa: PLC0415
    from asn1crypto import x509 as asn1  # noqa: PLC0415
    from pyhanko.pdf_utils.incremental_writer import (  # noqa: PLC0415
        IncrementalPdfFileWriter,
    )
    from pyhanko.sign import signers  # noqa: PLC0415
    from pyhanko_certvalidator.registry import SimpleCertificateStore  # noqa: PLC0415

    own, issuer = own_identity(), certificates.shop_authority()
    key = own.key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    store = SimpleCertificateStore()
    store.register(asn1.Certificate.load(issuer.der))
    signer = signers.SimpleSigner(
        signing_cert=asn1.Certificate.load(own.der),
        signing_key=keys.PrivateKeyInfo.load(key),
        cert_registry=store,
    )
    metadata = signers.PdfSignatureMetadata(
        field_name="Shop", md_algorithm="sha256", name=own.name
    )
    out = io.BytesIO()
    writer = IncrementalPdfFileWriter(io.BytesIO(data))
    # It brings an event loop of its own, which a thread that has one refuses.
    with ThreadPoolExecutor(1) as own_thread:
        own_thread.submit(
            signers.sign_pdf, writer, metadata, signer, output=out
        ).result()
    return out.getvalue()
