"""Whatever is asked or sent, the site answers: never a 500, never nonsense kept.

Every url of the resolver is asked with odd ids and odd queries; every form that it
shows is sent with each of its fields odd in turn. What was accepted is looked at: the
page it leads to opens, and no number and no text is kept that cannot be.
"""

import functools
import html.parser
import json
import os
import re
import sys
import urllib.parse
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from django.core.handlers.wsgi import WSGIRequest
from django.db import connection, transaction
from django.http import QueryDict
from django.test import Client
from django.urls import get_resolver, reverse

from shop.models import Entry, Person, Role
from tests.test_permissions import OPEN, TABLET, addresses, contract

POSTGRESQL = connection.vendor == "postgresql"
HUGE = ("922337203685", "9223372036854775808", "9" * 30, "9" * 5000)
NO_NUMBER = ("NaN", "-NaN", "Infinity", "1e999", "1e-999", "²", "½", "0x10", "1_000")
NO_DATE = ("0001-01-01", "9999-12-31", "2026-02-30", "0001-01-01T00:00")
NUL = ("\0", "a\0b")
ODD = (
    "", "-1", "0", "-0", "٣", "'\"<b>", "=1+1", "\u202e", "x" * 5000, "a\nb", "../..",
    *HUGE, *NO_NUMBER, *NO_DATE, *NUL,
)  # fmt: skip
# As no library writes an address: half a character, a broken escape, a NUL.
RAW = ("%ed%a0%80", "%ff", "%", "%00", "%0a", "%f0%28%8c%28")
IDS = ("0", "2147483648", "9223372036854775808", "9" * 30, "-1", "NaN", "x" * 300)
PARTS = 4
# Odd values per field of a form, others for the next field. More of them:
# FAYLINE_ODD_VALUES=20 python3 manage.py test tests/test_odd_values.py
# PostgreSQL meets every sixth field with one, of those that an engine may mind: what is
# held up before any is asked, the other half has tried, and each is there for many.
EACH_FIELD = int(os.environ.get("FAYLINE_ODD_VALUES", 0)) or (
    1 / 6 if POSTGRESQL else 1
)
MINDED = (*HUGE, *NO_NUMBER[:5], *NO_DATE, *NUL, "\u202e", "x" * 5000)
TRIED = MINDED if POSTGRESQL else ODD
TURNS = 1 if POSTGRESQL else 3  # queries of a page in which every field is odd
# What is no text at all is held up before any database is asked; a NUL is text.
UNREADABLE = ("%00",) if POSTGRESQL else RAW
# What no address of a number lets through is not found before any is asked, either.
TRIED_IDS = IDS[1:3] if POSTGRESQL else (*IDS, "é")
# How far to look for a row whose page shows its form, which in the demo each does on
# the first that is there: after so many that are not, no other is.
ROWS, MISSING = 10, 5

pytestmark = pytest.mark.slow

TREE = Path(__file__).resolve().parents[1]
every_part = pytest.mark.parametrize("part", range(PARTS))


def routes(patterns=None, before="") -> dict[str, str]:
    """Every url name with its route: "tooling/<int:pk>/"."""
    found = {}
    for pattern in patterns or get_resolver().url_patterns:
        here = before + str(pattern.pattern)
        if hasattr(pattern, "url_patterns"):
            found |= routes(pattern.url_patterns, here)
        elif pattern.name:
            found.setdefault(pattern.name, here)
    return found


def of_part(names, part: int) -> list[str]:
    return [n for n in sorted(names) if zlib.crc32(n.encode()) % PARTS == part]


def some(values, about: str, count: float = EACH_FIELD) -> list:
    """A few of the values, others for another `about`, always the same; of a count
    below 1: one for so many of all that is asked about."""
    start = zlib.crc32(about.encode())
    count = int(count + (start >> 8) % 1000 / 1000)
    return [values[(start + 7 * k) % len(values)] for k in range(count)]


