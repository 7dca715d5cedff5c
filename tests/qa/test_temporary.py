"""What is on an airframe for a while: in is out, piece by piece.

The trade's own check (AS9146 wording by memory): 48 installed, 47 removed, 1 open.
"""

import re
import threading
from itertools import product
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connection
from django.db.transaction import atomic, set_rollback
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from qa.actions import holes, temporary
from qa.actions.holes import PatternHead
from qa.models import HolePattern, PackOrder
from qa.queries import close_out
from qa.queries import temporary as queries
from qa.queries.packs import closing
from qa.queries.packs.scope import scope_of
from shop.actions import airframes, parts
from shop.actions.rebuilding import temporary_states
from shop.ledger import Refused, projections
from shop.ledger.verify import verify
from shop.models import (
    Placement,
    TemporaryItem,
    TemporaryKind,
    TemporaryState,
    TemporaryStep,
)
from tests.around import by_hand
from tests.conftest import make_people
from tests.qa.making import fresh, make_airframe, make_joint, make_part, make_position
from tests.qa.many import MANY, multiplied
from tests.qa.test_holes_pages import drafts
from tests.qa.test_papers import text_of
from tests.shop.making import make_design

PRINTED = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
ROLES = ("builder", "lead", "engineer", "inspector", "visitor")
COLUMNS = {"in": "inside", "not found": "missing", "out": "out", "released": "released"}
ACTS = {
    "take out": "take_out",
    "cannot be found": "miss",
    "find": "find",
    "release": "release",
}


def put(people, kind="clamp", count=8, airframe=None, by="builder", **more):
    """So many of a kind in a bay of an airframe, by the builder."""
    engineer = people["engineer"]
    airframe = airframe or make_airframe(engineer)
    if "bay" not in more:
        more["bay"] = make_position(engineer, type=airframe.type)
    needs = {"cleco": {"size": "1/8 in"}, "mock_up": {"stands_for": "panel"}}
    needs["borrowed"] = {"owner": "hall 3"}
    said = {**needs.get(kind, {}), "why": "for the fit", **more}
    return temporary.put_in(
        by=people[by], airframe=airframe, kind=kind, count=count, **said
    )


def step(people, item, verb, count=1, by="builder", **more):
    more.setdefault("note", "seen in the bin" if verb == "release" else "")
    more.setdefault("based_on", last_act(item))
    return temporary.step(by=people[by], item=item, verb=verb, count=count, **more)


def last_act(item):
    return TemporaryState.objects.get(pk=item.pk).last_entry_id


def pieces(item) -> dict[str, int]:
    state = TemporaryState.objects.get(pk=item.pk)
    return {word: getattr(state, column) for word, column in COLUMNS.items()}


# ------------------------------------------------------------ every state, act, role


def printed() -> dict:
    """{(state, act): (roles, where the piece goes)} as DEVELOPERS.md says it."""
    text = PRINTED.read_text("utf-8").split("## Temporary items")[1]
    found = {}
    for line in re.findall(r"^\|(.+)\|$", text.split("\n## ")[0], re.M)[2:]:
        states, act, who, to = (c.strip() for c in line.split("|"))
        for state in states.split(", "):
            assert (state, act) not in found
            found[state, act] = set(who.split(", ")), to
    return found


WAY = {
    "in": (),
    "not found": ("miss",),
    "out": ("take_out",),
    "released": ("miss", "release"),
}


@pytest.mark.django_db
def test_a_piece_goes_where_the_printed_table_says_and_nowhere_else(people):
    table = printed()
    assert {state for state, _act in table} <= set(COLUMNS)
    items = {}
    for state, way in WAY.items():
        items[state] = put(people, count=1)
        for verb in way:
            by = "inspector" if verb == "release" else "lead"
            step(people, items[state], verb, by=by)
    for state, act, role in product(COLUMNS, ACTS, ROLES):
        who, to = table.get((state, act), ((), None))
        item = items[state]
        with atomic():
            try:
                step(people, item, ACTS[act], by=role)
                ended = next(word for word, n in pieces(item).items() if n)
            except (Refused, PermissionDenied):
                ended = None
            set_rollback(True)
        assert ended == (to if role in who else None), (state, act, role)


