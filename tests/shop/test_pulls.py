"""Pulls: numbers given once, the refused ways, and what comes out."""

import contextlib
import threading

import pytest
from django.db import IntegrityError, connection
from django.db.transaction import atomic
from django.urls import reverse

from shop.actions import layups, materials, pulls, routes, suspects, tooling
from shop.forms.measures import Measure
from shop.ledger import Refused
from shop.models import (
    Lineage,
    PartState,
    Person,
    PlyLaid,
    Pull,
    PullState,
    Role,
    RouteStep,
    Suspect,
    Tool,
)
from tests.around import by_hand

from .making import make_design
from .making_floor import (
    ago,
    grams,
    lay_all,
    make_coat,
    make_demolded,
    make_laminate,
    make_lot,
    make_mold,
    make_product,
    make_pull,
    make_pulled_part,
    make_tool,
    mix,
)


@pytest.fixture
def lead(people):
    return people["lead"]


def refused(act, field=None):
    with pytest.raises(Refused) as no:
        act()
    if field is not None:
        assert no.value.field == field
    return no.value


def test_a_mold_counts_its_pulls(lead):
    mold = make_mold(lead)
    laminate = make_laminate(lead)
    first = make_demolded(lead, tool=mold, laminate=laminate, reason="backdated")
    second = make_pull(lead, tool=mold, laminate=laminate)
    assert [first.number, second.number] == [1, 2]
    mold.refresh_from_db()
    assert (mold.last_pull, mold.pulls_since_wax) == (2, 2)


def test_a_mold_gives_one_pull_at_a_time(lead):
    pull = make_pull(lead)
    no = refused(lambda: make_pull(lead, tool=pull.tool))
    assert no.code == "conflict"


def test_a_pull_needs_its_laminate(lead):
    mold = make_mold(lead)
    refused(lambda: pulls.start_pull(by=lead, tool=mold, laminate=None), "laminate")
    assert not Pull.objects.exists()


def test_a_mold_on_hold_gives_no_pull_whatever_the_reason(lead):
    mold = make_mold(lead)
    suspects.put_on_hold(by=lead, kind="tool", key=mold.pk, reason="crack at flange")
    no = refused(lambda: make_pull(lead, tool=mold, reason="in a hurry"))
    assert "crack at flange" in no.message


def test_a_retired_mold_gives_no_pull(lead):
    mold = make_mold(lead)
    tooling.act_on_tool(by=lead, tool=mold, kind="retired", note="worn")
    refused(lambda: make_pull(lead, tool=mold, reason="one more"))


def test_a_layup_too_early_asks_for_a_reason_and_keeps_it(lead):
    mold = make_tool(lead)
    make_coat(lead, mold, applied_at=ago(minutes=10))
    mold.refresh_from_db()
    no = refused(lambda: make_pull(lead, tool=mold), "reason")
    assert "Too early" in no.message
    assert make_pull(lead, tool=mold, reason="warm day").reason == "warm day"


def test_a_laminate_of_another_design_asks_for_a_reason(lead):
    door, cowl = make_design(lead), make_design(lead)
    mold = make_mold(lead, design=door)
    other = make_laminate(lead, design=cowl)
    no = refused(lambda: make_pull(lead, tool=mold, laminate=other), "reason")
    assert str(cowl) in no.message
    make_pull(lead, tool=mold, laminate=make_laminate(lead, design=door))


def test_a_mold_without_release_asks_for_a_reason(lead):
    refused(lambda: make_pull(lead, tool=make_tool(lead)), "reason")


def test_rewaxing_due_asks_for_a_reason(lead):
    product = make_product(lead, rewax_every=1)
    mold = make_tool(lead)
    make_coat(lead, mold, product=product, applied_at=ago(days=3))
    mold.refresh_from_db()
    make_demolded(lead, tool=mold)
    no = refused(lambda: make_pull(lead, tool=mold), "reason")
    assert "due again" in no.message


def test_service_due_asks_for_a_reason(lead):
    mold = make_tool(lead, service_interval=1)
    make_coat(lead, mold, applied_at=ago(days=3))
    mold.refresh_from_db()
    make_demolded(lead, tool=mold)
    assert "Service" in refused(lambda: make_pull(lead, tool=mold), "reason").message
    tooling.act_on_tool(by=lead, tool=mold, kind="serviced")
    make_pull(lead, tool=mold)


def test_the_first_pull_after_a_repair_is_marked(lead):
    mold = make_tool(lead)
    make_coat(lead, mold, applied_at=ago(days=3))
    mold.refresh_from_db()
    first = make_demolded(lead, tool=mold)
    defect = tooling.note_defect(
        by=lead, tool=mold, what="pit", place="flange", first_pull=first
    )
    tooling.repair_defect(by=lead, defect=defect, note="filled, sanded to 600")
    second = make_demolded(lead, tool=mold)
    third = make_pull(lead, tool=mold)
    assert [p.after_repair for p in (first, second, third)] == [False, True, False]


