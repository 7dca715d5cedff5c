"""Four servers on two addresses, two a hall, behind one PostgreSQL: one shop.

What a hall is given are the server's keys and the folder of photos, as README says.
"""

import http.client
import json
import shutil
import socket
import ssl
import threading
import time
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.contrib.auth.hashers import ScryptPasswordHasher
from django.db import connection

from qa.models import Check, Reading
from shop.actions import tablets
from shop.ledger.verify import verify
from shop.models import Entry, Person
from shop.serving import authority, nightly
from tests.around import Site, by_hand, held_port
from tests.browser.at_the_tablet import a_check
from tests.conftest import PASSWORD, database_environment, make_people
from tests.faults.test_outbox_faults import sign_in_by_hand

HALLS = ("127.0.0.1", "127.0.0.2")
EACH = 10
MADE_AT = "2026-11-25T09:00:00Z"
PIN = "482917"


class Hall(Site):
    """A server of a hall: https and http at an address of its own."""

    def __init__(self, home, environment, address):
        super().__init__(home, environment, warm=True)
        self.address, self.https = address, held_port(self)
        self.log = home.with_name(f"{home.name}-{self.port}.log")

    @property
    def url(self):
        return f"http://{self.address}:{self.port}"

    def start(self):
        return super().start(
            *("--shop", "--host", self.address, "--https", str(self.https))
        )

    def ask(self, method, path, said, **headers):
        """Give the status and the JSON of the answer to one request of its own."""
        link = http.client.HTTPConnection(self.address, self.port, timeout=60)
        link.request(method, path, json.dumps(said), headers)
        answer = link.getresponse()
        told = json.loads(answer.read())
        link.close()
        return answer.status, told

    def certificate(self, issuer):
        """What it shows, verified as a tablet does that trusts the shop's authority."""
        context = ssl.create_default_context(cadata=issuer.der)
        with (
            socket.create_connection((self.address, self.https), timeout=30) as plain,
            context.wrap_socket(plain, server_hostname=self.address) as secure,
        ):
            return secure.getpeercert(binary_form=True)


@pytest.fixture
def halls(committed_db, tmp_path):
    make_people()
    connection.close()
    homes = [tmp_path / name for name in ("first", "second")]
    common = {**database_environment(), "FAYLINE_FILES": str(tmp_path / "photos")}
    sites = [
        Hall(home, common, address)
        for home, address in zip(homes, HALLS, strict=True)
        for _server in range(2)
    ]
    for home in homes:
        home.mkdir()
    try:
        sites[0].start()
        shutil.copy(homes[0] / "secret.key", homes[1])
        shutil.copytree(homes[0] / "keys", homes[1] / "keys")
        with ThreadPoolExecutor(3) as pool:
            list(pool.map(Hall.start, sites[1:]))
        yield sites
    finally:
        for site in sites:
            site.kill()


def reading_of(check, station):
    return {
        "check": str(check.entry_id), "station": station, "kind": "gap",
        "outcome": "value", "value": "2.00", "unit": "mm", "goes": "",
        "does_not_go": "", "supersedes": None, "reason": "",
    }  # fmt: skip


def acts_at(site, headers, check, shared):
    """Start checks and take readings at one server; one act is sent to all of them."""
    started = {
        "fitup": str(check.fit_up.entry_id), "finish": "bare",
        "instrument": str(check.instrument.uuid), "temperature": "21.5",
        "in_acceptance_condition": False, "note": "",
    }  # fmt: skip
    receipts = []
    for turn in range(1, EACH + 1):
        receipts.append(put(site, uuid.uuid4(), "check/2", started, headers))
        taken = reading_of(check, str(turn))
        receipts.append(put(site, uuid.uuid4(), "reading/1", taken, headers))
        if turn == EACH // 2:
            put(site, *shared, headers)
    return receipts


def put(site, act, form, said, headers):
    body = {"form": form, "by": "builder", "made_at": MADE_AT, "said": said}
    status, told = site.ask("PUT", f"/api/acts/{act}", body, **headers)
    assert status in (200, 201), told
    return told


