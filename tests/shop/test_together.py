"""Short acts that wait at the same time go in by one commit, and stay apart."""

import contextlib
import itertools
import threading

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.models import Q

from shop.ledger import Refused, together, writing
from shop.ledger.group_commit import Together
from shop.models import Counter, Person, Seal, Tablet
from shop.models.prepared_statements import (
    Prepared,
    Slot,
    Slots,
    _spread,
    _with_marks,
    insert,
)


def keep(name, threads, *, then=None):
    """Write a row, remember in which thread, and perhaps fail after it."""
    row = Counter.objects.create(scope=name)
    threads[name] = threading.get_ident()
    if then:
        raise then
    return row.pk


def spoil(threads):
    """What the database refuses at the commit only: a seal of no entry."""
    keep("spoils", threads)
    Seal.objects.bulk_create([Seal(position=77, entry_id=2**40, digest="0" * 64)])


def at_once(works: dict) -> dict:
    """Let all wait for the one writer, then see what each gets: result or error."""
    line, got = Together(), {}

    def one(name, do):
        try:
            got[name] = line.run(do)
        except Exception as error:
            got[name] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=one, args=pair) for pair in works.items()]
    with writing():
        for count, thread in enumerate(threads, start=1):
            thread.start()
            if connection.vendor == "sqlite":
                while len(line._waiting) < count:
                    thread.join(0.005)
    for thread in threads:
        thread.join(30)
    return got


def rows():
    return {*Counter.objects.filter(last=0).values_list("scope", flat=True)}


def test_those_who_wait_are_carried_along_and_one_refusal_is_its_own(committed_db):
    ran = {}
    works = {
        name: lambda name=name: keep(name, ran) for name in ("a", "b", "c", "d", "e")
    }
    works["no"] = lambda: keep("no", ran, then=Refused("No."))
    got = at_once(works)
    assert isinstance(got.pop("no"), Refused)
    assert all(Counter.objects.get(pk=pk).scope == name for name, pk in got.items())
    assert rows() == {"a", "b", "c", "d", "e"}
    if connection.vendor == "sqlite":
        assert len(set(ran.values())) == 1  # all in the transaction of whoever led


def test_who_spoils_the_commit_spoils_it_for_nobody_else(committed_db):
    ran = {}
    works = {"a": lambda: keep("a", ran), "b": lambda: keep("b", ran)}
    got = at_once({**works, "spoils": lambda: spoil(ran)})
    assert isinstance(got["spoils"], IntegrityError)
    assert rows() == {"a", "b"}
    assert not Seal.objects.filter(position=77).exists()


def test_nothing_ends_well_that_the_database_gave_up(committed_db):
    with pytest.raises(DatabaseError, match="gave up"), writing():
        Counter.objects.create(scope="lost")
        transaction.set_rollback(True)
    if connection.vendor == "sqlite":
        # As SQLite does by itself where a disk is full.
        with pytest.raises(DatabaseError, match="gave up"), writing():
            Counter.objects.create(scope="lost too")
            connection.connection.rollback()
    assert not rows()
    assert together(lambda: keep("after", {}))
    assert rows() == {"after"}


BY_SCOPE = Prepared(lambda: Counter.objects.filter(scope=Slot("scope")))
HELD = Prepared(
    lambda: Counter.objects.select_for_update(no_key=True).filter(scope=Slot("scope"))
)
AMONG = Prepared(
    lambda: (
        Counter.objects.filter(Q(scope__in=Slots("scopes")) | Q(last=Slot("last")))
        .order_by("scope")
        .values_list("scope")
    )
)
RAISED = Prepared(lambda: Counter.objects.filter(pk=Slot("pk")), last=Slot("last"))


def test_a_prepared_statement_says_what_the_database_says_now(committed_db):
    insert(counter := Counter(scope="check"))
    assert (counter._state.adding, counter) == (False, Counter.objects.get())
    assert BY_SCOPE.first(scope="check").last == 0
    assert RAISED.update(pk=counter.pk, last=5) == 1
    assert BY_SCOPE.first(scope="check").last == 5
    Counter.objects.update(last=6)
    assert [row.last for row in BY_SCOPE.rows(scope="check")] == [6]
    assert BY_SCOPE.first(scope="' OR 1=1 --") is None
    with pytest.raises(IntegrityError), writing():
        insert(Counter(scope="check"))
    with pytest.raises(transaction.TransactionManagementError):
        HELD.first(scope="check")
    with writing():
        assert HELD.first(scope="check").last == 6


@pytest.mark.parametrize("count", [0, 1, 2, 3, 8, 9, 511, 513, 700])
def test_a_prepared_statement_takes_a_list_of_any_length(db, count):
    Counter.objects.bulk_create(
        Counter(scope=f"{number:03}%s", last=number) for number in range(705)
    )
    scopes = [f"{number:03}%s" for number in range(count)]
    found = [scope for (scope,) in AMONG.rows(scopes=scopes, last=704)]
    assert found == [*scopes, "704%s"]


def kept_texts() -> int:
    return sum(kept.cache_info().currsize for kept in (_spread, _with_marks))


def test_the_text_of_a_list_too_long_for_a_power_of_two_is_not_kept(db):
    AMONG.rows(scopes=["a"] * 300, last=0)
    before = kept_texts()
    for count in range(Slots.MOST + 1, Slots.MOST + 9):
        AMONG.rows(scopes=["a"] * count, last=0)
    assert kept_texts() == before
    AMONG.rows(scopes=["a"] * 257, last=0)  # as many places as 300
    assert kept_texts() == before


def test_integers_of_any_size_go_into_one_plan(db):
    whole = Prepared(lambda: Counter.objects.filter(last__in=Slots("last")))
    before = len(ready_texts())
    sizes = [1, 40_000, 2**31 - 1]
    Counter.objects.bulk_create(Counter(scope=str(one), last=one) for one in sizes)
    for asked in itertools.permutations([*sizes, 2**62], 2):
        found = {row.last for row in whole.rows(last=asked)}
        assert found == {*asked} & {*sizes}
    if connection.vendor == "postgresql":
        assert len(ready_texts()) == before + 1


def ready_texts() -> list[str]:
    """What PostgreSQL has planned for this connection."""
    if connection.vendor != "postgresql":
        return []
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements")
        return [text for (text,) in cursor.fetchall()]


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite plans each anew")
def test_what_somebody_dropped_or_rolled_back_is_planned_again(db):
    count = Prepared(lambda: Counter.objects.filter(scope=Slot("scope")))
    assert count.rows(scope="a") == []
    with contextlib.suppress(ZeroDivisionError), transaction.atomic():
        Counter.objects.create(scope="a", last=1)
        assert [row.last for row in count.rows(scope="a")] == [1]
        raise ZeroDivisionError
    assert count.rows(scope="a") == []
    with connection.cursor() as cursor:
        cursor.execute("DEALLOCATE ALL")
    with pytest.raises(DatabaseError, match="exist"), transaction.atomic():
        count.rows(scope="a")
    assert count.rows(scope="a") == []


def test_a_kept_row_goes_by_no_prepared_statement(db):
    with pytest.raises(TypeError, match="bound"):
        insert(Tablet(name="Bench"))
    with pytest.raises(TypeError, match="bound"):
        Prepared(lambda: Person.objects.filter(pk=Slot("pk")), name="Eve").update(pk=1)
