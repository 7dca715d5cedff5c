"""Passwords and PINs are hashed one at a time: guessing must not slow those who save.

One hash is slow on purpose and takes a core of its own. Twenty wrong ones at once
slowed a save from 23 ms to 2.3 s.
"""

import threading

from django.contrib.auth.hashers import ScryptPasswordHasher

from shop.ledger import Refused

# With the one in work fewer than half of the server's threads (shop/asgi.py).
WAITING = 2


class TooBusy(Refused):
    """Others are being asked for their password just now."""

    def __init__(self):
        super().__init__(
            "The server is checking other passwords just now. Try again in a moment.",
            code="wait",
        )


class Gate:
    """Lets one through at a time and a few wait; whoever comes then is sent away."""

    def __init__(self, waiting: int = WAITING):
        self._places = threading.BoundedSemaphore(waiting + 1)
        self._one = threading.Lock()

    def __enter__(self):
        if not self._places.acquire(blocking=False):
            raise TooBusy
        self._one.acquire()

    def __exit__(self, *exception):
        self._one.release()
        self._places.release()


GATE = Gate()


class GatedScrypt(ScryptPasswordHasher):
    """Django's scrypt, behind the gate; raises TooBusy."""

    def encode(self, *args, **kwargs):
        with GATE:
            return super().encode(*args, **kwargs)
