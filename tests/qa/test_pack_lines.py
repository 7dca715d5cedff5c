"""What two issues of a pack tell otherwise: which rows belong together, and what of two
values that read the same differs."""

import pytest

from qa.rules import pack_lines


def record(form="pack/2", **sections) -> dict:
    return {"form": form, "sections": sections, "characteristics": []}


def told(was: dict, now: dict) -> list[tuple[str, str, str]]:
    changes = pack_lines.compare(was, now).changes
    return [(change.name, change.before, change.now) for change in changes]


def weighed(*notes: str, **more) -> list[dict]:
    """Weighings of one day, which are called alike."""
    name = {"serial": "MG-1", "stage": "finished", "day": "2026-05-01"}
    return [name | {"note": note} | more for note in notes]


NAME = "weight MG-1, finished, 2026-05-01"


def test_of_rows_called_alike_those_that_are_the_same_belong_together():
    """By position the first that goes would change every one after it."""

    def changed(was, now, form="pack/2"):
        before = record(form, weights={"weighings": was})
        return told(before, record(weights={"weighings": now}))

    gone = changed(weighed("a", "b", "c"), weighed("b", "c"))
    assert gone == [(NAME, "note: a", "not there")]
    come = changed(weighed("b", "c"), weighed("a", "b", "c"))
    assert come == [(NAME, "not there", "note: a")]
    assert changed(weighed("a", "b"), weighed("b", "a")) == []
    # The rest by position, each under a name of its own.
    assert changed(weighed("a", "b", "c"), weighed("x", "b", "y", "z")) == [
        (NAME, "note: a", "note: x"),
        (f"{NAME} (3)", "note: c", "note: y"),
        (f"{NAME} (4)", "not there", "note: z"),
    ]
    # Also where one form tells more of each than the other.
    assert changed(weighed("a", "b", by="Bea"), weighed("b"), "pack/1") == [
        (NAME, "note: a; by: Bea", "not there")
    ]


def test_a_row_that_is_renamed_by_blanks_alone_stays_the_same_row():
    def items(*names: tuple[int, str]) -> dict:
        rows = [{"label": name, "title": f"of {number}"} for number, name in names]
        return record(nonconformances=rows)

    was, now = items((1, "NC-7 tip")), items((1, " NC-7\u00a0 tip"))
    ((_name, before, after),) = told(was, now)
    assert before == "label: NC-7 tip" and after.endswith("(only spaces differ)")
    # Of two names that differ by blanks each keeps its own row.
    was, now = items((1, "a b"), (2, "a  b")), items((3, "a  b"), (1, "a b"))
    assert told(was, now) == [("a  b", "title: of 2", "title: of 3")]
    assert len(told(items((1, "ab")), items((1, "a b")))) == 2


@pytest.mark.parametrize(
    ("was", "now", "before", "after"),
    [
        (None, "", "– (nothing stated)", "– (a text, empty)"),
        ("", [], "– (a text, empty)", "– (a list, empty)"),
        (1, "1", "1 (a number)", "1 (a text)"),
        ("a", ["a"], "a (a text)", "a (a list)"),
    ],
)
def test_of_two_values_that_read_the_same_each_says_what_it_is(was, now, before, after):
    rows = ([{"code": "FG-01", "due": value}] for value in (was, now))
    pair = told(*(record(instruments=row) for row in rows))
    due = "calibration due"
    assert pair == [("instrument FG-01", f"{due}: {before}", f"{due}: {after}")]


def test_a_fact_that_was_not_told_at_all_is_told_from_one_that_is_empty():
    pair = told(record() | {"note": None}, record())
    assert pair == [
        ("the pack", "note: – (nothing stated)", "note: – (not told at all)")
    ]