def client_for(name: str) -> Client:
    """Signed in as somebody who may open a url."""
    who = contract()[name]
    order = (Role.ENGINEER, Role.LEAD, Role.BUILDER)
    role = next((r for r in order if who in (OPEN, TABLET) or r in who), Role.LEAD)
    client = Client(raise_request_exception=False)
    client.force_login(Person.objects.filter(role=role).order_by("pk")[0])
    return client


def asked(client, address: str):
    with transaction.atomic():
        answer = client.get(address)
        transaction.set_rollback(True)
    return answer


def broken(answer, what: str) -> list[str]:
    return [f"{what}: {answer.status_code}"] if answer.status_code >= 500 else []


# ------------------------------------------------------------------- addresses


def with_argument(route: str, address: str, number: int, value: str) -> str:
    """An address of a route with its argument of this number written otherwise."""
    pieces = re.split(r"<[^>]*>", route)
    shape = "([^/]+)".join(map(re.escape, pieces))
    values = list(re.fullmatch(shape, address.lstrip("/")).groups())
    values[number] = value
    return "/" + "".join(a + b for a, b in zip(pieces, [*values, ""], strict=True))


@every_part
def test_no_odd_id_breaks_a_page(demo_db, part):
    """What the converter of an argument ("<int:") lets through to no page is asked for
    once: after that it is the same answer, of no page."""
    filled, faults, leads_nowhere = addresses(), [], set()
    for name in of_part(routes(), part):
        client, route = client_for(name), routes()[name]
        kinds = [key.partition(":")[0] for key in re.findall(r"<[^>]*>", route)]
        for number, kind in enumerate(kinds):
            for value in (*TRIED_IDS, *UNREADABLE):
                if (kind, value) in leads_nowhere:
                    continue
                address = with_argument(route, filled[name], number, value)
                answer = asked(client, address)
                if not answer.wsgi_request.resolver_match:
                    leads_nowhere.add((kind, value))
                    if answer.status_code != 404:
                        faults.append(f"{name} {address[:80]}: no page, and no 404")
                faults += broken(answer, f"{name} {address[:80]}")
    assert "\n".join(faults) == ""


class Watched(QueryDict):
    """What stands in an address; tells whether a page looks at it, as a middleware does
    at every one."""

    looked_at = False

    def _look(self):
        Watched.looked_at |= "middleware" not in sys._getframe(2).f_code.co_filename

    def __len__(self):
        self._look()
        return super().__len__()

    def __iter__(self):
        self._look()
        return super().__iter__()

    def __contains__(self, key):
        self._look()
        return super().__contains__(key)

    def __getitem__(self, key):
        self._look()
        return super().__getitem__(key)

    def getlist(self, key, default=None):
        self._look()
        return super().getlist(key, default)

    def lists(self):
        self._look()
        return super().lists()


@pytest.fixture
def watched(monkeypatch):
    """watched(client, address) gives the answer, and whether the page looks at what an
    address may say behind its question mark."""

    def ask(client, address):
        Watched.looked_at = False
        with monkeypatch.context() as during:
            during.setattr(WSGIRequest, "GET", property(lambda _request: Watched()))
            answer = asked(client, address)
        return answer, Watched.looked_at

    return ask


@functools.cache
def asked_for() -> set[str]:
    """Names that some view looks for in an address."""
    found = set()
    for path in [*TREE.glob("*/views/*.py"), *TREE.glob("*/forms/*.py")]:
        text = path.read_text()
        found |= set(re.findall(r"""GET(?:\.get\(|\.getlist\(|\[)"(\w+)""", text))
        found |= set(re.findall(r"""asked\.get(?:list)?\("(\w+)""", text))
    return found