def test_an_expired_lot_asks_for_a_reason(lead):
    pull = make_pull(lead)
    ply = pull.laminate.plies.select_related("material").first()
    lot = make_lot(lead, material=ply.material, expires_on=ago(days=2).date())

    def lay(**said):
        lots = {ply.material_id: lot}
        return layups.lay_plies(by=lead, pull=pull, plies=[ply], lots=lots, **said)

    assert "expired" in refused(lay, "reason").message
    assert lay(reason="coupon tested")[0].reason == "coupon tested"


def test_a_lot_out_for_too_long_asks_for_a_reason(lead):
    pull = make_pull(lead)
    ply = pull.laminate.plies.select_related("material").first()
    materials.define_material(by=lead, material=ply.material, out_time_limit=24)
    lot = make_lot(lead, material=ply.material)
    for hours in (20, 5):
        materials.act_on_lot(by=lead, lot=lot, kind="out", minutes=60 * hours)
    lot.refresh_from_db()
    lots = {ply.material_id: lot}
    no = refused(
        lambda: layups.lay_plies(by=lead, pull=pull, plies=[ply], lots=lots), "reason"
    )
    assert "25.0 hours of 24" in no.message


def test_a_lot_on_hold_is_not_laid(lead):
    pull = make_pull(lead)
    ply = pull.laminate.plies.select_related("material").first()
    lot = make_lot(lead, material=ply.material)
    suspects.put_on_hold(by=lead, kind="lot", key=lot.pk, reason="wrong label")
    lot.refresh_from_db()
    refused(
        lambda: layups.lay_plies(
            by=lead,
            pull=pull,
            plies=[ply],
            lots={ply.material_id: lot},
            reason="all we have",
        ),
        f"lot_{ply.material_id}",
    )


def test_each_planned_ply_is_laid_once(lead):
    pull = make_pull(lead)
    lots = lay_all(lead, pull)
    assert list(PlyLaid.objects.values_list("order", flat=True)) == [1, 2]
    refused(lambda: lay_all(lead, pull, lots=lots), "plies")


def test_hardener_off_its_ratio_asks_for_a_reason(lead):
    pull = make_pull(lead)
    no = refused(lambda: mix(lead, pull, hardener=grams("60 g")), "reason")
    assert "-33.3 %" in no.message
    batch = mix(lead, pull, hardener=grams("60 g"), reason="scale was wrong")
    assert batch.off_bp == -3333
    assert mix(lead, pull).off_bp == 0


@pytest.mark.parametrize(
    ("after", "minutes", "passes"),
    [("85.5 kPa", 5, True), ("85.4 kPa", 5, False), ("95 kPa", 2, None)],
)
def test_a_drop_of_at_most_a_tenth_in_five_minutes_passes(lead, after, minutes, passes):
    # 95 kPa at the start: 85.5 passes, 85.4 fails (reference, trade.md 1.4 CHECK).
    from shop.forms.measures import parse_measure

    test = layups.test_bag(
        by=lead,
        pull=make_pull(lead),
        level=parse_measure("95", "pressure", "kPa"),
        after=parse_measure(after, "pressure", "kPa"),
        minutes=minutes,
    )
    assert test.passes is passes


def test_out_of_the_mold_too_early_asks_for_a_reason(lead):
    pull = make_pull(lead)
    lay_all(lead, pull)
    mix(lead, pull)
    refused(lambda: pulls.demold(by=lead, pull=pull, release="clean"))
    pulls.close_layup(by=lead, pull=pull)
    no = refused(lambda: pulls.demold(by=lead, pull=pull, release="clean"), "reason")
    assert "Too early" in no.message
    pulls.demold(by=lead, pull=pull, release="clean", reason="post-cured at 60")
    pull.refresh_from_db()
    assert pull.state == PullState.DEMOLDED


def test_a_layup_is_closed_with_plies_missing_only_for_a_reason(lead):
    no = refused(lambda: pulls.close_layup(by=lead, pull=make_pull(lead)), "reason")
    assert "0 of 2" in no.message


def test_a_pull_yields_several_parts_that_lead_back_to_it(lead):
    pull = make_demolded(lead)
    parts = [make_pulled_part(lead, pull=pull) for _ in range(3)]
    assert set(Lineage.objects.filter(pull=pull).values_list("part", flat=True)) == {
        part.pk for part in parts
    }


def test_a_part_is_born_after_the_pull_is_out(lead):
    refused(lambda: make_pulled_part(lead, pull=make_pull(lead)))


def test_a_part_born_below_a_hold_is_suspect(lead):
    pull = make_demolded(lead)
    suspects.put_on_hold(by=lead, kind="tool", key=pull.tool_id, reason="warped")
    part = make_pulled_part(lead, pull=pull)
    assert part.state == PartState.SUSPECT
    assert Suspect.objects.get(part=part).hold.subject_id == pull.tool_id


def test_working_minutes_add_up(lead):
    pull = make_pull(lead)
    for minutes in (90, 45):
        pulls.note_work(by=lead, pull=pull, minutes=minutes)
    pull.refresh_from_db()
    assert pull.minutes == 135


