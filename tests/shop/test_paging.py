"""Pages far down a list: what they cost is what is passed, by keys alone."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.models import PartDesign, Person
from shop.queries.parts import designs
from shop.queries.people import people
from tests.around import by_hand

DESIGNS = 3_000


def numbers(page) -> list[str]:
    return [row.number for row in page.object_list]


@pytest.fixture
def many(db):
    design = {"name": "Rib", "hand": "none", "structural_class": "secondary"}
    with by_hand():
        PartDesign.objects.bulk_create(
            PartDesign(number=f"P-{number:05}", revision="A", **design)
            for number in range(DESIGNS)
        )


def test_every_design_stands_on_one_page_in_its_order(many):
    first, last = designs(), designs(page=DESIGNS // 30)
    every = [
        name
        for page in range(1, first.paginator.num_pages + 1)
        for name in numbers(designs(page=page))
    ]
    assert every == sorted(every) and len(every) == len(set(every)) == DESIGNS
    assert numbers(last) == every[-30:]
    assert last.number == last.paginator.num_pages


def test_a_page_near_the_end_is_read_from_the_end(many):
    """Its rows are those that stand there, and few are passed."""
    with CaptureQueriesContext(connection) as seen:
        page = designs(page=DESIGNS // 30 - 1)
    assert numbers(page) == [f"P-{number:05}" for number in range(2940, 2970)]
    assert "OFFSET 30" in seen.captured_queries[-1]["sql"]


def test_each_of_many_of_one_name_stands_on_one_page(db):
    with by_hand():
        Person.objects.bulk_create(
            Person(username=f"ann{number}", name="Ann", role="builder")
            for number in range(95)
        )
    pages = range(1, people().paginator.num_pages + 1)
    rows = [row.pk for page in pages for row in people(page=page).object_list]
    assert len(rows) == len(set(rows)) == Person.objects.count()


@pytest.mark.skipif(connection.vendor != "sqlite", reason="counts SQLite's own steps")
def test_what_a_list_shows_is_not_joined_to_the_rows_before_its_page(many):
    def steps(page) -> int:
        """Hundreds of steps of the engine that a page takes."""
        counts = []
        connection.connection.set_progress_handler(lambda: counts.append(1), 100)
        designs(page=page)
        connection.connection.set_progress_handler(None, 0)
        return len(counts)

    # A row that is passed by its key takes two or three, one that is joined eleven.
    middle = DESIGNS // 30 // 2
    assert steps(middle) < steps(1) + DESIGNS / 2 * 5 / 100
