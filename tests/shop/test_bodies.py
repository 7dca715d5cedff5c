"""What is sent to the server ends: bodies that are too large, too slow or too many."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from shop.serving import application
from shop.serving.application import Application


def answer(app, parts, *, address="198.51.100.7", headers=(), method="PUT"):
    """Send a body in parts to an application; give (status, body of the answer)."""
    with ThreadPoolExecutor(1) as pool:  # browser tests own the loop of this thread
        scope = {"type": "http", "headers": list(headers), "method": method}
        scope["client"] = (address, 1)
        return pool.submit(asyncio.run, send(app, parts, scope)).result()


async def send(app, parts, scope):
    parts, sent = [*parts], []

    async def receive():
        if not parts:
            await asyncio.Event().wait()  # nothing more ever comes
        body = parts.pop(0)
        return {"type": "http.request", "body": body, "more_body": body != b""}

    async def take(message):
        sent.append(message)

    await app(scope, receive, take)
    return sent[0]["status"], sent[1]["body"]


async def reads_all(scope, receive, send):
    """A site as Django is: it reads the body, then answers how much it was."""
    taken = 0
    while True:
        message = await receive()
        taken += len(message["body"])
        if not message["more_body"]:
            break
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": str(taken).encode()})


def test_a_body_that_ends_is_taken():
    app = Application(reads_all)
    assert answer(app, [b"abc", b"de", b""]) == (200, b"5")
    assert not app.bodies.open


def test_a_body_that_stops_in_the_middle_is_given_up():
    app = Application(reads_all, idle=0.05)
    status, words = answer(app, [b"abc"])
    assert status == 408 and b"too slowly" in words
    assert not app.bodies.open


def test_a_body_that_drips_for_ever_is_given_up():
    app = Application(reads_all, whole=0)
    assert answer(app, [b"a"] * 1000)[0] == 408


def test_a_body_that_is_too_large_is_given_up_stated_or_not(monkeypatch):
    monkeypatch.setattr(application, "BODY_LIMIT", 4)
    app = Application(reads_all)
    assert answer(app, [b"abcde", b""])[0] == 413
    assert answer(app, [b""], headers=[(b"content-length", b"5")])[0] == 413


def test_one_address_holds_few_unfinished_bodies_and_shuts_nobody_else_out():
    app = Application(reads_all)
    app.bodies.open["198.51.100.7"] = application.OPEN_BODIES_OF_ONE
    assert answer(app, [b""])[0] == 503
    assert answer(app, [b""], method="GET")[0] == 200
    assert answer(app, [b""], address="198.51.100.8")[0] == 200
    app.bodies.open["198.51.100.9"] = application.OPEN_BODIES
    assert answer(app, [b""], address="198.51.100.8")[0] == 503


@pytest.mark.parametrize("fails", [True, False])
def test_an_address_is_forgotten_when_its_body_came_or_the_site_failed(fails):
    async def site(scope, receive, send):
        if fails:
            raise ValueError
        await reads_all(scope, receive, send)
        assert not app.bodies.open  # while the answer is still being made

    app = Application(site)
    if fails:
        with pytest.raises(ValueError):
            answer(app, [b""])
    else:
        answer(app, [b""])
    assert not app.bodies.open
