"""A proxy of the test's own that does to requests what a hangar's Wi-Fi does."""

import contextlib
import http.client
import random
import threading
import time
from collections import Counter
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

PORTAL = b"<!doctype html><title>Guest network</title><p>Please accept the terms."
# What may happen to a request of the api, and how often in a hundred.
FAULTS = {
    "lost": 7,  # never reaches the server
    "answer_lost": 11,  # reaches it, the answer does not come back
    "doubled": 7,  # reaches it twice
    "late": 7,  # overtaken by others
    "portal": 5,  # 200 with a page
    "redirected": 3,
    "error": 5,  # 500, 502, 503 with a page
    "half": 4,  # half an answer
    "silent": 0.5,  # reaches it, and then nothing at all, not even an end
}
# Longer than a tablet waits for an answer.
SILENCE = 12
HOP = {"connection", "keep-alive", "transfer-encoding", "content-length", "host"}


class FaultyProxy:
    """Stands before the server on a port of its own; faults are drawn from a seed."""

    def __init__(self, target_port: int):
        self.target_port = target_port
        self.random = random.Random(0)
        self.faulty = False
        self.done = Counter()
        self.under_way = {}
        proxy = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def answer(self):
                proxy.under_way[self] = time.monotonic()
                with contextlib.suppress(OSError):
                    proxy.handle(self)
                del proxy.under_way[self]

            do_GET = do_PUT = do_POST = do_DELETE = answer

            def log_message(self, *_words):
                pass

        class Server(ThreadingHTTPServer):
            # A browser opens many connections at once; with the usual 5, some would
            # wait for seconds for the kernel to knock again.
            request_queue_size = 128

        self.server = Server(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.server.block_on_close = False
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def close(self):
        self.server.shutdown()
        self.server.server_close()

    def happening(self) -> list[str]:
        """Requests that have no answer yet, with the seconds they have waited."""
        now = time.monotonic()
        under_way = [*self.under_way.items()]
        return [f"{one.path} {now - since:.1f} s" for one, since in under_way]

    def draw(self, path: str) -> str:
        if not self.faulty or not path.startswith("/api/"):
            return ""
        point = self.random.uniform(0, 100)
        for name, share in FAULTS.items():
            point -= share
            if point < 0:
                self.done[name] += 1
                return name
        return ""

    def handle(self, request) -> None:
        body = request.rfile.read(int(request.headers.get("Content-Length") or 0))
        fault = self.draw(request.path)
        if fault == "late":
            time.sleep(self.random.uniform(0.05, 0.6))
        if fault == "lost":
            return self.hang_up(request)
        if fault == "portal":
            return self.reply(request, 200, {"Content-Type": "text/html"}, PORTAL)
        if fault == "redirected":
            return self.reply(request, 302, {"Location": "/sign-in/"}, b"")
        if fault == "error":
            status = self.random.choice([500, 502, 503])
            return self.reply(request, status, {"Content-Type": "text/html"}, PORTAL)
        if fault == "doubled":
            self.forward(request, body)
        answer = self.forward(request, body)
        if fault == "silent":
            time.sleep(SILENCE)
        if answer is None or fault in ("answer_lost", "silent"):
            return self.hang_up(request)
        return self.reply(request, *answer, half=fault == "half")

    def forward(self, request, body: bytes):
        headers = {k: v for k, v in request.headers.items() if k.lower() not in HOP}
        headers["Host"] = f"127.0.0.1:{self.port}"
        link = http.client.HTTPConnection("127.0.0.1", self.target_port, timeout=20)
        try:
            link.request(request.command, request.path, body, headers)
            found = link.getresponse()
            kept = [(k, v) for k, v in found.getheaders() if k.lower() not in HOP]
            return found.status, kept, found.read()
        except (OSError, http.client.HTTPException):
            return None
        finally:
            link.close()

    def reply(self, request, status, headers, body, half=False) -> None:
        request.send_response(status)
        pairs = headers.items() if isinstance(headers, dict) else headers
        for name, value in pairs:
            request.send_header(name, value)
        request.send_header("Content-Length", str(len(body)))
        request.end_headers()
        request.wfile.write(body[: len(body) // 2] if half else body)
        if half:
            self.hang_up(request)

    def hang_up(self, request) -> None:
        request.close_connection = True
        with contextlib.suppress(OSError):
            request.connection.shutdown(2)