@pytest.mark.django_db
def test_a_hole_is_drilled_and_filled_and_nothing_else(people):
    hole = put(people, "hole", 4)
    for verb in ("miss", "find", "release"):
        with pytest.raises(Refused):
            step(people, hole, verb, by="inspector")
    step(people, hole, "take_out", 3)
    row = queries.item_page(TemporaryItem.objects.get(pk=hole.pk)).row
    assert (row.state, row.inside) == ("hole_open", 1)
    step(people, hole, "take_out", 1)
    row = queries.item_page(TemporaryItem.objects.get(pk=hole.pk)).row
    assert row.state == "hole_filled"


@pytest.mark.django_db
def test_what_is_not_found_is_released_by_an_inspector_who_did_not_lose_it(people):
    mine = put(people, by="inspector")
    step(people, mine, "miss")
    with pytest.raises(Refused, match="another inspector"):
        step(people, mine, "release", by="inspector")
    item = put(people)
    step(people, item, "miss", 2)
    with pytest.raises(Refused, match="why"):
        step(people, item, "release", by="inspector", note="  ")
    step(people, item, "release", by="inspector")
    assert pieces(item) == {"in": 6, "not found": 1, "out": 0, "released": 1}
    # Found years later: first what is still sought.
    step(people, item, "find", 2)
    assert pieces(item) == {"in": 6, "not found": 0, "out": 2, "released": 0}


# ------------------------------------------------------------------------- counting


class Counting(TestCase):
    """In is out, whatever people try and in whatever order."""

    @settings(max_examples=20)
    @given(
        st.integers(1, 60),
        st.lists(
            st.tuples(st.sampled_from(list(ACTS.values())), st.integers(-1, 70)),
            max_size=8,
        ),
    )
    def test_in_is_out_and_the_bay_counts_what_its_items_say(self, count, tried):
        people = make_people()
        item = put(people, count=count)
        counted = {"in": count, "not found": 0, "out": 0, "released": 0}
        for verb, n in tried:
            # Counted apart from the code: pieces as a list of words.
            there = sorted(
                (w for w in counted for _ in range(counted[w])),
                key=["in", "not found", "released", "out"].index,
            )
            come = {"find": ("not found", "released"), "release": ("not found",)}
            can = [word for word in there if word in come.get(verb, ("in",))]
            to = {"miss": "not found", "release": "released"}.get(verb, "out")
            by = "inspector" if verb == "release" else "builder"
            if 1 <= n <= len(can):
                step(people, item, verb, n, by=by)
                for word in can[:n]:
                    counted[word] -= 1
                counted[to] += n
            else:
                with pytest.raises(Refused):
                    step(people, item, verb, n, by=by)
            assert pieces(item) == counted
            assert sum(counted.values()) == count
        (bay,) = queries.must_come_off(item.airframe).counts
        assert (bay.put_in, bay.inside, bay.missing, bay.out, bay.released) == (
            *(count, counted["in"], counted["not found"]),
            *(counted["out"], counted["released"]),
        )
        assert list(projections.differences()) == []


class CountingHoles(TestCase):
    """As many holes are named as pieces are in, whatever holes are said."""

    @settings(max_examples=15)
    @given(
        st.lists(
            st.tuples(
                st.sampled_from(["take_out", "miss", "find"]),
                st.integers(0, 4),
                st.lists(st.sampled_from("123456"), max_size=4),
            ),
            max_size=6,
        )
    )
    def test_each_piece_that_is_in_has_its_own_hole(self, tried):
        people = make_people()
        item = in_holes(people, *holed(people), list("12345"))
        there, missing = set("12345"), 0
        for verb, count, spots in tried:
            if verb == "find":
                right = not spots and 1 <= count <= missing
            else:
                named = set(spots) or (there if count == len(there) else set())
                right = count and len(named) == count and named <= there
                right = right and len(spots) in (0, count)
            if right:
                step(people, item, verb, count, spots=spots)
                there -= named if verb != "find" else set()
                missing += {"miss": count, "find": -count}.get(verb, 0)
            else:
                with pytest.raises(Refused):
                    step(people, item, verb, count, spots=spots)
            state = TemporaryState.objects.get(pk=item.pk)
            assert (set(state.spots), state.inside) == (there, len(there))
            assert state.missing == missing


@pytest.mark.django_db
def test_the_database_itself_refuses_a_count_that_does_not_add_up(people):
    item = put(people)
    with pytest.raises(IntegrityError), atomic(), by_hand():
        TemporaryState.objects.filter(pk=item.pk).update(out=1)


