"""Static files, answered whole.

WhiteNoise answers with a file to be streamed, which Django can only pass on to an
asynchronous server by reading it whole anyway, and warns. Ours are small.
"""

import contextlib
import os

from django.http import HttpResponse
from whitenoise.middleware import WhiteNoiseMiddleware


class StaticFiles(WhiteNoiseMiddleware):
    def add_files(self, root, prefix=None):
        # Before collectstatic there is nothing to add, and nothing to warn of.
        if os.path.isdir(root):
            super().add_files(root, prefix)

    @staticmethod
    def serve(static_file, request):
        found = static_file.get_response(request.method, request.META)
        content = b""
        if found.file is not None:
            with contextlib.closing(found.file) as file:
                content = file.read()
        response = HttpResponse(content, status=int(found.status))
        del response["Content-Type"]
        for name, value in found.headers:
            response[name] = value
        return response