def test_a_void_pull_keeps_its_number(lead):
    pull = make_pull(lead)
    pulls.void_pull(by=lead, pull=pull, reason="bag burst")
    assert make_pull(lead, tool=pull.tool).number == 2


def test_a_number_is_never_given_twice_by_twelve_at_once(committed_db):
    with by_hand():
        lead = Person.objects.create(username="ada", name="Ada", role=Role.LEAD)
    mold = make_mold(lead)
    laminate = make_laminate(lead)
    start = threading.Barrier(12)
    given = []

    def until_it_has_one():
        start.wait()
        try:
            while True:
                with contextlib.suppress(Refused):
                    pull = make_pull(
                        lead, tool=mold, laminate=laminate, reason="all at once"
                    )
                    given.append(pull.number)
                    pulls.void_pull(by=lead, pull=pull, reason="the next one waits")
                    return
                # Refused while another pull lies on the mold: a person asks again.
        finally:
            connection.close()

    threads = [threading.Thread(target=until_it_has_one) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(given) == list(range(1, 13))
    assert Tool.objects.get(pk=mold.pk).last_pull == 12
    assert Pull.objects.filter(tool=mold).count() == 12


# ---------------------------------------------------------- what time forbids


def test_nothing_comes_out_before_its_lay_up_was_closed(lead):
    pull = make_pull(lead, started_at=ago(hours=9), reason="backdated")
    lay_all(lead, pull)
    mix(lead, pull)
    pulls.close_layup(by=lead, pull=pull, closed_at=ago(hours=6))

    def demold(**span):
        return pulls.demold(
            by=lead,
            pull=pull,
            release="clean",
            demolded_at=ago(**span),
            reason="no recipe",
        )

    refused(lambda: demold(hours=7), "demolded_at")
    demold(hours=5)
    refused_here = pytest.raises(IntegrityError, match="pull_demolded_after")
    with by_hand(), refused_here, atomic():
        Pull.objects.filter(pk=pull.pk).update(demolded_at=ago(hours=8))


def test_giving_a_pull_up_keeps_why_it_was_started(lead, client_of):
    pull = make_pull(lead, started_at=ago(hours=9), reason="the wax is old")
    pull = pulls.void_pull(by=lead, pull=pull, reason="the bag burst")
    pull.refresh_from_db()
    assert (pull.reason, pull.void_reason) == ("the wax is old", "the bag burst")
    page = client_of("lead").get(reverse("pull", args=[pull.pk])).content.decode()
    assert "the wax is old" in page and "the bag burst" in page
    assert reverse("test_bag", args=[pull.pk]) not in page


def test_a_bag_is_tested_only_while_there_is_one(lead):
    level = Measure(90_000, "900 mbar")

    def test(pull):
        return layups.test_bag(by=lead, pull=pull, level=level)

    void = make_pull(lead)
    test(void)
    pulls.void_pull(by=lead, pull=void, reason="dry")
    assert "no bag" in refused(lambda: test(void)).message
    assert "no bag" in refused(lambda: test(make_demolded(lead))).message


def test_plies_that_skip_those_below_them_are_questioned(lead):
    laminate = make_laminate(lead)
    plies = [*laminate.plies.order_by("order")]
    assert len(plies) > 1
    pull = make_pull(lead, laminate=laminate)
    lots = {ply.material_id: make_lot(lead, material=ply.material) for ply in plies}

    def lay(*chosen, **why):
        return layups.lay_plies(by=lead, pull=pull, plies=chosen, lots=lots, **why)

    no = refused(lambda: lay(*plies[1:]), "reason")
    assert f"ply {plies[0].order}" in no.message
    lay(*plies[1:], reason="the first was laid and not written down")
    lay(plies[0])


def test_nobody_names_another_who_is_said_to_have_seen_a_ply(lead, client_of):
    pull = make_pull(lead)
    for name in ("lay_plies", "lay_other_ply"):
        form = client_of("lead").get(reverse(name, args=[pull.pk])).content.decode()
        assert "Seen by" not in form


def test_a_mold_is_stiffened_before_it_leaves_the_plug(lead):
    routes.write_usual_routes(by=lead)
    names = RouteStep.objects.filter(kind="mold").order_by("order")
    order = [*names.values_list("name", flat=True)]
    assert order.index("cure") < order.index("stiffen") < order.index("demold")


def test_a_warm_room_shortens_the_pot_time_by_the_rule_of_ten():
    """Halved for every 10 K warmer (a supplier's text, as in numeric/cure.py)."""
    from datetime import UTC, datetime

    from shop.models import ResinBatch

    mixed = datetime(2026, 6, 1, 10, 0, tzinfo=UTC)
    batch = ResinBatch(mixed_at=mixed, pot_minutes=40, temperature=33_000)
    assert batch.pot_ends.strftime("%H:%M") == "10:40"
    assert batch.pot_ends_in_this_room.strftime("%H:%M") == "10:20"
    assert ResinBatch(mixed_at=mixed, pot_minutes=40).pot_ends_in_this_room is None
    batch.temperature = 60_000
    assert batch.pot_ends_in_this_room is None