@pytest.mark.django_db
def test_48_in_and_47_out_leaves_one_and_a_bay_counts_what_lies_below_it(people):
    engineer = people["engineer"]
    airframe = make_airframe(engineer)
    bay = make_position(engineer, type=airframe.type)
    below = make_position(engineer, type=airframe.type, parent=bay)
    clecos = put(people, "cleco", 48, airframe, bay=below)
    step(people, clecos, "take_out", 47)
    put(people, "film", 1, airframe, bay=bay)
    counted = {one.id: one for one in queries.must_come_off(airframe).counts}
    assert (counted[below.pk].on_board, counted[bay.pk].on_board) == (1, 2)
    view = queries.must_come_off(airframe)
    assert view.pieces == 2
    assert [row.label for one in view.bays for row in one.rows] == ["TI-002", "TI-001"]
    assert queries.must_come_off(airframe, below).pieces == 1
    assert verify().fault == ""


class Moved:
    """A part that sat in one bay, with film on it and a clamp that was out again, and
    moves on."""

    def __init__(self, people):
        self.people, engineer = people, people["engineer"]
        self.first = make_airframe(engineer)
        self.second = make_airframe(engineer, type=self.first.type)
        of = {"type": self.first.type}
        self.top = make_position(engineer, **of)
        self.left, self.right = (
            make_position(engineer, parent=self.top, **of) for _ in range(2)
        )
        self.part, self.sits = make_part(engineer), None
        self.sit(self.first, self.left)
        below = make_position(engineer, parent=self.left, **of)
        self.film = put(people, "film", 3, self.first, bay=below)
        step(people, self.film, "take_out")
        step(people, put(people, "clamp", 1, self.first, bay=self.left), "take_out")

    def sit(self, airframe, bay):
        if self.sits:
            airframes.remove_part(
                by=self.people["lead"], placement=self.sits, reason="moved"
            )
        self.sits = airframes.place_part(
            by=self.people["engineer"],
            airframe=airframe,
            position=bay,
            part=self.part,
            reason="moved",
        )

    def on_airframes(self) -> dict:
        found = queries.on_airframes()
        return {one.serial: (one.pieces, one.missing) for one in found}

    def counts(self, airframe) -> dict:
        """{bay: (put in, out, in, not found)}, as the page and the list tell it."""
        return {
            one.id: (one.put_in, one.out, one.inside, one.missing)
            for one in queries.must_come_off(airframe).counts
        }

    def must_come_off(self, airframe) -> tuple[int, set]:
        view = queries.must_come_off(airframe)
        rows = {(bay.id, row.label) for bay in view.bays for row in bay.rows}
        return view.pieces, rows

    def in_a_pack(self, airframe, bay=None, kinds=()) -> list[str]:
        scope = scope_of(PackOrder(airframe=airframe, bay=bay))
        stands = closing.standing_section(scope).lines
        told = [x.what for x in stands if x.kind == "Temporary items still in"]
        lines = [x.number for x in closing.temporary_section(scope).lines if x.inside]
        for item in kinds or (self.film,):
            told = [what.removesuffix(f" {item.what}") for what in told]
        assert told == lines
        return lines

    def stands(self, airframe, bay=None) -> list[str]:
        groups = close_out.view_of(airframe, bay=bay).groups
        return [
            line.what
            for one in groups
            for line in one.lines
            if one.kind in ("temporary", "missing")
        ]


