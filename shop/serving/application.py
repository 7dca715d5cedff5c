"""Around the site: what starts and stops with the server, and a limit on bodies."""

from collections.abc import Callable

# The largest photo or file that a form takes is well below; what is larger would
# only fill the disk before a view could refuse it.
BODY_LIMIT = 64 * 1024 * 1024


class BodyTooLarge(Exception):
    pass


class Application:
    """An ASGI application: `site` over http; `start` and `stop` with the server."""

    def __init__(self, site, *, start: Callable = None, stop: Callable = None):
        self.site = site
        self.start = start
        self.stop = stop

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
        if stated.isdigit() and int(stated) > BODY_LIMIT:
            await refuse(send)
            return
        taken = 0

        async def counted():
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > BODY_LIMIT:
                raise BodyTooLarge
            return message

        try:
            await self.site(scope, counted, send)
        except BodyTooLarge:
            await refuse(send)


async def refuse(send):
    words = b"This is too large to be taken: 64 MB at most."
    headers = [(b"content-type", b"text/plain"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": 413, "headers": headers})
    await send({"type": "http.response.body", "body": words})
