"""Around the site: what starts and stops with the server, and a limit on bodies."""

import asyncio
import contextlib
import time
from collections import Counter
from collections.abc import Callable

# The largest photo or file that a form takes is well below; what is larger would
# only fill the disk before a view could refuse it.
BODY_LIMIT = 64 * 1024 * 1024
# A body that never ends holds its part of the disk. 64 MB in ten minutes is 1 Mbit/s.
IDLE_SECONDS = 30
WHOLE_SECONDS = 600
OPEN_BODIES = 48
OPEN_BODIES_OF_ONE = 32  # the tablets of a hall may share one address


class BodyRefused(Exception):
    status, words = 400, b""


class BodyTooLarge(BodyRefused):
    status, words = 413, b"This is too large to be taken: 64 MB at most."


class BodyTooSlow(BodyRefused):
    status, words = 408, b"This came too slowly and was given up. Send it again."


class TooManyBodies(BodyRefused):
    status, words = 503, b"Too much is being sent at once. Send it again in a moment."


class Bodies:
    """How many bodies are on their way, in all and from one address."""

    def __init__(self):
        self.open: Counter[str] = Counter()

    @contextlib.contextmanager
    def one_from(self, address: str):
        mine, all_of_them = self.open[address], self.open.total()
        if mine >= OPEN_BODIES_OF_ONE or all_of_them >= OPEN_BODIES:
            raise TooManyBodies
        self.open[address] += 1
        try:
            yield
        finally:
            self.open[address] -= 1
            self.open += Counter()  # forgets who has none


class Application:
    """An ASGI application: `site` over http; `start` and `stop` with the server.

    idle and whole: seconds that a body may pause, and take from first to last.
    """

    def __init__(
        self,
        site,
        *,
        start: Callable = None,
        stop: Callable = None,
        idle: float = IDLE_SECONDS,
        whole: float = WHOLE_SECONDS,
    ):
        self.site = site
        self.start = start
        self.stop = stop
        self.idle, self.whole = idle, whole
        self.bodies = Bodies()

    async def __call__(self, scope, receive, send):
        if scope["type"] == "lifespan":
            await self.live(receive, send)
        elif scope["type"] == "http":
            await self.answer(scope, receive, send)
        else:
            # The site speaks no web sockets.
            await send({"type": "websocket.close"})

    async def live(self, receive, send):
        while True:
            event = (await receive())["type"]
            act = self.start if event == "lifespan.startup" else self.stop
            if act:
                act()
            await send({"type": f"{event}.complete"})
            if event == "lifespan.shutdown":
                return

    async def answer(self, scope, receive, send):
        stated = dict(scope["headers"]).get(b"content-length", b"0")
        try:
            if stated.isdigit() and int(stated) > BODY_LIMIT:
                raise BodyTooLarge
            with contextlib.ExitStack() as body:
                if may_have_body(scope):
                    body.enter_context(self.bodies.one_from(address_of(scope)))
                await self.site(scope, self.limited(receive, body), send)
        except BodyRefused as refused:
            await refuse(send, refused)

    def limited(self, receive, body: contextlib.ExitStack):
        """Wrap `receive` with the limits; `body` is closed when the last part came."""
        taken, end = 0, time.monotonic() + self.whole
        whole = False

        async def limited():
            nonlocal taken, whole
            if whole:  # Django waits here for whoever asked to go away
                return await receive()
            left = min(self.idle, end - time.monotonic())
            try:
                async with asyncio.timeout(max(left, 0)):
                    message = await receive()
            except TimeoutError:
                raise BodyTooSlow from None
            taken += len(message.get("body", b""))
            if taken > BODY_LIMIT:
                raise BodyTooLarge
            if not message.get("more_body"):
                whole = True
                body.close()
            return message

        return limited


def may_have_body(scope) -> bool:
    """Not what a page asks for by the dozen: its styles and scripts."""
    names = {name for name, _ in scope["headers"]}
    stated = names & {b"content-length", b"transfer-encoding"}
    return bool(stated) or scope["method"] not in ("GET", "HEAD", "OPTIONS")


def address_of(scope) -> str:
    client = scope.get("client")
    return client[0] if client else ""


async def refuse(send, refused: BodyRefused):
    headers = [(b"content-type", b"text/plain"), (b"connection", b"close")]
    start = {"type": "http.response.start", "status": refused.status}
    await send({**start, "headers": headers})
    await send({"type": "http.response.body", "body": refused.words})
