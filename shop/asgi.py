"""The site as an ASGI application, for `manage.py serve` and any other server."""

import asyncio
import contextlib
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from time import monotonic

import django
from django.core.exceptions import RequestAborted
from django.core.handlers.asgi import ASGIHandler, get_script_prefix
from django.core.signals import request_started
from django.db import connection
from django.http.response import HttpResponseBase
from django.urls import set_script_prefix

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
THREADS = 8
TRUSTED_SECONDS = 2.0
ACTS = "/api/acts"
_asked = threading.local()


class Site(ASGIHandler):
    """Django by ASGI, each request in one go in one of a few threads that stay.

    As Django does it, a request hops between loop and threads at every middleware,
    starts two threads of its own and opens a database: 18 ms here before a view has
    done anything. Nobody here minds that whoever asked has gone away meanwhile.
    """

    def __init__(self):
        super().__init__()
        self.threads = ThreadPoolExecutor(THREADS, thread_name_prefix="site")

    def load_middleware(self, is_async=False):
        super().load_middleware(is_async=False)

    async def handle(self, scope, receive, send):
        try:
            body = await self.read_body(receive)
        except RequestAborted:
            return
        loop = asyncio.get_running_loop()
        answer = await loop.run_in_executor(self.threads, self._answer, scope, body)
        try:
            await self.send_response(answer, send)
        finally:
            if answer.streaming:
                answer.close()

    def _answer(self, scope, body) -> HttpResponseBase:
        """Answer in this thread, which keeps its connection to the database; Django's
        signals see to it that one is closed that is too old or broken."""
        with body:
            set_script_prefix(get_script_prefix(scope))
            request_started.send(sender=type(self), scope=scope)
            request, answer = self.create_request(scope, body)
            if request is not None:
                with asked_now_and_then(request):
                    answer = self.get_response(request)
            answer._handler_class = type(self)
            if not answer.streaming:
                answer.close()
            return answer


def is_sent_again(request) -> bool:
    """A page, by who looks at it; an act of a tablet, by its outbox."""
    return request.method in ("GET", "HEAD") or request.path_info.startswith(ACTS)


@contextlib.contextmanager
def asked_now_and_then(request):
    """Ask a connection whether it still works at most once in TRUSTED_SECONDS: Django
    does so before each request, and it costs the database an answer more. Before a form
    it is asked all the same, for nobody sends that again."""
    trusted = is_sent_again(request) and monotonic() < getattr(
        _asked, "trusted_until", 0.0
    )
    connection.health_check_done = trusted
    yield
    if connection.errors_occurred:
        _asked.trusted_until = 0.0
    elif connection.health_check_done and not trusted:
        _asked.trusted_until = monotonic() + TRUSTED_SECONDS


django.setup(set_prefix=False)
application = Site()
