"""The chain both ways: what a thing came from, and what it reached."""

import datetime as dt
import itertools

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from shop.actions import parts, routes, tooling, withdrawals
from shop.models import (
    Airframe,
    Entry,
    Laminate,
    Lineage,
    Lot,
    Machine,
    Material,
    MillingSetup,
    Part,
    Person,
    Placement,
    PlyLaid,
    Position,
    Pull,
    ReleaseCoat,
    ReleaseProduct,
    StepDone,
    Tool,
    ToolStep,
    Withdrawal,
)
from shop.rules.reach import reach
from tests.around import by_hand

from .making import make_design, make_placement
from .making_floor import (
    ago,
    lay_all,
    make_coat,
    make_demolded,
    make_mold,
    make_pull,
    make_pulled_part,
    make_tool,
    mix,
)


@pytest.fixture
def lead(people):
    return people["lead"]


def up(kind, row):
    return reach(kind, row.pk, down=False)


def down(kind, row):
    return reach(kind, row.pk, down=True)


def test_a_part_came_from_pull_mold_plug_coat_lots_laminate_and_people(lead):
    plug = make_tool(lead, kind="plug", made_at=ago(days=60))
    mold = make_mold(lead, plug=plug)
    part = make_pulled_part(lead, pull=make_demolded(lead, tool=mold))
    found = up("part", part)
    pull = part.lineage.get().pull
    assert found["pull"] == {pull.pk}
    assert found["tool"] == {mold.pk, plug.pk}
    assert found["laminate"] == {pull.laminate_id}
    assert found["coat"] == set()  # it went on a day ago, after this pull was started
    assert found["person"] == {lead.pk}
    plies = set(pull.plies_laid.values_list("lot", flat=True))
    batch = pull.batches.get()
    assert found["lot"] == plies | {batch.resin_lot_id, batch.hardener_lot_id}


def test_a_coat_reaches_the_pulls_after_it_and_none_before(lead):
    mold = make_tool(lead, kind="mold")
    early = make_coat(lead, mold, applied_at=ago(days=3))
    first = make_demolded(lead, tool=mold, reason="first of the day")
    mold.refresh_from_db()
    late = make_coat(lead, mold, applied_at=ago(hours=20))
    second = make_pull(lead, tool=mold, reason="made for a test")
    assert down("coat", early)["pull"] == {first.pk, second.pk}
    assert down("coat", late)["pull"] == {second.pk}
    assert up("pull", first)["coat"] == {early.pk}
    assert up("pull", second)["coat"] == {early.pk, late.pk}


def test_a_coat_on_a_surface_since_stripped_reaches_no_later_pull(lead):
    mold = make_tool(lead, kind="mold")
    gone = make_coat(lead, mold, applied_at=ago(days=3))
    tooling.act_on_tool(by=lead, tool=mold, kind="stripped", note="for a repair")
    mold.refresh_from_db()
    make_coat(lead, mold, applied_at=ago(hours=20))
    pull = make_pull(lead, tool=mold, reason="made for a test")
    assert down("coat", gone)["pull"] == set()
    assert gone.pk not in up("pull", pull)["coat"]


def test_a_coat_or_a_step_taken_back_reaches_nothing(lead):
    plug = make_tool(lead, kind="plug", made_at=ago(days=60))
    with by_hand():
        step = ToolStep.objects.create(tool=plug, order=1, name="fill")
    done = routes.do_step(by=lead, step=step, done_at=ago(days=50))
    mold = make_tool(lead, kind="mold", plug=plug, made_at=ago(days=40))
    coat = make_coat(lead, mold, applied_at=ago(days=3))
    pull = make_pull(lead, tool=mold, reason="made for a test")
    assert coat.pk in up("pull", pull)["coat"]
    assert done.pk in up("pull", pull)["step"]
    withdrawals.take_back_coat(by=lead, coat=coat, reason="another mold")
    withdrawals.take_back_step(by=lead, step=done, reason="another plug")
    for kind, row in (("coat", coat), ("step", done)):
        assert not any(down(kind, row).values())
        assert not any(up(kind, row).values())
        assert row.pk not in up("pull", pull)[kind]


def test_a_step_on_the_plug_reaches_the_molds_made_later(lead):
    plug = make_tool(lead, kind="plug", made_at=ago(days=60))
    with by_hand():
        step = plug.steps.first() or ToolStep.objects.create(
            tool=plug, order=1, name="fill"
        )
    filled = routes.do_step(by=lead, step=step, done_at=ago(days=50))
    old = make_tool(lead, kind="mold", plug=plug, made_at=ago(days=55))
    new = make_tool(lead, kind="mold", plug=plug, made_at=ago(days=40))
    assert down("step", filled)["tool"] == {new.pk}
    assert down("step", filled)["touched"] == {plug.pk}
    assert old.pk not in down("step", filled)["tool"]
    assert filled.pk in up("tool", new)["step"]


