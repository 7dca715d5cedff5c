"""The server as a process: two doors, its certificate, its lock, its last words."""

import asyncio
import http.client
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import urllib.parse
import urllib.request
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from shop.management.commands import serve
from shop.models import Person
from shop.serving import authority, certificates, logs, terminal
from shop.serving.server import open_door
from tests.around import TREE, Site, by_hand, free_port, held_port
from tests.conftest import PASSWORD, database_environment


@pytest.fixture
def site(committed_db, tmp_path):
    """A server not yet started, on this test's empty database."""
    connection.close()
    site = Site(tmp_path, database_environment())
    yield site
    site.kill()


def manage(site, *arguments):
    """Run a command of manage.py against the site's data; give (exit code, words)."""
    environment = {
        **os.environ,
        **site.environment,
        "PYTHONPATH": str(TREE),
        "DJANGO_SETTINGS_MODULE": "shop.settings",
        "FAYLINE_HOME": str(site.home),
    }
    done = subprocess.run(
        [sys.executable, "-m", "django", *arguments],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
    )
    return done.returncode, done.stdout + done.stderr


def test_answers_do_not_wait_for_the_other_sides_acknowledgement():
    """Nagle's delay is off on every connection (RFC 1122 4.2.3.4, from memory)."""
    door = open_door("127.0.0.1", 0, "--http")
    told = []

    async def meet(_reader, writer):
        accepted = writer.get_extra_info("socket")
        told.append(accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        writer.close()

    async def knock():
        server = await asyncio.start_server(meet, sock=door)
        async with server:
            reader, writer = await asyncio.open_connection(*door.getsockname())
            await reader.read()
            writer.close()

    # In a thread: where browser tests ran before, this one has their loop.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, knock()).result()
    assert told and all(told)


def test_health_is_open_and_says_ok_and_no_more(live_site):
    with urllib.request.urlopen(f"{live_site.url}/health") as answer:
        assert (answer.status, answer.read()) == (200, b"ok")
        assert "Server" not in answer.headers


def test_ctrl_c_stops_it_cleanly_also_with_a_tablet_connected(live_site):
    tablet = http.client.HTTPConnection("127.0.0.1", live_site.port)
    tablet.request("GET", "/health")
    tablet.getresponse().read()
    live_site.process.send_signal(signal.SIGINT)
    assert live_site.process.wait(timeout=15) == 0
    assert live_site.words().endswith("Stopped.\n")
    tablet.close()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="of PostgreSQL")
def test_a_form_is_kept_though_the_database_came_back_a_moment_ago(live_site):
    """Each connection is trusted for two seconds after a page: not by who would lose
    what was typed."""
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    page = browser.open(f"{live_site.url}/sign-in/").read().decode()
    token = re.search(r'csrfmiddlewaretoken" value="(\w+)"', page)[1]
    said = {"username": "lead", "password": PASSWORD, "csrfmiddlewaretoken": token}
    form = urllib.parse.urlencode(said).encode()
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        assert cursor.fetchone()[0] > 0
    with browser.open(f"{live_site.url}/sign-in/", form) as answer:
        assert answer.status == 200 and "/sign-in/" not in answer.url


def test_who_starts_the_server_leaves_no_session_of_the_database_behind(committed_db):
    connection.ensure_connection()
    try:
        serve.application()
        assert connection.connection is None
    finally:
        logs.stop()


@pytest.mark.skipif(
    connection.vendor == "postgresql", reason="behind one PostgreSQL many servers run"
)
def test_a_second_server_on_the_same_data_is_refused_in_words(live_site):
    code, words = manage(live_site, "serve", "--http", str(free_port()))
    assert code == 1
    assert "Another server already works on" in words
    assert "Traceback" not in words


@pytest.mark.either_database
def test_a_port_in_use_is_told_in_words(site):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code, words = manage(site, "serve", "--http", str(port))
    assert code == 1
    assert f"Port {port} is in use" in words
    assert "Traceback" not in words


@pytest.mark.either_database
def test_an_address_of_another_machine_is_told_in_words(site):
    # 198.51.100.0/24 is for documentation (RFC 5737): no machine has it.
    code, words = manage(site, "serve", "--host", "198.51.100.7")
    assert code == 1
    assert "198.51.100.7 is no address of this machine" in words


def test_demo_data_is_never_served_to_a_shop(site):
    with by_hand():
        Person.objects.create(username="ann", name="Ann", is_demo=True)
    connection.close()
    code, words = manage(site, "serve", "--shop", "--http", str(free_port()))
    assert code == 1
    assert "never served to a network" in " ".join(words.split())