@pytest.mark.django_db
def test_what_is_on_a_part_counts_where_it_was_put_in_and_where_the_part_is_once_a_bay(
    people, client_of
):
    moved = Moved(people)
    first, second, film = moved.first, moved.second, moved.film
    left, right, top = moved.left, moved.right, moved.top
    name, far = film.label, f"{first.serial} {film.label}"
    moved.sit(first, right)
    counted = moved.counts(first)
    # The clamp was out before the part left: it never came to the other bay.
    assert counted[left.pk] == counted[top.pk] == (4, 2, 2, 0)
    assert counted[right.pk] == (3, 1, 2, 0)
    assert moved.must_come_off(first) == (2, {(film.bay_id, name), (right.pk, name)})
    assert moved.on_airframes() == {first.serial: (2, 0)}
    whole = f"{name} {film.what}"
    for bay in (left, right, top, None):
        assert moved.stands(first, bay) == [whole], bay
        assert moved.in_a_pack(first, bay) == [name], bay
    # Then to another airframe: on both until it is out, no more in the bay between.
    moved.sit(second, left)
    assert right.pk not in moved.counts(first)
    assert moved.counts(second)[left.pk] == moved.counts(second)[top.pk] == (3, 1, 2, 0)
    assert moved.must_come_off(second) == (2, {(left.pk, far)})
    assert moved.stands(first, left) == [whole]
    assert moved.stands(second, left) == [f"{far} {film.what}"]
    assert moved.in_a_pack(second) == moved.in_a_pack(second, left) == [far]
    # What is its own, and what came, counts; once each.
    own = [
        (put(people, "tape", n, at, bay=right), n)
        for n, at in ((5, first), (1, second))
    ]
    with CaptureQueriesContext(connection) as captured:
        told = moved.on_airframes()
    assert told == {first.serial: (7, 0), second.serial: (3, 0)}
    assert len(captured) <= 6
    for item, count in own:
        step(people, item, "take_out", count)
    assert moved.on_airframes() == {first.serial: (2, 0), second.serial: (2, 0)}
    client = client_of("builder")
    told = client.get(reverse("must_come_off", args=[second.pk])).content.decode()
    assert far in told and f"came with {moved.part.serial}" in told
    told = text_of(client.get(reverse("must_come_off_pdf", args=[second.pk])))
    assert "came with" in told and "2 still in" in told
    told = client.get(reverse("must_come_off", args=[first.pk])).content.decode()
    assert f"{moved.part.serial} sits at {second.serial}" in told
    told = client.get(reverse("temporary_item", args=[film.pk])).content.decode()
    assert second.serial in told
    told = client.get(reverse("airframe", args=[second.pk])).content.decode()
    assert "Must come off: 2" in " ".join(told.split())
    step(people, film, "miss")
    assert moved.on_airframes() == {first.serial: (1, 1), second.serial: (1, 1)}
    assert moved.counts(second)[left.pk] == (3, 1, 1, 1)
    assert len(moved.stands(second, left)) == 2
    step(people, film, "find")
    step(people, film, "take_out")
    assert moved.counts(second)[left.pk] == (3, 3, 0, 0)
    for airframe in (first, second):
        assert moved.must_come_off(airframe) == (0, set())
        assert moved.stands(airframe) == []
    # Back where it sat, it counts there once.
    moved.sit(first, left)
    assert moved.counts(first)[left.pk] == (4, 4, 0, 0)
    assert verify().fault == ""