def odd_queries(name: str, names: list[str], looks: bool) -> Iterator[str]:
    """Some queries for a page: each field of its forms has another odd value in each of
    them; then all that any view asks for has one. A page that looks at none of what may
    be asked for cannot answer otherwise to the next."""
    if not looks:
        (value,) = some(TRIED, name, 1)
        yield urllib.parse.urlencode(dict.fromkeys(asked_for(), value))
        return
    for turn in range(max(int(EACH_FIELD), TURNS) if names else 0):
        odd = {key: some(TRIED, f"{name} {key}", turn + 1)[-1] for key in names}
        yield urllib.parse.urlencode(odd)
    for raw in some(UNREADABLE, name, 1):
        yield "&".join(f"{key}={raw}" for key in names or ["q"])
    odd = [] if POSTGRESQL and names else some(TRIED, name, TURNS)
    for value in (*odd, *some(HUGE, name, 1)):
        every = dict.fromkeys([*names, *asked_for()], value)
        yield urllib.parse.urlencode(every)
    if not POSTGRESQL:  # refused before a database is asked
        yield "&".join(f"q{n}=1" for n in range(1200))


@every_part
def test_no_odd_query_breaks_a_page(demo_db, watched, part):
    filled, faults = addresses(), []
    for name in of_part(routes(), part):
        client, address = client_for(name), filled[name]
        answer, looks = watched(client, address)
        shown = [f for f in forms_of(answer) if f.method == "get"]
        names = sorted({one for form in shown for one in form.fields})
        for query in odd_queries(name, names, looks or bool(names)):
            answer = asked(client, f"{address}?{query}")
            faults += broken(answer, f"{name} {query[:80]}")
    assert "\n".join(faults) == ""


# ----------------------------------------------------------------------- forms


@dataclass
class Field:
    """A field as the page shows it; `number` when only a number can be meant."""

    value: str = ""
    kind: str = "text"
    options: list[str] = field(default_factory=list)
    required: bool = False

    @property
    def number(self) -> bool:
        return self.kind in ("number", "decimal", "numeric")


@dataclass
class Form:
    action: str
    method: str
    fields: dict[str, Field] = field(default_factory=dict)
    led_to: set[str] = field(default_factory=set)

    def filled(self) -> dict[str, str]:
        """What a person in a hurry would send."""
        return {
            name: one.value or plausible(name, one) for name, one in self.fields.items()
        }


def plausible(name: str, one: Field) -> str:
    if one.options:
        return next(filter(None, one.options), "")
    if not one.required:
        return ""
    fill = {"number": "1", "decimal": "1", "numeric": "1", "date": "2026-11-20"}
    return fill.get(one.kind, "2026-11-20T10:00" if "local" in one.kind else "x1")


class Reader(html.parser.HTMLParser):
    """Reads the forms of a page."""

    def __init__(self):
        super().__init__()
        self.forms, self.form, self.choice = [], None, None

    def handle_starttag(self, tag, pairs):
        said = dict(pairs)
        if tag == "form":
            method = (said.get("method") or "get").lower()
            self.form = Form(said.get("action") or "", method)
            self.forms.append(self.form)
        if self.form is None or said.get("name") == "csrfmiddlewaretoken":
            return
        if tag in ("input", "textarea", "select", "button") and said.get("name"):
            self._field(tag, said)
        if tag == "option" and self.choice:
            value = said.get("value") or ""
            self.choice.options.append(value)
            if "selected" in said:
                self.choice.value = value

    def _field(self, tag, said):
        kind = said.get("inputmode") or said.get("type") or tag
        one = self.form.fields.setdefault(said["name"], Field(kind=kind))
        one.required |= "required" in said
        if kind in ("radio", "checkbox"):
            one.options.append(said.get("value") or "on")
            if "checked" in said:
                one.value = said.get("value") or "on"
        elif tag != "button" or not one.value:
            one.value = one.value or said.get("value") or ""
        self.choice = one if tag == "select" else self.choice
        if tag == "select":
            one.kind = "select"

    def handle_endtag(self, tag):
        if tag == "form":
            self.form = None
        if tag == "select":
            self.choice = None


def forms_of(answer) -> list[Form]:
    if answer.status_code != 200 or "text/html" not in answer["Content-Type"]:
        return []
    reader = Reader()
    page = answer.content.decode()
    # What stands on every page around it is read on the first of all.
    if answer.wsgi_request.path != reverse("front"):
        page = page.partition("<main")[2].partition("</main")[0]
    reader.feed(page)
    last_words = reverse("sign_out")  # the end of the session that sends it
    return [form for form in reader.forms if form.action != last_words]


