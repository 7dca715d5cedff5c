"""What shows that rework is done, and what scrap asks for."""

import pytest
from django.urls import reverse

from qa.actions import checks, nonconformances, raising
from qa.models import HoleCheck, Nonconformance, NonconformanceState
from qa.queries.nonconformances.rechecks import possible_rechecks
from shop.ledger import Refused
from tests.qa.making import make_check, make_part, read
from tests.qa.test_close_out import WHOLE, Ready, patterned, read_holes
from tests.qa.test_item_life import hurt, more_people
from tests.shop.making import make_placement

pytestmark = pytest.mark.django_db


def measured(people, fit_up=None, *, by="builder", flush=None, **gaps):
    """A finished check of gaps and steps that conform, but for those named ("s4")."""
    check = make_check(people["engineer"], fit_up=fit_up)
    for n in range(1, 9):
        read(check, str(n), "gap", gaps.get(f"s{n}", "2.00"), by=people[by])
        step = (flush or {}).get(f"s{n}", "0.00")
        read(check, str(n), "flush", step, by=people[by])
    checks.finish_check(by=people[by], check=check)
    return check


def raised(people, check) -> list[Nonconformance]:
    rows = raising.raise_findings(by=people["lead"], check=check)
    related = ("standing", "part__design", "fit_check__fit_up")
    return [Nonconformance.objects.select_related(*related).get(pk=r.pk) for r in rows]


def decided(people, item, way="rework"):
    nonconformances.dispose(
        by=people["engineer"], item=item, disposition=way, note="so", concession="C-1"
    )


def worked(people, item, way="rework"):
    decided(people, item, way)
    nonconformances.work(by=people["lead"], item=item, note="filled and sanded")
    item.standing.refresh_from_db()


def verified(people, item, recheck):
    nonconformances.verify(by=people["inspector"], item=item, recheck=recheck)


@pytest.mark.parametrize("way", ["rework", "repair"])
def test_a_check_begun_before_the_work_does_not_show_it_and_the_page_says_so(
    people, client_of, way
):
    first = measured(people, s4="1.00")
    (item,) = raised(people, first)
    before = measured(people, first.fit_up)
    worked(people, item, way)
    with pytest.raises(Refused, match="begun before the work was recorded") as no:
        verified(people, item, before)
    assert no.value.field == "recheck"
    assert not possible_rechecks(item).exists()
    page = client_of("inspector").get(reverse("nonconformance", args=[item.pk]))
    told = f"is not offered: {before.label}. Measure again"
    assert told in page.content.decode()
    after = measured(people, first.fit_up)
    assert list(possible_rechecks(item)) == [after]
    verified(people, item, after)


def test_rework_is_shown_by_the_whole_re_check_but_for_what_other_items_name(people):
    first = measured(people, s4="1.00")
    (item,) = raised(people, first)
    worked(people, item)
    again = measured(people, first.fit_up, s7="1.00", flush={"s1": "-2.00"})
    with pytest.raises(Refused, match=r"not shown at 1 flush, 7 gap\. Work that"):
        verified(people, item, again)
    gap, step = sorted(raised(people, again), key=lambda row: row.kind, reverse=True)
    assert (gap.stations, step.stations) == (["7"], ["1"])
    # Each is another's to answer: named by an item that is open, or decided to stay.
    decided(people, gap, "use_as_is")
    nonconformances.verify(by=people["inspector"], item=gap, note="no load there")
    verified(people, item, again)
    # What was put right at another time is no excuse for what deviates now.
    worked(people, step)
    worse = measured(people, first.fit_up, s7="0.90", s4="1.00")
    with pytest.raises(Refused, match="not shown at 4 gap, 7 gap"):
        verified(people, step, worse)
    last = measured(people, first.fit_up, s7="1.00")
    verified(people, step, last)


