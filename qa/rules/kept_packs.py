"""The files of an issued pack as they lie on disk: given out only where they are those
that were issued, by their digests on record."""

import hashlib

from django.utils.translation import gettext as _

from qa.models import IssuedPack
from shop.ledger import Refused, file_store


def _kept(name: str, digest: str) -> bytes:
    """The bytes of a file; Refused where they are others, FileNotFoundError where it
    is gone."""
    try:
        data = file_store.path_of(name).read_bytes()
    except file_store.StoreFails:
        words = _("The store of the files does not answer: try again in a moment.")
        raise Refused(words, code="store") from None
    if hashlib.sha256(data).hexdigest() != digest:
        words = _(
            "The file that is kept is not the one that was issued: %(file)s was "
            "changed on disk. It is not given out, and not signed. Bring it back from "
            "a backup."
        )
        raise Refused(words % {"file": name}, code="altered")
    return data


def pages_of(pack: IssuedPack) -> bytes:
    return _kept(pack.file_name, pack.sha256)


def record_of(pack: IssuedPack) -> bytes:
    return _kept(pack.record_name, pack.content_digest)


def signature_of(pack: IssuedPack) -> bytes:
    return _kept(pack.signature_name, pack.signature_sha256)