def with_forms(name: str, client, address: str) -> list[tuple[str, Form]]:
    """The forms that a url shows, at its first row that shows any."""
    route = routes()[name]
    tried = [address]
    if "<int:pk>" in route:
        number = re.findall(r"<[^>]*>", route).index("<int:pk>")
        tried += [with_argument(route, address, number, str(n)) for n in range(2, ROWS)]
    missing = 0
    for one in tried:
        answer = asked(client, one)
        missing = missing + 1 if answer.status_code == 404 else 0
        if missing == MISSING:
            break
        found = [f for f in forms_of(answer) if f.method == "post"]
        if found:
            return [(urllib.parse.urljoin(one, f.action or one), f) for f in found]
        if answer.status_code == 405:
            break  # it only takes one
        if answer.status_code == 200 and "text/html" not in answer["Content-Type"]:
            break  # a paper, a file: no row of it has a form
    return []


@every_part
def test_no_odd_value_in_a_form_breaks_it_or_is_kept(demo_db, part):
    filled, faults, accepted = addresses(), [], 0
    for name in of_part(routes(), part):
        client = client_for(name)
        for address, form in with_forms(name, client, filled[name]):
            odd = [(k, v) for k in form.fields for v in some(TRIED, f"{name} {k}")]
            if POSTGRESQL and not odd:
                continue
            for key, value in [(None, ""), *odd, (..., some(TRIED, name, 1)[0])]:
                kept, found = send(client, address, form, key, value)
                accepted += kept and key is None
                faults += found
    assert "\n".join(faults) == ""
    assert accepted, "no form was filled well enough to be accepted"


def send(client, address: str, form: Form, key, value: str) -> tuple[bool, list[str]]:
    """Send a form with one field odd (`...`: all of them); whether it was accepted, and
    what is wrong with that. It is taken back afterwards."""
    data = form.filled()
    odd = form.fields if key is ... else {key: form.fields[key]} if key else {}
    data |= dict.fromkeys(odd, value)
    what = f"POST {address} {'all' if key is ... else key}={value[:24]!r}"
    newest = Entry.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
    with transaction.atomic():
        answer = client.post(address, data)
        faults = broken(answer, what)
        kept = answer.status_code in (302, 303)
        if kept:
            where = urllib.parse.urljoin(address, answer["Location"])
            bodies = Entry.objects.filter(pk__gt=newest).values_list("body", flat=True)
            # Where nothing came on record, a page is as it was before; where a text
            # did, it shows that.
            counts = bodies and not all(one.kind == "text" for one in odd.values())
            if counts or where not in form.led_to:
                faults += broken(client.get(where), f"{what}, then {where}")
            form.led_to.add(where)
            faults += [f"{what}: {w}" for body in bodies for w in nonsense(body)]
            if bodies:
                # How a form was shown, and where it leads on, is not kept.
                faults += [f"{what} was accepted"] * any(
                    cannot_be(one, value)
                    for name, one in odd.items()
                    if not name.startswith("initial-") and name != "next"
                )
        transaction.set_rollback(True)
    return kept, faults


def cannot_be(one: Field, value: str) -> bool:
    """Whether no such field can mean this."""
    if one.number:
        return value in HUGE or value in NO_NUMBER[:6] or value in NUL
    if "date" in one.kind:
        return value in (*NO_DATE, *HUGE, *NO_NUMBER, *NUL)
    if one.kind in ("checkbox", "password"):  # is there or not; is as long as it is
        return value in NUL and one.kind == "password"
    if one.options:
        meant = str(int(value)) if value.isdecimal() and len(value) < 99 else value
        return bool(meant) and meant not in one.options
    return value in NUL or (len(value) > 4000 and one.kind != "textarea")


def nonsense(body: str) -> list[str]:
    """What no entry of the ledger may say."""
    found = ["NUL"] if "\\u0000" in body else []

    def look(value):
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            for one in value:
                look(one)
        elif isinstance(value, int | float) and abs(value) > 10**15:
            found.append(f"the number {value}")

    look(json.loads(body))
    return found