@pytest.mark.postgresql
def test_four_servers_on_two_addresses_are_one_shop(halls):
    cookies, token = sign_in_by_hand(halls[0].port)
    headers = {"Cookie": cookies, "X-CSRFToken": token}
    checks = [a_check(EACH) for _site in halls]
    shared = (uuid.uuid4(), "reading/1", reading_of(a_check(3), "1"))
    connection.close()
    with ThreadPoolExecutor(len(halls)) as pool:
        told = pool.map(
            lambda site, check: acts_at(site, headers, check, shared), halls, checks
        )
        receipts = [receipt for some in told for receipt in some]
    # Nothing is lost, nothing is twice; each number is given once, none is left out.
    acts = {receipt["act"] for receipt in receipts} | {str(shared[0])}
    assert len(acts) == 2 * EACH * len(halls) + 1
    assert Entry.objects.filter(act__in=acts).count() == len(acts)
    assert Reading.objects.count() == EACH * len(halls) + 1
    numbers = sorted(Check.objects.values_list("number", flat=True))
    assert numbers == [*range(1, len(numbers) + 1)] and len(numbers) > 4 * EACH
    # The four sealers chain it by themselves, in one chain.
    patience = time.monotonic() + 60
    while Entry.objects.filter(seal__isnull=True).exists():
        assert time.monotonic() < patience
        threading.Event().wait(0.1)
    report = verify()
    assert report.faults == () and report.unsealed == 0
    assert report.position == report.entries == Entry.objects.count()


@pytest.mark.postgresql
def test_guesses_at_four_servers_are_counted_together_and_certificates_hold(halls):
    first, second, third, fourth = halls
    turns = (first, third, second, fourth, first)
    issuer = authority.load(authority.authority_path(first.home / "keys"))
    shown = [site.certificate(issuer) for site in halls]
    assert shown[0] == shown[1] != shown[2] == shown[3]
    right = {"username": "inspector", "password": PASSWORD}
    wrong = {**right, "password": "not-the-password"}
    assert [signs_in(site, wrong) for site in turns] == [403] * 5
    assert [signs_in(site, right) for site in halls] == [429] * 4
    lead = Person.objects.get(username="lead")
    with by_hand():
        lead.pin = ScryptPasswordHasher().encode(PIN, "salt")
        lead.save(update_fields=["pin"])
    tokens = [tablets.enroll(by=lead, name=f"Tablet {n}")[1] for n in range(2)]
    connection.close()
    tried = [
        proves(site, token, "1234")
        for site, token in zip(turns, tokens * 3, strict=False)
    ]
    assert tried == [403] * 5
    assert [proves(site, tokens[1], PIN) for site in halls] == [429] * 4
    assert signs_in(third, {**right, "username": "builder"}) == 200


@pytest.mark.postgresql
def test_of_several_servers_one_makes_the_backup_that_is_due(db):
    with ThreadPoolExecutor(1) as another, nightly.own_turn() as mine:
        assert mine
        assert another.submit(has_its_turn).result() is False
    with ThreadPoolExecutor(1) as another:
        assert another.submit(has_its_turn).result() is True


def has_its_turn():
    try:
        with nightly.own_turn() as mine:
            return mine
    finally:
        connection.close()


def proves(site, token, pin):
    said = {"username": "lead", "pin": pin}
    bearer = {"Authorization": f"Bearer {token}"}
    return site.ask("POST", "/api/prove", said, **bearer)[0]


def signs_in(site, said):
    link = http.client.HTTPConnection(site.address, site.port, timeout=60)
    link.request("GET", "/api/session")
    answer = link.getresponse()
    token = json.loads(answer.read())["csrf"]
    cookie = answer.getheader("Set-Cookie").split(";")[0]
    link.close()
    headers = {"X-CSRFToken": token, "Cookie": cookie}
    return site.ask("POST", "/api/session", said, **headers)[0]