@pytest.mark.django_db
def test_what_is_on_a_part_goes_with_what_that_was_bonded_into_and_counts_once(
    people, client_of
):
    engineer = people["engineer"]
    moved = Moved(people)
    first, second, left, right = moved.first, moved.second, moved.left, moved.right
    film, skin = moved.film, moved.part
    # A frame below the skin holds the film too: both go into one thing, which goes
    # into another; a part cut from the skin while it sat there takes nothing along.
    frame = make_part(engineer)
    airframes.place_part(
        by=engineer, airframe=first, position=film.bay, part=frame, reason="fitted"
    )
    prop = put(people, "prop", 1, first, bay=film.bay)
    offcut = parts.register_part(
        by=engineer,
        design=make_design(engineer),
        serial="OFF-1",
        origin="cut",
        sources=[skin],
    )

    def bond(*sources):
        return parts.register_part(
            by=engineer,
            design=make_design(engineer),
            origin="bonded",
            serial=f"BONDED-{len(sources)}",
            sources=sources,
        )

    shell = bond(skin, frame)
    # Registered while its parts still sit where they were: nothing is elsewhere yet.
    assert moved.on_airframes() == {first.serial: (3, 0)}
    for sits in Placement.objects.filter(removed_at=None):
        airframes.remove_part(by=people["lead"], placement=sits, reason="bonded")
    moved.part, moved.sits = bond(shell), None
    clip = put(people, "clamp", 1, first, bay=left, why="after the skin had left")
    moved.sit(first, right)
    assert moved.counts(first)[right.pk] == (4, 1, 3, 0)
    name, other = film.label, prop.label
    assert moved.must_come_off(first) == (
        4,
        {(film.bay_id, name), (right.pk, name), (film.bay_id, other), (right.pk, other)}
        | {(left.pk, clip.label)},
    )
    moved.sit(second, left)
    far = {f"{first.serial} {label}" for label in (name, other)}
    with CaptureQueriesContext(connection) as captured:
        assert moved.on_airframes() == {first.serial: (4, 0), second.serial: (3, 0)}
    assert len(captured) <= 8
    assert moved.counts(second)[left.pk] == moved.counts(second)[moved.top.pk]
    assert moved.counts(second)[left.pk] == (4, 1, 3, 0)
    assert moved.must_come_off(second) == (3, {(left.pk, label) for label in far})
    assert {what.rsplit(" ", 1)[0] for what in moved.stands(second)} >= {
        f"{first.serial} {other}"
    }
    assert len(moved.stands(second)) == len(moved.stands(second, left)) == 2
    assert set(moved.in_a_pack(second, kinds=(film, prop))) == far
    page = client_of("builder").get(reverse("must_come_off", args=[second.pk]))
    told = " ".join(page.content.decode().split())
    assert f"came with {moved.part.serial} (with {skin.serial})" in told
    page = client_of("builder").get(reverse("temporary_item", args=[prop.pk]))
    told = " ".join(page.content.decode().split())
    assert moved.part.serial in told and f"(with {skin.serial} in it)" in told
    page = client_of("builder").get(reverse("airframe", args=[second.pk]))
    assert "Must come off: 3" in " ".join(page.content.decode().split())
    # Cut off once it is bonded: the piece may hold it too.
    moved.sit(first, right)
    airframes.remove_part(by=people["lead"], placement=moved.sits, reason="cut")
    piece = parts.register_part(
        by=engineer,
        design=make_design(engineer),
        serial="PIECE-1",
        origin="cut",
        sources=[moved.part],
    )
    for part, bay in ((piece, left), (offcut, right)):
        airframes.place_part(
            by=engineer, airframe=second, position=bay, part=part, reason="fitted"
        )
    assert moved.must_come_off(second) == (3, {(left.pk, label) for label in far})
    step(people, prop, "take_out")
    for _piece in range(2):
        step(people, film, "take_out")
    assert moved.must_come_off(second) == (0, set())
    assert moved.stands(second) == [] and verify().fault == ""


@pytest.mark.django_db
def test_a_piece_of_what_it_was_bonded_into_has_it_though_the_part_left_last(people):
    moved = Moved(people)

    def made(serial, origin, source):
        design = make_design(people["engineer"])
        said = {"by": people["engineer"], "design": design, "serial": serial}
        return parts.register_part(origin=origin, sources=[source], **said)

    # Cut off the part itself where that sat: it takes nothing along.
    offcut = made("OFFCUT", "cut", moved.part)
    piece = made("PIECE", "cut", made("WHOLE", "bonded", moved.part))
    airframes.remove_part(by=people["lead"], placement=moved.sits, reason="bonded")
    for part, bay in ((piece, moved.left), (offcut, moved.right)):
        airframes.place_part(
            by=people["engineer"],
            airframe=moved.second,
            position=bay,
            part=part,
            reason="fitted",
        )
    far = f"{moved.first.serial} {moved.film.label}"
    assert moved.must_come_off(moved.second) == (2, {(moved.left.pk, far)})
    assert moved.stands(moved.second) == [f"{far} {moved.film.what}"]


# --------------------------------------------------------------------- what is refused


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("kind", "said", "field"),
    [
        ("cleco", {"size": ""}, "size"),
        ("cleco", {"size": "7/64 in"}, "size"),
        ("mock_up", {"stands_for": " "}, "stands_for"),
        ("borrowed", {"owner": ""}, "owner"),
        ("clamp", {"why": " "}, "why"),
        ("clamp", {"count": 0}, "count"),
        ("clamp", {"count": 10_001}, "count"),
        ("magnet", {}, "kind"),
        ("clamp", {"spots": ["1"]}, "spots"),
    ],
)
def test_what_lacks_a_word_is_refused_beside_its_field(people, kind, said, field):
    with pytest.raises(Refused) as no:
        put(people, kind, **said)
    assert no.value.field == field
    assert not TemporaryItem.objects.exists()


@pytest.mark.django_db
def test_a_bay_or_a_joint_of_another_type_takes_nothing(people):
    other = make_position(people["engineer"])
    with pytest.raises(Refused, match="bay is of another type"):
        put(people, bay=other)
    with pytest.raises(Refused, match="joint is of another type"):
        put(people, joint=make_joint(people["engineer"]))
    airframe, joint, _pattern = holed(people)
    with pytest.raises(Refused, match="another bay"):
        put(people, airframe=airframe, joint=joint)


