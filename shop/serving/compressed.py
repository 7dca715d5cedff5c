"""Text that is the same for everybody, sent compressed.

Packed once and kept, not at every request: scripts, styles, drawings, the tablet's
shell. Never a page of a person: a page that mixes a secret with what was asked for
tells the secret by its length.
"""

import hashlib
import re
from dataclasses import dataclass
from functools import cached_property, lru_cache

import deflate
from django.http import HttpResponse
from django.utils.cache import get_conditional_response, patch_vary_headers

# The most that libdeflate does: a percent less than gzip at its best, and quicker.
LEVEL = 12
KINDS = re.compile(r"text/|image/svg\+xml|application/(json|manifest\+json|javascript)")
REFUSED = re.compile(r"\s*q\s*=\s*0(\.0*)?\s*")


def takes_gzip(request) -> bool:
    """Whether who asks can read gzip, as Accept-Encoding says (RFC 9110, 12.5.3)."""
    named = {}
    for part in request.headers.get("Accept-Encoding", "").split(","):
        name, _semicolon, weight = part.partition(";")
        named[name.strip().lower()] = not REFUSED.fullmatch(weight)
    return named.get("gzip", named.get("*", False))


@lru_cache(maxsize=256)
def gzipped(content: bytes) -> bytes | None:
    """The same bytes of the same content on every machine; None where it saves
    nothing."""
    packed = bytes(deflate.gzip_compress(content, LEVEL))
    return packed if len(packed) < len(content) else None


@dataclass(frozen=True)
class Text:
    """What is served under one address until the server starts again."""

    content_type: str
    content: bytes

    @cached_property
    def digest(self) -> str:
        return hashlib.sha256(self.content).hexdigest()[:32]

    def answer(self, request, keep: str) -> HttpResponse:
        """As who asks can read it; 304 where that is there already. `keep` is the
        Cache-Control of either."""
        packed = gzipped(self.content) if takes_gzip(request) else None
        etag = f'"{self.digest}-gzip"' if packed else f'"{self.digest}"'
        response = HttpResponse(packed or self.content, content_type=self.content_type)
        response["Cache-Control"] = keep
        response["ETag"] = etag
        if packed:
            response["Content-Encoding"] = "gzip"
        patch_vary_headers(response, ["Accept-Encoding"])
        return get_conditional_response(request, etag=etag, response=response)
