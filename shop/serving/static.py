"""Static files, answered whole and, where they are text, compressed.

WhiteNoise answers with a file to be streamed, which Django can only pass on to an
asynchronous server by reading it whole anyway, and warns. Ours are small. It sends
compressed what `collectstatic` compressed; without it (demo) they are packed here.
"""

import contextlib
import os

from django.http import HttpResponse
from django.utils.cache import patch_vary_headers
from whitenoise.middleware import WhiteNoiseMiddleware

from shop.serving.compressed import KINDS, gzipped, takes_gzip

PACKED = '-gzip"'


class StaticFiles(WhiteNoiseMiddleware):
    def add_files(self, root, prefix=None):
        # Before collectstatic there is nothing to add, and nothing to warn of.
        if os.path.isdir(root):
            super().add_files(root, prefix)

    @staticmethod
    def serve(static_file, request):
        known = request.headers.get("If-None-Match", "")
        headers = request.META
        if known.endswith(PACKED):
            headers = {
                **headers,
                "HTTP_IF_NONE_MATCH": known.removesuffix(PACKED) + '"',
            }
        answer = static_file.get_response(request.method, headers)
        content = b""
        if answer.file is not None:
            with contextlib.closing(answer.file) as file:
                content = file.read()
        response = HttpResponse(content, status=int(answer.status))
        del response["Content-Type"]
        for name, value in answer.headers:
            response[name] = value
        if response.status_code == 304 and known.endswith(PACKED):
            response["ETag"] = known
        return pack(request, response)


def pack(request, response):
    """A file that lies there as written, compressed for who can read that."""
    whole = response.status_code == 200 and "Content-Encoding" not in response
    if not whole or not KINDS.match(response.get("Content-Type", "")):
        return response
    patch_vary_headers(response, ["Accept-Encoding"])
    packed = gzipped(response.content) if takes_gzip(request) else None
    if packed:
        response.content = packed
        response["Content-Encoding"] = "gzip"
        response["Content-Length"] = str(len(packed))
        if "ETag" in response:
            response["ETag"] = response["ETag"].removesuffix('"') + PACKED
    return response
