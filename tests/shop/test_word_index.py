"""The index of words finds what reading all rows finds, and follows what is written."""

import contextlib
import ctypes

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.backends.signals import connection_created
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st

from qa.models import Joint, Nonconformance
from shop.ledger import guards, word_index
from shop.ledger.verify import verify
from shop.models import Part, PartDesign
from shop.queries.paging import search
from shop.serving import database
from tests.around import by_hand
from tests.conftest import make_people
from tests.qa.making import make_design, make_joint, make_part

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
            cursor.execute("DROP INDEX shop_partdesign_words_c")
    late = make_design(people["engineer"], number="LATE-7", name="Late")
    word_index.install()
    assert word_index.few(PartDesign, "late-7", ["number"]) == [late.pk]
    assert word_index.few(PartDesign, "MG2-1301", ["number"]) == [designs[3].pk]


@contextlib.contextmanager
def sqlite_without_trigrams():
    """Connections know no module, as of a SQLite that was built without FTS5."""
    try:
        library = ctypes.CDLL("libsqlite3.so.0")
        drop = library.sqlite3_drop_modules
    except (OSError, AttributeError):
        pytest.skip("this SQLite's modules cannot be taken from it")
    drop.argtypes = [ctypes.c_void_p, ctypes.c_void_p]

    def forget_modules(connection, **_):
        # The first thing that Python keeps of a connection: SQLite's own.
        place = id(connection.connection) + object.__basicsize__
        assert drop(ctypes.c_void_p.from_address(place), None) == 0

    connection.close()
    connection_created.connect(forget_modules)
    try:
        yield
    finally:
        connection_created.disconnect(forget_modules)
        connection.close()


@pytest.mark.skipif(connection.vendor != "sqlite", reason="of SQLite")
@pytest.mark.parametrize("by_migrating", [True, False])
def test_where_sqlite_has_no_trigrams_people_save_and_all_is_found_by_reading(
    committed_db, by_migrating
):
    """The triggers go, for with them no part could be saved; a SQLite that has them
    makes the index anew when the server starts."""
    by = make_people()["engineer"]
    said = []
    with sqlite_without_trigrams():
        with pytest.raises(DatabaseError, match="no such module"):
            make_design(by, number="LATE-7", name="Late")
        if by_migrating:
            call_command("migrate", verbosity=0)
        else:
            database.prepare(said.append)
            assert "has no FTS5" in said[0]
        assert guards.missing() == [] and verify().fault == ""
        make_design(by, number="LATE-8", name="Late")
        assert word_index.few(PartDesign, "late-8", ["number"]) is None
        assert search(PartDesign.objects.all(), "late-8", "number").count() == 1
        guards.install()
        database.prepare(said.append)
        assert len(said) == (0 if by_migrating else 1)
    assert word_index.few(PartDesign, "late-8", ["number"]) == []
    database.prepare(print)
    assert len(word_index.few(PartDesign, "late-8", ["number"])) == 1


def test_a_postgresql_that_keeps_pg_trgm_out_of_sight_is_searched_without(people):
    if connection.vendor != "postgresql":
        pytest.skip("of PostgreSQL")
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("CREATE SCHEMA aside")
        cursor.execute("ALTER EXTENSION pg_trgm SET SCHEMA aside")
        cursor.execute("DROP INDEX shop_partdesign_words_c")
        word_index.install()
        make_design(people["engineer"], number="LATE-9", name="Late")
        assert len(word_index.few(PartDesign, "late-9", ["number"])) == 1
        cursor.execute("ALTER EXTENSION pg_trgm SET SCHEMA public")
        word_index.install()
        cursor.execute("SELECT to_regclass('shop_partdesign_words_c')")
        assert cursor.fetchone()[0]


# Of letters that are no ASCII every case: a K that is a unit's, an s of old prints and
# an i without its dot are others than k, s and i, and two letters are never one.
WRITTEN = {
    "Élan": ("élan", "ÉLAN", "lan"),
    "ölwanne": ("Ölwanne", "ÖLWANNE"),
    "5 \xb5m": ("5 \u03bcm", "5 \u039cM", "\xb5M"),
    "4 M\u2126": ("4 m\u03c9", "m\u03a9"),
    "ŁÓDŹ": ("łódź",),
    "ДВЕРЬ": ("дверь", "вер"),
    "ΠΌΡΤΑ": ("πόρτα",),
    "Maß": ("MAß", "ma"),
    "ÿ*?[^a]-": ("Ÿ*?[", "?[^A]-", "ÿ*"),
    "ä%_\\b": ("Ä%_", "%_\\B", "_\\"),
    "a.é+(x": ("A.É+(X", "É+("),
}
OTHER = (
    "elan",
    "Elan",
    "olwanne",
    "MASS",
    "é%",
    "é_",
    "a*é",
    "É?",
    ".*",
    "ä%%",
    "aÉ+(",
)
ALONE = ("\u212amh", "\u017fill", "\u0131nch")


def test_a_word_is_found_in_any_case_alike_of_few_rows_and_of_many(people):
    by = people["engineer"]
    rows = [
        make_design(by, number=f"N-{n}", name=name) for n, name in enumerate(WRITTEN)
    ]
    rows += [
        make_design(by, number=f"A-{n}", name=name) for n, name in enumerate(ALONE)
    ]

    def found(word):
        some = search(PartDesign.objects.all(), word, "number", "name")
        return set(some.values_list("name", flat=True)) - {"many"}

    asked = [word for name, others in WRITTEN.items() for word in (name, *others)]
    asked += [*OTHER, "kmh", "sill", "inch", *ALONE]
    of_few = {word: found(word) for word in asked}
    for name, others in WRITTEN.items():
        assert all(name in of_few[word] for word in (name, *others)), name
    assert not any(of_few[word] for word in OTHER)
    for name, word in zip(ALONE, ("kmh", "sill", "inch"), strict=True):
        assert of_few[name] == {name} and of_few[word] == set()
    with by_hand():
        PartDesign.objects.bulk_create(
            copied(rows[0], number=f"{word}-{n}", name="many")
            for word in asked
            for n in range(word_index.FEW + 1)
        )
    assert {word: found(word) for word in asked} == of_few
    for lookup, word in (("named", "5 \u039cM"), ("begins", "ÖLW")):
        told = PartDesign.objects.filter(**{f"name__{lookup}": word})
        assert told.get().name == ("ölwanne" if lookup == "begins" else "5 \xb5m")
    assert not PartDesign.objects.filter(name__named="ÖLWANN").exists()
    assert not PartDesign.objects.filter(name__begins="LWAN").exists()
    assert not PartDesign.objects.filter(name__says="É" * 60_000).exists()


def copied(design, **changed):
    columns = {
        f.attname: getattr(design, f.attname) for f in design._meta.concrete_fields
    }
    return PartDesign(**{**columns, "id": None, **changed})


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
            assert f"{model._meta.db_table}_words_c" in rows.order_by().explain()