# ------------------------------------------------------------------ holes of a pattern


def holed(people, count=6):
    """An airframe with a joint, and a pattern of holes through it."""
    engineer = people["engineer"]
    joint = make_joint(engineer)
    airframe = make_airframe(engineer, type=joint.type)
    return airframe, joint, pattern_at(people, joint, count)


def pattern_at(people, joint, count=6) -> HolePattern:
    """Holes through a joint, 20 mm apart."""
    row = holes.define_pattern(
        by=people["engineer"],
        number=fresh("HP"),
        name="Door to frame",
        joint=joint,
        holes=drafts(count),
        says=PatternHead(),
    )
    return HolePattern.objects.select_related("current", "joint").get(pk=row.pk)


def in_holes(people, airframe, joint, pattern, spots, size="1/8 in"):
    return put(
        people,
        "cleco",
        len(spots),
        airframe,
        bay=joint.position,
        joint=joint,
        pattern=pattern,
        spots=spots,
        size=size,
    )


@pytest.mark.django_db
def test_clecos_go_into_named_holes_one_in_each_and_come_out_many_at_once(people):
    where = holed(people)
    first = in_holes(people, *where, ["1", "3", "5"])
    with pytest.raises(Refused, match="in already: 3"):
        in_holes(people, *where, ["2", "3"])
    with pytest.raises(Refused, match="no hole 9"):
        in_holes(people, *where, ["9"])
    with pytest.raises(Refused, match="One in each"):
        in_holes(people, *where, ["2", "2"])
    second = in_holes(people, *where, ["2", "4"], size="3/16 in")
    out = {"by": people["builder"], "airframe": where[0], "pattern": where[2]}
    with pytest.raises(Refused, match="in there now: 6"):
        temporary.take_out_of_holes(**out, spots=["1", "6"])
    temporary.take_out_of_holes(**out, spots=["1", "2", "3"])
    assert TemporaryState.objects.get(pk=first.pk).spots == ["5"]
    assert TemporaryState.objects.get(pk=second.pk).spots == ["4"]
    with pytest.raises(Refused, match="holes"):
        step(people, first, "take_out", 1, spots=["4"])
    step(people, first, "take_out", 1)
    assert pieces(first)["out"] == 3
    # Free again: the next one may go in.
    in_holes(people, *where, ["1", "5"])
    assert list(projections.differences()) == []


@pytest.mark.django_db
def test_the_page_of_the_holes_puts_in_and_takes_out_by_ticks(people, client_of):
    airframe, _joint, pattern = holed(people)
    page = reverse("temporary_holes", args=[airframe.pk, pattern.pk])
    client = client_of("builder")
    said = {"spots": ["1", "2"], "size": "1/8 in", "why": "", "verb": "put_in"}
    answer = client.post(page, said)
    text = answer.content.decode()
    assert "Say why it is in." in text
    assert len(re.findall(r'value="[12]"[^>]* checked', text)) == 2
    client.post(page, {**said, "why": "held for drilling"})
    item = TemporaryItem.objects.get()
    assert (item.spots, item.count) == (["1", "2"], 2)
    client.post(page, {"spots": ["2"], "verb": "take_out"})
    assert pieces(item) == {"in": 1, "not found": 0, "out": 1, "released": 0}
    assert "1/8 in" in client.get(page).content.decode()


# ---------------------------------------------------------------------------- pages


def carried_on(people, airframe, bay):
    """Two clamps on a part that went from this bay to another one."""
    engineer, part = people["engineer"], make_part(people["engineer"])
    of = {"airframe": airframe, "part": part, "reason": "moved"}
    sits = airframes.place_part(by=engineer, position=bay, **of)
    clamps = put(people, "clamp", 2, airframe, bay=bay)
    airframes.remove_part(by=engineer, placement=sits, reason="moved")
    other = make_position(engineer, type=airframe.type)
    airframes.place_part(by=engineer, position=other, **of)
    return clamps