def test_a_body_beyond_the_limit_is_refused_before_it_is_taken(live_site):
    tablet = http.client.HTTPConnection("127.0.0.1", live_site.port, timeout=10)
    tablet.putrequest("POST", "/sign-in/")
    tablet.putheader("Content-Length", str(65 * 1024 * 1024))
    tablet.endheaders()
    answer = tablet.getresponse()
    assert answer.status == 413
    assert b"64 MB at most" in answer.read()
    tablet.close()


def trusting(site):
    context = ssl.create_default_context()
    issuer = authority.load(authority.authority_path(site.home / "keys"))
    context.load_verify_locations(cadata=issuer.der)
    return context


def served_certificate(site, port):
    """The certificate that the server shows, verified as a tablet does."""
    with (
        socket.create_connection(("127.0.0.1", port), timeout=10) as plain,
        trusting(site).wrap_socket(plain, server_hostname="localhost") as secure,
    ):
        return secure.getpeercert(binary_form=True)


def test_a_shop_gets_https_and_http_from_one_process(site):
    port = held_port(site)
    site.start("--shop", "--host", "127.0.0.1", "--https", str(port))
    address = f"https://localhost:{port}/sign-in/"
    with urllib.request.urlopen(address, context=trusting(site)) as answer:
        assert answer.status == 200
        cookies = answer.headers.get_all("Set-Cookie")
    assert all(cookie.startswith("__Host-") for cookie in cookies)
    assert "Strict-Transport-Security" not in answer.headers
    with pytest.raises(ssl.SSLError):
        untrusting = ssl.create_default_context()
        with socket.create_connection(("127.0.0.1", port)) as plain:
            untrusting.wrap_socket(plain, server_hostname="localhost")
    # The same certificate, by http, for tablets that do not trust it yet.
    with urllib.request.urlopen(f"{site.url}/trust/certificate") as answer:
        assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
        root = answer.read()
    issuer = authority.load(authority.authority_path(site.home / "keys"))
    assert root == issuer.der
    with urllib.request.urlopen(f"{site.url}/trust/") as answer:
        page = answer.read().decode()
    assert issuer.fingerprint in page
    assert f"https://127.0.0.1:{port}/" in page
    words = site.words().replace("\n  ", ":")
    assert f"Fayline is on https://127.0.0.1:{port}/" in words
    assert issuer.fingerprint in words
    assert "▀" in words


def test_the_certificate_changes_while_the_server_runs(tmp_path):
    """In this process, since the server looks once a minute: the same calls."""
    import asyncio
    import threading

    from shop.serving import server

    now = certificates.utc_now()
    issuer = authority.open_authority(tmp_path / "keys", "Shop", [], now)
    path = authority.server_path(tmp_path / "keys")
    authority.open_server(tmp_path / "keys", issuer, ["localhost"], now)
    door = server.open_door("127.0.0.1", 0, "--https")
    port = door.getsockname()[1]
    config = server.ServerConfig([], [door], path)
    stop = threading.Event()

    async def nothing(scope, receive, send):
        while scope["type"] == "lifespan":
            await receive()
            await send({"type": "lifespan.startup.complete"})
            await asyncio.to_thread(stop.wait)
            return

    def serve():
        from hypercorn.asyncio import serve as run

        async def until():
            await asyncio.to_thread(stop.wait)

        asyncio.run(run(nothing, config, shutdown_trigger=until, mode="asgi"))

    thread = threading.Thread(target=serve)
    thread.start()
    site = Site(tmp_path, {}, port)
    try:
        first = served_certificate(site, port)
        hosts = ["localhost", "10.0.0.7"]
        renewed, is_new = authority.open_server(path.parent, issuer, hosts, now)
        # Whichever server of this home made it, each of them sees it.
        assert config.shows_another_certificate()
        config.renew_certificate()
        assert not config.shows_another_certificate()
        second = served_certificate(site, port)
    finally:
        stop.set()
        thread.join(timeout=20)
    assert is_new
    assert first != second == renewed.der


def test_the_code_in_the_terminal_is_read_by_a_camera():
    import numpy
    import zxingcpp

    text = "http://192.168.1.20:8000/trust/"
    light = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    halves = [
        [light[c] for c in line] for line in terminal.qr_lines(text, colors=False)
    ]
    rows = numpy.array(halves, dtype=numpy.uint8).transpose(0, 2, 1)
    picture = rows.reshape(-1, rows.shape[2]) * 255
    found = zxingcpp.read_barcodes(numpy.kron(picture, numpy.ones((8, 8), numpy.uint8)))
    assert [code.text for code in found] == [text]


def test_in_a_new_home_it_makes_its_database_and_says_who_is_missing(tmp_path):
    site = Site(tmp_path, {})
    try:
        site.start()
        assert site.stop() == 0
    finally:
        site.kill()
    words = site.words()
    assert "Making the database" in words
    assert "Nobody can sign in yet" in words
    assert json.dumps("Traceback") not in words and "Traceback" not in words
