"""What the server tells of itself: a log without secrets, a page, Today, a word."""

import contextlib
import http.client
import json
import logging
import os
from datetime import UTC, datetime, timedelta
from urllib.parse import urlencode

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from django.urls import reverse
from django.utils import timezone

from shop.ledger import perform, sealer
from shop.queries import server
from shop.request_log import hide, logged
from shop.serving import authority, logs
from tests.conftest import PASSWORD
from tests.faults.test_outbox_faults import sign_in_by_hand

SECRETS = ("S3cret-of-ann", "482917", "t0ken-of-a-tablet", "s3ssion-of-ann", "an0ther")


def lines_in(path):
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


# --------------------------------------------------------------------- the log


def test_each_request_and_each_act_has_a_line_that_tells_no_secret(live_site):
    cookies, token = sign_in_by_hand(live_site.port)
    link = http.client.HTTPConnection("127.0.0.1", live_site.port)
    said = {"pin": "482917", "again": "482917", "password": PASSWORD}
    form = urlencode({**said, "csrfmiddlewaretoken": token})
    kind = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": cookies}
    link.request("POST", reverse("own_pin"), form, kind)
    answer = link.getresponse()
    answer.read()
    assert answer.status == 302
    link.request("GET", f"/no-such-page/?token={token}", headers=kind)
    link.getresponse().read()
    link.close()
    live_site.stop()
    log = live_site.home / "log" / "fayline.log"
    told = lines_in(log)
    mine = [one for one in told if one.get("request") == answer.headers["X-Request"]]
    act, request = ([o for o in mine if o["message"] == m] for m in ("act", "request"))
    assert [(one["form"], one["by"]) for one in act] == [("pin/1", "builder")]
    [line] = request
    assert (line["method"], line["path"]) == ("POST", reverse("own_pin"))
    assert (line["status"], line["by"]) == (302, "builder") and line["ms"] > 0
    whole = log.read_text("utf-8")
    session = cookies.split("=")[-1]
    for secret in (PASSWORD, "482917", token, session):
        assert secret not in whole
    if os.name != "nt":
        assert log.stat().st_mode & 0o077 == 0


def test_what_was_sent_in_secret_is_taken_out_of_an_errors_own_words(
    tmp_path, settings
):
    settings.LOG = str(tmp_path)
    posted = {"password": SECRETS[0], "pin": SECRETS[1], "caption": "left door"}
    as_json = [{"said": {"new": SECRETS[4], "note": "right door"}}]
    headers = {"Authorization": f"Bearer {SECRETS[2]}"}
    make = RequestFactory(headers=headers)
    make.cookies["sessionid"] = SECRETS[3]

    def fail(request):
        sent = [*request.POST.values()] or [request.body.decode()]
        said = [*sent, SECRETS[2], SECRETS[3]]
        try:
            raise ValueError(f"{said} cannot be read")
        except ValueError:
            logging.getLogger("a.test").exception("a fault over %s", said)
        return HttpResponse("")

    logs.start()
    try:
        answers = [
            logged(fail)(make.post("/", posted)),
            logged(fail)(make.put("/", json.dumps(as_json))),
        ]
    finally:
        logs.stop()
    form, body = lines_in(tmp_path / "errors.log")
    assert [form["request"], body["request"]] == [a["X-Request"] for a in answers]
    for secret in SECRETS[:4]:
        assert secret not in json.dumps(form)
    for secret in SECRETS[2:]:
        assert secret not in json.dumps(body)
    assert "left door" in form["error"] and "right door" in body["message"]


def test_each_line_is_put_together_once_and_no_file_grows_beyond_its_limit(tmp_path):
    put_together = []

    class Counted(logs.Lines):
        def format(self, record):
            put_together.append(record)
            return super().format(record)

    path = tmp_path / "a.log"
    handler = logs.Kept(path, maxBytes=1_000, backupCount=2, encoding="utf-8")
    handler.setFormatter(Counted())
    for number in range(30):
        handler.handle(logging.makeLogRecord({"msg": f"{number} ünd more"}))
    handler.close()
    assert len(put_together) == 30
    files = [tmp_path / f"a.log{end}" for end in (".2", ".1", "")]
    assert {*tmp_path.iterdir()} == {*files}
    assert all(500 < file.stat().st_size <= 1_000 for file in files[:2])
    kept = [line["message"] for file in files for line in lines_in(file)]
    assert kept == [f"{n} ünd more" for n in range(30 - len(kept), 30)]


