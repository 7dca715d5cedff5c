"""The site as an ASGI application, for `manage.py serve` and any other server."""

import os
from concurrent.futures import ThreadPoolExecutor

import django
from asgiref.sync import sync_to_async
from django.core.handlers.asgi import ASGIHandler
from django.db import close_old_connections

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
THREADS = 8


class Site(ASGIHandler):
    """Django by ASGI, each request in one go in one of a few threads that stay.

    As Django does it, a request hops between loop and threads at every middleware
    and opens a database of its own: 18 ms here before a view has done anything.
    """

    def __init__(self):
        super().__init__()
        self.threads = ThreadPoolExecutor(THREADS, thread_name_prefix="site")

    def load_middleware(self, is_async=False):
        super().load_middleware(is_async=False)

    async def get_response_async(self, request):
        in_thread = sync_to_async(
            self._answer, thread_sensitive=False, executor=self.threads
        )
        return await in_thread(request)

    def _answer(self, request):
        # What Django does by signals, in the thread that holds the connection.
        close_old_connections()
        try:
            return self.get_response(request)
        finally:
            close_old_connections()


django.setup(set_prefix=False)
application = Site()