def test_a_re_check_does_not_show_what_a_newer_one_denies(people):
    first = measured(people, s4="1.00")
    (item,) = raised(people, first)
    worked(people, item)
    good = measured(people, first.fit_up)
    worse = measured(people, first.fit_up, s4="1.00")
    with pytest.raises(Refused, match=f"{worse.label} is newer .* at 4 gap") as no:
        verified(people, item, good)
    assert no.value.field == "recheck"
    # At another place it is another item's to answer; what is newest counts.
    measured(people, first.fit_up, s7="1.00")
    verified(people, item, good)


def test_an_item_of_another_serial_covers_nothing(people):
    first = measured(people, s4="1.00")
    (item,) = raised(people, first)
    worked(people, item)
    raising.raise_by_hand(
        by=people["lead"],
        airframe=first.fit_up.airframe,
        joint=first.fit_up.joint,
        part=make_part(people["engineer"]),
        stations="7",
        title="tight",
    )
    again = measured(people, first.fit_up, s7="1.00")
    with pytest.raises(Refused, match="not shown at 7 gap"):
        verified(people, item, again)


def test_whoever_did_the_work_does_not_measure_its_re_check(people):
    first = measured(people, s4="1.00")
    (item,) = raised(people, first)
    worked(people, item)
    own = measured(people, first.fit_up, by="lead")
    with pytest.raises(Refused, match="did the work and measured the re-check") as no:
        verified(people, item, own)
    assert no.value.field == "recheck"
    assert NonconformanceState.objects.get(pk=item.pk).state == "worked"
    verified(people, item, measured(people, first.fit_up))


def test_rework_of_a_hole_is_shown_by_another_and_by_all_that_was_read_again(people):
    ready = Ready(more_people(people))
    pattern, shell = patterned(ready, joint=ready.joint), ready.placed[1].part
    read_holes(ready, pattern, shell, **{**WHOLE, "h3": "40.5"})
    item = raising.raise_holes(
        by=people["builder"], check=HoleCheck.objects.latest("pk")
    )
    worked(people, item)
    seen = {"by": people["inspector"], "item": item, "note": "seen"}
    read_holes(ready, pattern, shell, by="lead", h3="40")
    with pytest.raises(Refused, match="did the work and found it again"):
        nonconformances.verify(**seen)
    read_holes(ready, pattern, shell, h2="20.5", h3="40")
    with pytest.raises(Refused, match=r"not shown: 2\. Work that"):
        nonconformances.verify(**seen)
    raising.raise_holes(by=people["builder"], check=HoleCheck.objects.latest("pk"))
    nonconformances.verify(**seen)


def test_scrap_needs_a_reason_as_on_the_page_of_the_part(people, client_of):
    item = hurt(people)
    page = client_of("lead").post(
        reverse("nonconformance_act", args=[item.pk, "dispose"]),
        {"dispose-disposition": "scrap", "dispose-note": " "},
    )
    assert "Say why." in page.content.decode()
    assert not item.steps.exists()


def test_scrap_is_left_out_of_what_sits_on_an_airframe_and_the_page_says_why(
    people, client_of
):
    part = make_part(people["engineer"])
    make_placement(people["engineer"], part=part, reason="made for a test")
    item, client = hurt(people, part=part), client_of("lead")
    why = f"{part} sits on an airframe: take it off first, then scrap it."
    page = client.get(reverse("nonconformance", args=[item.pk])).content.decode()
    assert f"Scrap is not offered: {why}" in page and 'value="scrap"' not in page
    there = reverse("nonconformance_act", args=[item.pk, "dispose"])
    said = {"dispose-disposition": "scrap", "dispose-note": "crushed"}
    page = client.post(there, said).content.decode()
    assert (
        page.count("take it off first") > 1 and "are the engineer&#x27;s to" not in page
    )
    page = client.post(there, said | {"dispose-disposition": "repair"})
    assert "Use as is and repair are the engineer&#x27;s to" in page.content.decode()