def test_a_lot_reaches_every_part_position_and_airframe(lead):
    pull = make_pull(lead)
    lots = lay_all(lead, pull)
    mix(lead, pull)
    with by_hand():
        part = Part.objects.create(design=make_design(lead), serial="S-of-a-lot")
    bonded = make_design(lead, name="Wing")
    from shop.ledger import perform

    with perform("yield/1", by=lead) as act:
        act.record(Lineage(part=part, kind="pulled", pull=pull))
    whole = parts.register_part(
        by=lead, design=bonded, serial="W-1", origin="bonded", sources=[part]
    )
    placement = make_placement(lead, part=whole)
    found = down("lot", next(iter(lots.values())))
    assert found["part"] == {part.pk, whole.pk}
    assert found["placement"] == {placement.pk}
    assert found["airframe"] == {placement.airframe_id}
    above = up("airframe", placement.airframe)
    assert above["lot"] >= {lot.pk for lot in lots.values()}


@pytest.mark.either_database
def test_one_statement_whatever_lies_behind(lead, django_assert_num_queries):
    mold = make_mold(lead)
    for _ in range(40):
        pull = make_demolded(lead, tool=mold, reason="one of many")
        part = make_pulled_part(lead, pull=pull)
        mold.refresh_from_db()
    with django_assert_num_queries(1):
        assert len(down("tool", mold)["part"]) == 40
    with django_assert_num_queries(1):
        assert up("part", part)["tool"] == {mold.pk}


# ------------------------------------------------- any graph: a property


FIRST = dt.datetime(2026, 1, 1, 8, tzinfo=dt.UTC)
few = st.integers(0, 1)
time = st.integers(0, 30)
index = st.integers(0, 10**6)
graphs = st.fixed_dictionaries(
    {
        "tools": st.lists(st.tuples(index, time), min_size=1, max_size=5),
        "lots": st.integers(1, 3),
        "steps": st.lists(st.tuples(index, index, time, index), max_size=5),
        "coats": st.lists(st.tuples(index, time, few, index), max_size=5),
        "millings": st.lists(st.tuples(index, time, index), max_size=3),
        "pulls": st.lists(st.tuples(index, time, few, index), max_size=5),
        "plies": st.lists(st.tuples(index, index, index), max_size=6),
        "parts": st.lists(st.tuples(index, index, st.booleans()), max_size=6),
        "places": st.lists(index, max_size=3),
    }
)
numbers = itertools.count(1)