@pytest.mark.either_database
@pytest.mark.django_db
def test_pages_ask_the_same_number_of_questions_for_1_row_and_for_30(people, client_of):
    airframe, joint, pattern = holed(people, 40)
    client = client_of("inspector")
    pages = [
        reverse("temporary_items"),
        reverse("must_come_off", args=[airframe.pk]),
        reverse("temporary_holes", args=[airframe.pk, pattern.pk]),
        reverse("airframe", args=[airframe.pk]),
    ]
    asked = []
    for spots in (["1"], [str(n) for n in range(2, 31)]):
        for spot in spots:
            item = in_holes(people, airframe, joint, pattern, [spot])
            bay = make_position(people["engineer"], type=airframe.type)
            step(people, carried_on(people, airframe, bay), "miss")
        counted = []
        for page in pages:
            client.get(page)
            with CaptureQueriesContext(connection) as captured:
                assert client.get(page).status_code == 200
            counted.append(len(captured))
        asked.append(counted)
    assert asked[0] == asked[1]
    text = client.get(pages[1]).content.decode()
    assert text.count("/take_out/") == 90 and item.label in text


@pytest.mark.django_db
def test_a_builder_puts_in_and_takes_out_at_the_pages(people, client_of):
    engineer = people["engineer"]
    airframe = make_airframe(engineer)
    bay = make_position(engineer, type=airframe.type)
    client = client_of("builder")
    page = f"{reverse('put_in')}?airframe={airframe.pk}"
    said = {
        "kind": "cleco",
        "count": "12",
        "bay": bay.pk,
        "why": "held",
        "place": "rib",
    }
    assert "Clecos are counted by size" in client.post(page, said).content.decode()
    assert client.post(page, {**said, "size": "1/8 in"}).status_code == 302
    item = TemporaryItem.objects.get()
    act = reverse("temporary_act", args=[item.pk, "take_out"])
    shown = client.get(act).content.decode()
    (based_on,) = re.findall(r'name="based_on" value="([^"]+)"', shown)
    said = {"note": "in the box", "based_on": based_on}
    too_many = client.post(act, {**said, "count": "13"}).content.decode()
    assert "say how many" in too_many
    client.post(act, {**said, "count": "11"})
    # The page that was open shows the last one as still in.
    late = client.post(act, {**said, "count": "1"}).content.decode()
    assert "Look at it first" in late and pieces(item)["in"] == 1
    miss = reverse("temporary_act", args=[item.pk, "miss"])
    client.post(miss, {"count": "1", "based_on": last_act(item)})
    shown = client.get(reverse("airframe", args=[airframe.pk])).content.decode()
    assert (
        f'href="{reverse("must_come_off", args=[airframe.pk])}#bay-{bay.pk}"' in shown
    )
    release = reverse("temporary_act", args=[item.pk, "release"])
    said = {"count": "1", "note": "seen in the bin", "based_on": last_act(item)}
    assert client.post(release, said).status_code == 403
    inspector = client_of("inspector")
    inspector.post(release, said)
    assert pieces(item) == {"in": 0, "not found": 0, "out": 11, "released": 1}
    told = client.get(reverse("temporary_item", args=[item.pk])).content.decode()
    assert "1 released without it" in told and "seen in the bin" in told


# ----------------------------------------------------------------------------- races


def at_once(*acts) -> list[str]:
    """What each of some acts, run at once, was told: "won" or the code of the no."""
    told = []
    barrier = threading.Barrier(len(acts))

    def run(act):
        barrier.wait()
        try:
            act()
            told.append("won")
        except Refused as no:
            told.append(no.code)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(told)


def test_of_two_who_take_out_the_same_piece_one_wins(committed_db):
    people = make_people()
    # Each holds the same one of 2 in the hand: the other one of them is still in.
    item = put(people, count=8)
    step(people, item, "take_out", 6)
    shown = last_act(item)

    def take(name):
        return lambda: step(people, item, "take_out", by=name, based_on=shown)

    assert at_once(take("builder"), take("lead")) == ["stale", "won"]
    assert TemporaryStep.objects.count() == 2
    assert (pieces(item)["in"], pieces(item)["out"]) == (1, 7)
    assert TemporaryKind(item.kind) == TemporaryKind.CLAMP


def test_of_two_who_put_one_into_the_same_hole_one_wins(committed_db):
    people = make_people()
    where = holed(people)

    def fill():
        in_holes(people, *where, ["4"])

    assert at_once(fill, fill) == ["refused", "won"]
    assert TemporaryItem.objects.count() == 1


def test_a_thousand_steps_are_followed(people, db):
    item = put(people, count=MANY + 1)
    step(people, item, "take_out")
    multiplied(item.steps.get())
    states = {state.item_id: state for state in temporary_states()}
    assert states[item.pk].inside == 0