def test_a_log_whose_file_could_not_be_put_away_is_written_again_once_it_can(tmp_path):
    path = tmp_path / "a.log"
    handler = logs.Kept(path, maxBytes=1_000, backupCount=1, encoding="utf-8")
    in_the_way = tmp_path / "a.log.1"
    in_the_way.mkdir()
    (in_the_way / "file").touch()
    for number in range(30):
        handler.handle(logging.makeLogRecord({"msg": f"{number:02} {'.' * 60}"}))
    before = path.read_text()
    assert len(before) <= 1_000 and "29" not in before
    (in_the_way / "file").unlink()
    in_the_way.rmdir()
    handler.handle(logging.makeLogRecord({"msg": "later" * 30}))
    handler.close()
    assert path.read_text() == f"{'later' * 30}\n" and in_the_way.read_text() == before


def test_what_is_read_after_the_first_line_is_hidden_too():
    def tell(request):
        told = [hide("482917 and 771204")]
        for _ in range(2):
            _ = request.body
            told.append(hide("482917 and 771204"))
        return HttpResponse(" | ".join(told))

    bodies = ({"pin": "482917"}, {"p\u0131n": "1", "PIN": "482917"}, {"note": "482917"})
    for body, hidden in zip(bodies, (True, True, False), strict=True):
        answer = logged(tell)(RequestFactory().put("/", json.dumps(body)))
        plain, *after = answer.content.decode().split(" | ")
        assert plain == "482917 and 771204"
        assert after == ["… and 771204" if hidden else plain] * 2


def test_a_full_disk_loses_lines_of_the_log_and_nothing_else(capsys):
    if not os.path.exists("/dev/full"):
        pytest.skip("no device that is always full")
    handler = logs.Kept("/dev/full", maxBytes=100)
    handler.handle(logging.makeLogRecord({"msg": "x" * 200}))
    assert capsys.readouterr() == ("", "")
    with contextlib.suppress(OSError):  # what could not be written is still to be
        handler.close()


# ------------------------------------------------------- pages, Today, addresses


@pytest.fixture
def failing_server(people, tmp_path, settings, monkeypatch):
    """A server of which everything that can be told calls for somebody."""
    settings.LOG = str(tmp_path)
    now = datetime.now(UTC)
    told = [
        {"at": f"{now - timedelta(hours=1):%FT%TZ}", "message": "a fault", "x": 1},
        {"at": f"{now - timedelta(hours=25):%FT%TZ}", "message": "an old fault"},
    ]
    lines = ["cut in the middle", *map(json.dumps, told)]
    (tmp_path / "errors-2.log").write_text("\n".join(lines), "utf-8")
    long_ago = now - authority.SERVER_LIFE + timedelta(days=20)
    issuer = authority.make_authority("Shop", [], long_ago)
    ending = authority.make_server(issuer, ["localhost"], long_ago)
    authority.save(tmp_path / "server.pem", ending)
    monkeypatch.setattr(server, "CERTIFICATES", [tmp_path / "server.pem"])
    monkeypatch.setattr(server, "LOW_BYTES", 10**18)
    sealer.seal()
    with perform("work/1", by=people["lead"], said={}) as act:
        act.now = timezone.now() - timedelta(minutes=5)


def test_the_lead_is_told_what_is_full_old_or_failing(failing_server, client_of):
    words = ("disk is nearly full", "wait for their seal", "certificate ends")
    lead, builder = (
        client_of(role).get(reverse("front")).content.decode()
        for role in ("lead", "builder")
    )
    for told in (*words, "log tells of errors", "1 line in a day"):
        assert told in lead and told not in builder
    details = client_of("lead").get(reverse("health_details")).json()
    concerns = ["disk", "sealer", "certificate", "mistakes", "backup"]
    assert details["concerns"] == concerns
    assert details["errors_of_a_day"] == 1
    assert details["sealed"]["waiting"] == 1 and details["sealed"]["waiting_s"] > 299
    page = client_of("lead").get(reverse("server")).content.decode()
    assert "a fault" in page and "an old fault" not in page
    assert page.count('class="caution"') == 3


def test_a_disk_that_is_full_is_not_called_nearly_full(client_of, monkeypatch):
    full, nearly = "The disk is full: nothing can be saved", "disk is nearly full"
    lead = client_of("lead")

    def words() -> list[list[str]]:
        pages = [
            lead.get(reverse(name)).content.decode() for name in ("front", "server")
        ]
        return [[text for text in (full, nearly) if text in page] for page in pages]

    monkeypatch.setattr(server, "LOW_BYTES", 10**18)
    assert words() == [[nearly], [nearly]]
    monkeypatch.setattr(server, "FULL_BYTES", 10**18)
    assert words() == [[full], [full]]


def test_who_is_not_signed_in_learns_a_word_and_no_more(failing_server, client):
    answer = client.get("/health")
    assert (answer.status_code, answer.content) == (200, b"ok")
    assert client.get(reverse("health_details")).status_code == 302
    sealer.seal()
    assert server.unsealed_for() == timedelta(0)
