"""A clock of the server that jumps is put on record and told to the lead."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shop.ledger import perform, sealer
from shop.management.commands.serve import say_if_clock_is_behind
from shop.models import Entry
from shop.serving import clock

pytestmark = pytest.mark.django_db


class Clocks:
    """Two clocks that run together until somebody sets one."""

    def __init__(self):
        self.seconds, self.set_by = 1000.0, 0.0

    def wall(self):
        return self.seconds + self.set_by

    def running(self):
        return self.seconds


@pytest.fixture
def clocks():
    return Clocks()


@pytest.mark.parametrize("seconds", [3600, -3600, 61])
def test_a_clock_that_was_set_is_seen_once(clocks, seconds):
    watch = clock.ClockWatch(clocks.wall, clocks.running)
    clocks.seconds += 5
    assert watch.look() is None
    clocks.set_by += seconds
    assert watch.look() == timedelta(seconds=seconds)
    assert watch.look() is None


def test_a_clock_that_drifts_as_clocks_do_is_not_told(clocks):
    watch = clock.ClockWatch(clocks.wall, clocks.running)
    for _ in range(1000):
        clocks.seconds += 1
        clocks.set_by += 0.9
        assert watch.look() is None


def test_the_lead_is_told_and_the_ledger_keeps_it(people, client_of):
    clock.record_jump(timedelta(hours=-3))
    entry = Entry.objects.get(form="clock/1")
    assert entry.by is None
    sealer.seal()
    page = client_of("lead").get(reverse("front")).content.decode()
    assert "Clock of the server" in page and "set \N{MINUS SIGN}3 h" in page
    assert "Clock of the server" not in (
        client_of("builder").get(reverse("front")).content.decode()
    )


def test_a_clock_behind_the_newest_record_is_told(people, client_of):
    told = []
    say_if_clock_is_behind(told.append)
    assert told == []
    with perform("clock/1", by=None, said={"seconds": 0}) as act:
        act.now = timezone.now() + timedelta(hours=5)
    say_if_clock_is_behind(told.append)
    assert "300 minutes behind the newest record" in told[0]
    page = client_of("lead").get(reverse("front")).content.decode()
    assert "behind the newest record by 5 h" in page


def test_what_is_done_each_second_does_not_stop_the_sealing(people):
    seen = []
    running = sealer.Sealer(pause=0.01, also=lambda: seen.append(1) or running.stop())
    running.run()
    assert seen == [1]
