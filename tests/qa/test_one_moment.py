"""A page reads one state of the record, whatever is saved meanwhile."""

import threading

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import DatabaseError, connection
from django.http import HttpResponse
from django.test import Client, RequestFactory

from shop.ledger import sealer
from shop.ledger.snapshot import snapshot
from shop.middleware import OneMoment
from shop.models import Person
from tests.around import by_hand
from tests.conftest import make_people
from tests.qa.making import make_check, make_joint, read

pytestmark = pytest.mark.both_databases


def meanwhile(number, work, ask):
    """Do work from another connection after the statement of this number of ask.

    Returns whether there are fewer statements, and what ask returned.
    """
    left = number

    def work_and_close():
        work()
        connection.close()

    def count(execute, *statement):
        nonlocal left
        answer = execute(*statement)
        left -= 1
        if left == 0:
            thread = threading.Thread(target=work_and_close)
            thread.start()
            thread.join()
        return answer

    with connection.execute_wrapper(count):
        answer = ask()
    return left > 0, answer


def answers_while_others_measure(address):
    """Ask for a page of a check again and again, one reading coming in between two of
    its statements: the first time after the first, then after the second, to the last.
    """
    engineer = make_people()["engineer"]
    check = make_check(engineer, joint=make_joint(engineer, 60))
    client = Client()
    client.force_login(engineer)
    over, station = False, 0
    while not over:
        station += 1
        # So that the request chains nothing itself: two writers would wait here.
        sealer.seal()
        over, answer = meanwhile(
            station,
            lambda label=station: read(check, label, "gap", "2.3"),
            lambda: client.get(address.format(check.entry_id)),
        )
        yield answer
    assert station > 10
    connection.close()


def test_a_reading_saved_while_a_tablet_asks_is_not_half_there(committed_db):
    for number, answer in enumerate(answers_while_others_measure("/api/checks/{}")):
        there = answer.json()["readings"]
        assert len(there) in (number, number + 1)
        assert all(one["current"] for one in there)


def answered(view, request):
    request.user = AnonymousUser()
    return OneMoment(view).process_view(request, view, (), {}) or view(request)


def test_what_only_reads_cannot_write(committed_db):
    make_people()

    def scribble(request):
        with by_hand():
            Person.objects.update(name="x")
        return HttpResponse()

    with pytest.raises(DatabaseError, match="read.?only"):
        answered(scribble, RequestFactory().get("/"))
    answered(scribble, RequestFactory().post("/"))
    assert set(Person.objects.values_list("name", flat=True)) == {"x"}
    with pytest.raises(DatabaseError, match="read.?only"), snapshot(), by_hand():
        Person.objects.update(name="y")
    connection.close()


def test_a_paper_asked_for_while_others_measure_is_made(committed_db):
    for answer in answers_while_others_measure("/fit-checks/{}/sheet.pdf"):
        assert answer.status_code == 200
        assert answer.content.startswith(b"%PDF")


def test_a_session_that_ended_is_told_to_a_tablet_that_only_asks(committed_db):
    people = make_people()
    check = make_check(people["engineer"])
    client = Client()
    client.force_login(people["builder"])
    people["builder"].set_password("Another-shop-8")
    with by_hand():
        people["builder"].save()
    answer = client.get(f"/api/checks/{check.entry_id}")
    assert (answer.status_code, answer.json()["error"]["code"]) == (401, "sign_in")
    connection.close()
