"""The index of words finds what reading all rows finds, and follows what is written."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.models import Joint, Nonconformance
from shop.ledger import word_index
from shop.models import Part, PartDesign
from shop.queries.paging import search
from shop.serving import database
from tests.around import by_hand
from tests.qa.making import make_design, make_joint, make_part

pytestmark = pytest.mark.django_db
NAMES = ("Door left", "Door right", "50 % rib", 'O\'Ring "A"', "a_b\\c", "x*y (AND) -z")


def by_reading(model, word, names):
    found = model.objects.filter(word_index.says(word, names))
    return set(found.values_list("pk", flat=True))


@pytest.fixture
def designs(people):
    return [
        make_design(people["engineer"], number=f"MG2-1{n}01-J-10{n}", name=name)
        for n, name in enumerate(NAMES)
    ]


def test_a_word_is_found_wherever_it_stands_and_as_it_is_spelled_now(designs):
    names = ("number", "name")
    texts = [text for row in designs for text in (row.number, row.name)]
    parts = st.sampled_from(texts).flatmap(
        lambda text: st.builds(
            lambda at, n: text[at : at + n], st.integers(0, 12), st.integers(3, 9)
        )
    )

    @settings(max_examples=60, deadline=None)
    @given(st.one_of(parts, parts.map(str.upper), st.text(max_size=5)))
    def the_same(word):
        if "\0" in word:
            return
        told = word_index.few(PartDesign, word, names)
        assert told is None or set(told) >= by_reading(PartDesign, word, names)
        assert (told is None) == (len(word) < word_index.SHORTEST)

    the_same()
    assert word_index.few(PartDesign, "j-103", names) == [designs[3].pk]
    assert word_index.few(PartDesign, "j-103", ["name"]) == []
    with by_hand():
        designs[3].number = "MG2-renamed"
        designs[3].save()
        designs[0].delete()
    assert word_index.few(PartDesign, "j-103", names) == []
    assert word_index.few(PartDesign, "RENAMED", names) == [designs[3].pk]
    assert word_index.few(PartDesign, "door", names) == [designs[1].pk]


def test_what_stood_there_before_the_index_is_in_it(designs, people):
    """As after a table was made anew, when SQLite has dropped its triggers."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER shop_partdesign_words_insert")
        else:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute("DROP INDEX shop_partdesign_words")
    late = make_design(people["engineer"], number="LATE-7", name="Late")
    word_index.install()
    assert word_index.few(PartDesign, "late-7", ["number"]) == [late.pk]
    assert word_index.few(PartDesign, "MG2-1301", ["number"]) == [designs[3].pk]


def test_where_sqlite_has_no_trigrams_people_save_and_all_is_found_by_reading(people):
    """The triggers go, for with them no part could be saved; a SQLite that has them
    makes the index anew when the server starts."""
    if connection.vendor != "sqlite":
        pytest.skip("of SQLite")
    assert word_index.follow_no_more() and not word_index.follow_no_more()
    late = make_design(people["engineer"], number="LATE-8", name="Late")
    assert word_index.few(PartDesign, "late-8", ["number"]) == []
    assert word_index.knows_trigrams()
    database.prepare(print)
    assert word_index.few(PartDesign, "late-8", ["number"]) == [late.pk]


def test_a_word_that_stands_nowhere_reads_no_rows_and_a_common_one_is_found(people):
    by = people["engineer"]
    rows = [make_part(by, serial=f"S-{n:04}") for n in range(3)]
    make_joint(by, 3)
    columns = ("serial", "design__number", "design__name")
    with CaptureQueriesContext(connection) as seen:
        assert not search(Part.objects.all(), "nowhere", *columns).exists()
    read = [q["sql"] for q in seen.captured_queries]
    assert connection.vendor == "postgresql" or all("LIKE" not in sql for sql in read)
    design = rows[0].design
    with by_hand():
        more = [
            Part(serial=f"Q-{n:04}", design=design) for n in range(word_index.FEW + 1)
        ]
        Part.objects.bulk_create(more)
    assert word_index.few(Part, "Q-0", ["serial"]) is None
    assert search(Part.objects.all(), "q-0", *columns).count() == len(more)
    assert search(Part.objects.all(), "q-0199", *columns).get() == more[199]


def test_the_database_uses_it(people):
    if connection.vendor == "sqlite":
        pytest.skip("asked by name there: nothing is to be chosen")
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        for model in (Part, Joint, Nonconformance):
            rows = model.objects.filter(word_index.says("j-101", model.searched))
            assert f"{model._meta.db_table}_words" in rows.order_by().explain()
