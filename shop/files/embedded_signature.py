"""A signature inside of a PDF that somebody brings: whether the file is as it was
signed, by pyHanko."""

import io
import logging
import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from asn1crypto import core
from cryptography import x509
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from shop.files.signature_form import OddSignature, require_form
from shop.files.signed_file import Signer, UnreadableSignature, is_by

# As a signature is written: pairs of digits; by this program in capitals.
GAP = re.compile(rb"<(?:[0-9A-Fa-f]{2})+>")


def embedded_signer(
    data: bytes, known: Sequence[x509.Certificate] = ()
) -> tuple[Signer | None, str]:
    """Who signed, and what was altered ("" where nothing was). Raises
    UnreadableSignature where no signature is inside, none that can be read, or one that
    may be another program's as well as an altered one of this.

    By whom it may be is for the caller: here every certificate is taken. That of who
    is known to be another is not tried for how this program writes one.
    """
    # What it has to say of a broken file is said in the answer.
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    logging.getLogger("pyhanko_certvalidator").setLevel(logging.CRITICAL)
    try:
        signer, status = _tried(data)
        own = x509.load_der_x509_certificate(signer.signer_cert.dump())
        foreign = bool(known) and not is_by(own, known[0])
    except UnreadableSignature:
        raise
    except (PdfError, SigningError, SignatureValidationError) as why:
        raise UnreadableSignature(
            f"the signature inside cannot be tried: {why}"
        ) from why
    except Exception as why:  # of a damaged file the reader raises whatever it meets
        raise UnreadableSignature(
            f"the signature inside cannot be read: {why or type(why).__name__}"
        ) from why
    if not (status.intact and status.valid):
        return None, "its bytes are not those that were signed"
    if status.coverage != SignatureCoverageLevel.ENTIRE_FILE:
        return None, "something was added after it was signed"
    at = status.signer_reported_dt
    if not foreign and (altered := _altered(data, signer.byte_range, known)):
        return None, altered
    return Signer(own, str(at or "")), ""


def _tried(data: bytes):
    """The last signature inside, and what pyHanko has to say of it."""
    signatures = PdfFileReader(io.BytesIO(data), strict=False).embedded_signatures
    if not signatures:
        raise UnreadableSignature("no signature is inside of it")
    roots = [signatures[-1].signer_cert]
    trusted = ValidationContext(trust_roots=roots, allow_fetching=False)
    # It brings an event loop of its own, which a thread that has one refuses.
    with ThreadPoolExecutor(1) as own_thread:
        trial = own_thread.submit(validate_pdf_signature, signatures[-1], trusted)
        return signatures[-1], trial.result()


def _altered(data: bytes, covered, known) -> str:
    """What is not as it was written of the place of the signature, which its digest
    leaves out: a text of hexadecimal digits, and zeros to its end."""
    at, *more = map(int, covered)
    end, begins, length = more if len(more) == 3 else (0, 0, 0)
    place = data[end:begins]
    if at or begins + length != len(data) or not GAP.fullmatch(place):
        return "the place of its signature is not as it was written"
    digits = bytes.fromhex(place[1:-1].decode())
    try:
        size = len(core.Asn1Value.load(digits).dump())
        signature, rest = digits[:size], digits[size:]
        if any(rest):
            return "what follows its signature is not empty"
        require_form(signature, known)
        if place != place.upper():
            raise OddSignature("its digits are not in capitals")
    except OddSignature as why:
        if not known:
            raise UnreadableSignature(
                "the signature inside is not as this program writes one (was it signed "
                f"by another?): {why}"
            ) from why
        return f"the signature in it is not as it was written: {why}"
    except ValueError as why:
        return f"the signature in it is not as it was written: {why}"
    return ""