@by_hand()
def make_graph(said, people):
    """Rows as `said`, written past the actions: any order of times, any parents."""
    stamp = next(numbers)
    entries = []
    for person in people:
        digest = f"{stamp:032d}{person.pk:032d}"
        entries.append(
            Entry.objects.create(
                act=f"{stamp:08d}-0000-4000-8000-{person.pk:012d}",
                form="made/1",
                by=person,
                received_at=FIRST,
                fingerprint=digest,
                body="{}",
                digest=digest,
            ).act
        )
    at = lambda days: FIRST + dt.timedelta(days=days)  # noqa: E731
    pick = lambda rows, number: rows[number % len(rows)]  # noqa: E731
    material = Material.objects.create(code=f"M{stamp}", name="m", kind="resin")
    lots = [
        Lot.objects.create(material=material, number=str(n), received_on=FIRST.date())
        for n in range(said["lots"])
    ]
    laminate = Laminate.objects.create(
        code=f"L{stamp}", name="l", resin=material, fiber_fraction_ppm=500_000
    )
    machine = Machine.objects.create(name=f"Mill {stamp}")
    product = ReleaseProduct.objects.create(
        name=f"Wax {stamp}", kind="wax", minutes_between=1, minutes_before_layup=1
    )
    tools = []
    for number, (parent, made) in enumerate(said["tools"]):
        plug = pick(tools, parent) if tools and parent % 3 else None
        tools.append(
            Tool.objects.create(
                kind="mold",
                code=f"T{stamp}-{number}",
                name="t",
                plug=plug,
                made_at=at(made),
            )
        )
    for tool, who, day, lot in said["steps"]:
        tool = pick(tools, tool)
        step = ToolStep.objects.create(tool=tool, order=1, name="sand")
        done = StepDone(
            tool=tool,
            step=step,
            done_at=at(day),
            entry_id=pick(entries, who),
            lot=pick(lots, lot) if lot % 2 else None,
        )
        done.save()
        if day % 3 == 0:
            Withdrawal(step=done, entry_id=entries[0]).save()
    for number, (tool, day, surface, who) in enumerate(said["coats"]):
        coat = ReleaseCoat(
            tool=pick(tools, tool),
            product=product,
            applied_at=at(day),
            number=number,
            surface=surface,
            lot=pick(lots, who),
            entry_id=pick(entries, who),
        )
        coat.save()
        if day % 3 == 0:
            Withdrawal(coat=coat, entry_id=entries[0]).save()
    for tool, day, who in said["millings"]:
        MillingSetup(
            tool=pick(tools, tool),
            machine=machine,
            milled_on=at(day).date(),
            radius_nm=1,
            stepover_nm=1,
            entry_id=pick(entries, who),
        ).save()
    pulls = [
        Pull.objects.create(
            tool=pick(tools, tool),
            number=number,
            laminate=laminate,
            surface=surface,
            started_at=at(day),
            started_entry_id=pick(entries, who),
        )
        for number, (tool, day, surface, who) in enumerate(said["pulls"])
    ]
    for pull, lot, who in said["plies"] if pulls else []:
        PlyLaid(
            pull=pick(pulls, pull),
            order=1,
            area_name="a",
            material=material,
            lot=pick(lots, lot),
            entry_id=pick(entries, who),
        ).save()
    made = []
    design = make_design(people[0])
    for number, (source, who, bonded) in enumerate(said["parts"]):
        part = Part.objects.create(design=design, serial=f"P{stamp}-{number}")
        bonded = bonded and made
        parents = [pick(made, source), pick(made, source + 1)] if bonded else []
        for parent in set(parents):
            Lineage(
                part=part, kind="bonded", source=parent, entry_id=pick(entries, who)
            ).save()
        if pulls and not parents:
            Lineage(
                part=part,
                kind="pulled",
                pull=pick(pulls, source),
                entry_id=pick(entries, who),
            ).save()
        made.append(part)
    kind = design.parts.model._meta.apps.get_model("shop.AirframeType").objects.create(
        code=f"Y{stamp}", name="y"
    )
    for number, part in enumerate(said["places"] if made else []):
        airframe = Airframe.objects.create(
            type=kind, serial=f"A{stamp}-{number}", line_number=number
        )
        position = Position.objects.create(
            type=kind, code=str(number), name="n", path="n"
        )
        Placement.objects.create(
            part=pick(made, part),
            airframe=airframe,
            position=position,
            placed_by_entry_id=entries[0],
            placed_at=FIRST,
            removed_by_entry_id=entries[0],
            removed_at=FIRST,
        )


MODELS = {
    "person": Person,
    "machine": Machine,
    "lot": Lot,
    "milling": MillingSetup,
    "step": StepDone,
    "coat": ReleaseCoat,
    "tool": Tool,
    "laminate": Laminate,
    "pull": Pull,
    "part": Part,
    "placement": Placement,
    "airframe": Airframe,
}


@pytest.mark.django_db
@settings(
    max_examples=20,
    deadline=None,
    # Shrinking a failing graph takes minutes and says little more.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(said=graphs)
def test_everything_reached_downstream_reaches_back_upstream(people, said):
    make_graph(said, [people["lead"], people["builder"]])
    # The newest rows of each kind: those of this graph (earlier ones stay apart).
    things = [
        (kind, key)
        for kind, model in MODELS.items()
        for key in model.objects.order_by("-pk").values_list("pk", flat=True)[:6]
    ]
    below = {one: reach(*one, down=True) for one in things}
    above = {one: reach(*one, down=False) for one in things}
    for (kind, key), (other, its) in itertools.product(things, things):
        found = below[kind, key]
        # What was done to a tool is among what the tool itself came from.
        reached = its in found[other] or (other == "tool" and its in found["touched"])
        back = key in above[other, its][kind]
        assert reached == back, f"{kind} {key} and {other} {its}"


def test_times_are_compared_as_instants(lead):
    """A coat and a pull in the same second, the coat a moment later: not before."""
    mold = make_tool(lead, kind="mold")
    start = timezone.now() - dt.timedelta(hours=5)
    make_coat(lead, mold, applied_at=start - dt.timedelta(hours=20))
    mold.refresh_from_db()
    pull = make_pull(lead, tool=mold, started_at=start, reason="made for a test")
    later = make_coat(lead, mold, applied_at=start + dt.timedelta(milliseconds=1))
    assert down("coat", later)["pull"] == set()
    assert up("pull", pull)["coat"] != set()
