"""A page reads one state of the record, whatever is saved meanwhile."""

import threading

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import DatabaseError, connection
from django.http import HttpResponse
from django.test import Client, RequestFactory

from shop.ledger.snapshot import snapshot
from shop.middleware import one_moment
from shop.models import Person
from tests.conftest import make_people
from tests.qa.making import make_check, make_joint, read

pytestmark = pytest.mark.both_databases


class Meanwhile:
    """Does something from another connection after the statement of this number."""

    def __init__(self, number, work):
        self.left, self.work = number, work

    def __call__(self, execute, *statement):
        answer = execute(*statement)
        self.left -= 1
        if self.left == 0:
            thread = threading.Thread(target=self.work)
            thread.start()
            thread.join()
        return answer


def test_a_reading_saved_while_a_tablet_asks_is_not_half_there(committed_db):
    engineer = make_people()["engineer"]
    check = make_check(engineer, joint=make_joint(engineer, 60))
    client = Client()
    client.force_login(engineer)

    def ask(number, station):
        def measure():
            read(check, station, "gap", "2.3")
            connection.close()

        meanwhile = Meanwhile(number, measure)
        with connection.execute_wrapper(meanwhile):
            answer = client.get(f"/api/checks/{check.entry_id}")
        return meanwhile.left > 0, answer.json()["readings"]

    over, station = False, 0
    while not over:
        station += 1
        over, there = ask(station, station)
        assert [one for one in there if not one["current"]] == []
    # Between any two statements one was saved.
    assert station > 10
    assert len(there) == station - 1
    connection.close()


def test_what_only_reads_cannot_write(committed_db):
    make_people()

    def scribble(request):
        Person.objects.update(name="x")
        return HttpResponse()

    request = RequestFactory().get("/")
    request.user = AnonymousUser()
    with pytest.raises(DatabaseError, match="read.?only"):
        one_moment(scribble)(request)
    one_moment(scribble)(RequestFactory().post("/"))
    assert set(Person.objects.values_list("name", flat=True)) == {"x"}
    with pytest.raises(DatabaseError, match="read.?only"), snapshot():
        Person.objects.update(name="y")
    connection.close()
