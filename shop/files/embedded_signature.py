"""A signature inside of a PDF that somebody brings: whether the file is as it was
signed, by pyHanko."""

import io
import logging
from concurrent.futures import ThreadPoolExecutor

from cryptography import x509
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from shop.files.signed_file import Signer, UnreadableSignature


def embedded_signer(data: bytes) -> tuple[Signer | None, str]:
    """Who signed, and what was altered ("" where nothing was). Raises
    UnreadableSignature where no signature is inside, or none that can be read.

    By whom it may be is for the caller: here every certificate is taken.
    """
    # What it has to say of a broken file is said in the answer.
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    logging.getLogger("pyhanko_certvalidator").setLevel(logging.CRITICAL)
    try:
        found = PdfFileReader(io.BytesIO(data), strict=False).embedded_signatures
        if not found:
            raise UnreadableSignature("no signature is inside of it")
        own = found[-1].signer_cert
        trusted = ValidationContext(trust_roots=[own], allow_fetching=False)
        # It brings an event loop of its own, which a thread that has one refuses.
        with ThreadPoolExecutor(1) as own_thread:
            trial = own_thread.submit(validate_pdf_signature, found[-1], trusted)
            status = trial.result()
    except UnreadableSignature:
        raise
    except (PdfError, SigningError, SignatureValidationError) as why:
        raise UnreadableSignature(
            f"the signature inside cannot be tried: {why}"
        ) from why
    except (ValueError, KeyError, TypeError, AttributeError, IndexError) as why:
        raise UnreadableSignature(
            f"the signature inside cannot be read: {why}"
        ) from why
    if not (status.intact and status.valid):
        return None, "its bytes are not those that were signed"
    if status.coverage != SignatureCoverageLevel.ENTIRE_FILE:
        return None, "something was added after it was signed"
    at = status.signer_reported_dt
    certificate = x509.load_der_x509_certificate(own.dump())
    return Signer(certificate, str(at or "")), ""
