"""What a mold and its plug are told by, where that is one gauge, or one that was found
off; and that the error of a plug is corrected once."""

import html
import io
import re
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from qa.actions import gauges, instruments, tool_corrections
from qa.models import Kind, ToolCorrection
from qa.numeric.tool.estimate import Advice
from qa.numeric.tool.least_squares import Why
from qa.queries.molds import corrections, plugs
from qa.rules import mold_assessment, mold_kin
from qa.rules.mold_assessment import Choice
from qa.rules.over_parts import Which, over_parts
from shop.actions import tooling
from shop.ledger import Refused
from shop.models import Lineage, Origin, Part, Pull, PullState, Tool
from tests.around import by_hand
from tests.qa.making import (
    make_check,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    make_stations,
    mm,
    read,
)
from tests.qa.molding import Shop, noisy, ripple
from tests.qa.test_known_on_pages import SHARED, budgeted
from tests.shop.making_floor import make_mold, make_tool

LABELS = [str(n) for n in range(1, 11)]


@pytest.fixture
def shop(people):
    return Shop(people["lead"])


@pytest.fixture
def two(shop):
    """Two molds of one plug."""
    plug = make_tool(shop.by, kind="plug")
    tooling.change_tool(by=shop.by, tool=shop.mold, plug=plug)
    shop.mold.refresh_from_db()
    return SimpleNamespace(
        plug=plug, molds=[shop.mold, make_mold(shop.by, design=shop.design, plug=plug)]
    )


def wide(seed: int, by: float = 0.13, more=None) -> dict[str, float]:
    return {at: gap + by for at, gap in noisy(seed, more or {}).items()}


def fit_both(shop, two, gaps, seeds=(1, 2)):
    for seed in seeds:
        for number, mold in enumerate(two.molds):
            wave = seed + 5 * number
            shop.fit(shop.pull(mold), shop.airframes[0], gaps(wave), ripple(wave))


def taken(shop, mold) -> ToolCorrection:
    shop.mold = mold
    row = tool_corrections.take(by=shop.by, correction=shop.page().draft)
    return again(row)


def again(row) -> ToolCorrection:
    rows = ToolCorrection.objects.select_related(*corrections.RELATED)
    return rows.get(pk=row.pk)


def on_plug(shop, row, note="scraped"):
    return tool_corrections.record_on_plug(
        by=shop.by, correction=again(row), what="off", place="there", note=note
    )


def plain(answer) -> str:
    return " ".join(
        re.sub("<[^>]+>", " ", html.unescape(answer.content.decode())).split()
    )


@pytest.mark.either_database
def test_what_one_gauge_may_be_off_is_neither_the_molds_nor_the_plugs(
    shop, two, client_of
):
    """All gaps 0.13 too wide by a gauge whose zero may be off by 0.16: a uniform gap
    all round is no motion, a uniform flushness is one."""
    shop.gauge = budgeted(shop.by, SHARED)
    fit_both(shop, two, wide)
    page = shop.page()
    gap, flush = page.assessment.report.gap, page.assessment.report.flush
    assert {value.why for value in gap if value.low_mm > 0} == {Why.ONE_GAUGE}
    assert max(value.zero_mm for value in flush) < 1e-9
    assert 0.1 < max(value.zero_mm for value in gap) < 0.25
    assert not any(row.gap.does for row in page.rows)
    assert not any("Correct" in line for line in page.shared)
    code = shop.gauge.code
    said = (
        f"All or most of gap and flushness was read with {code}. "
        "Its zero may be off by up to"
    )
    assert any(note.startswith(f"{said} 0.16 mm (by its budget") for note in page.notes)
    # 1.3 is more than that, and the plug's; the record keeps by what it was told.
    plug = make_tool(shop.by, kind="plug")
    two.molds = [make_mold(shop.by, design=shop.design, plug=plug) for _ in "ab"]
    fit_both(shop, two, lambda seed: wide(seed, more={"4": -1.3, "5": -1.2}))
    shop.mold = two.molds[0]
    (line,) = (line for line in shop.page().shared if f"Correct {plug.code}" in line)
    assert "the same in gap at 4, 5" in line
    row = taken(shop, shop.mold)
    assert row.content["form"] == "correction_body/7"
    assert row.content["gauges"] == [
        [kind, code, mm(0.16), True, []] for kind in (Kind.GAP, Kind.FLUSH)
    ]
    assert said in plain(client_of("builder").get(f"/corrections/{row.number}/"))
    # One part by another gauge takes next to nothing of its zero out of the mean; where
    # each read as much, the zeros are one of what parts differ by.
    before = len(shop.page().assessment.used)
    shop.gauge = make_instrument(shop.by)
    for seed in range(5, 5 + before):
        assert [one.code for one in shop.page().assessment.gauges] == [code] * 2
        shop.fit(shop.pull(), shop.airframes[0], wide(seed), ripple(seed))
    assert shop.page().assessment.gauges == ()


@pytest.mark.either_database
def test_gauges_that_read_a_place_each_may_be_off_there_by_their_own(shop):
    """Nobody read most of all: the one the left half of each part, the other the right.
    Of the second another check tells nothing; the greatest that is known counts."""
    left, right = (make_instrument(shop.by, u_nm=mm(u)) for u in (0.05, 0.3))
    for seed in (1, 2, 3):
        part, gaps, flushes = shop.pull(), wide(seed, 0.4), ripple(seed)
        fit_up = make_fit_up(shop.by, shop.joint, airframe=shop.airframes[0], part=part)
        for gauge, labels in ((left, LABELS[:5]), (right, LABELS[5:])):
            check = make_check(shop.by, fit_up, instrument=gauge)
            for label in labels:
                read(check, label, "gap", f"{2.25 + gaps[label]:.3f}")
                read(check, label, "flush", f"{flushes[label]:.3f}")
        instruments.save_instrument(by=shop.by, instrument=right, u_nm=None)
    page = shop.page()
    for gauge, labels, most in ((left, LABELS[:5], 0.1), (right, LABELS[5:], 0.6)):
        said = (
            f"All or most of gap and flushness at {', '.join(labels)} was read with "
            f"{gauge.code}. Its zero may be off by up to {most:.2f} mm"
        )
        assert any(note.startswith(said) for note in page.notes), page.notes
    zeros = [value.zero_mm for value in page.assessment.report.gap]
    assert min(zeros) > 0.2  # of 0.6, by parts that sit as they read
    # Uniform it would be another seating; a step between the two is none.
    assert max(value.zero_mm for value in page.assessment.report.flush) > 0.1


@pytest.mark.either_database
def test_a_gauge_without_a_budget_may_share_all_of_its_uncertainty(shop):
    shop.gauge = make_instrument(shop.by, u_nm=mm(0.3))
    for seed in (1, 2):
        shop.fit(shop.pull(), shop.airframes[0], wide(seed, 0.4), ripple(seed))
    page = shop.page()
    assert any("0.60 mm (twice its uncertainty" in note for note in page.notes)
    assert not any(value.advice == Advice.OUT for value in page.assessment.report.gap)
    assert page.rest.startswith("Leave") and "nothing can be told" in page.rest


@pytest.mark.either_database
def test_the_drift_of_a_mold_names_the_gauges_in_doubt_that_read_it(shop, client_of):
    """Also of pulls that the advice is not told by; parts that the page names already
    are not named again, whatever other molds show.
    Of a gauge that was overdue and off nothing says that a calibration clears it."""
    off, shop.gauge = make_instrument(shop.by), make_instrument(shop.by)
    due = timezone.localdate() - timedelta(days=1)
    off = instruments.save_instrument(by=shop.by, instrument=off, due=due)
    parts = [shop.pull() for _n in range(4)]
    for seed, part in enumerate(parts):
        gauge, shop.gauge = shop.gauge, off if seed < 2 else shop.gauge
        shop.fit(part, shop.airframes[0], noisy(seed), ripple(seed))
        shop.gauge = gauge
    plug = make_tool(shop.by, kind="plug")
    tooling.change_tool(by=shop.by, tool=shop.mold, plug=plug)
    names = f"It read {parts[0].serial}, {parts[1].serial}: "
    client = client_of("visitor")
    address = f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/"
    newest = f"{address}?first_pull=3"
    clears = f"{names}a calibration that finds it good clears this"
    for page in (address, newest, f"/tooling/{shop.mold.pk}/"):
        assert plain(client.get(page)).count(clears) == 1, page
    found_off(shop.by, off)
    again = f"{names}read them again with another gauge"
    for page in (address, newest, f"/tooling/{shop.mold.pk}/"):
        words = plain(client.get(page))
        assert words.count(again) == 2 and "finds it good" not in words, page
    shop.gauge = off
    other = make_mold(shop.by, design=shop.design, plug=plug)
    gauges.set_gauge_rules(by=shop.by, unfit="warn")
    for seed in (7, 8):
        shop.fit(shop.pull(other), shop.airframes[0], noisy(seed), ripple(seed))
    words = plain(client.get(address))
    assert words.count(f"{parts[1].serial}, {other.code}-1") == 2
    assert words.count(f"It read {parts[0].serial}") == 2


@pytest.mark.either_database
def test_a_gauge_used_overdue_is_told_as_one_found_off_is_until_it_is_good(
    shop, two, client_of
):
    """Of the checks by which it was told: not of one that was begun since."""
    first, second = two.molds
    shop.gauge, due = make_instrument(shop.by), timezone.localdate() - timedelta(days=1)
    long = {"4": -1.3, "5": -1.2}
    parts = []
    for seed in (1, 2):
        parts.append(shop.pull(first))
        shop.fit(parts[-1], shop.airframes[0], noisy(seed, long), ripple(seed))
    instruments.save_instrument(by=shop.by, instrument=shop.gauge, due=due)
    late, shop.gauge = shop.gauge, make_instrument(shop.by)
    for seed in (3, 4):
        part = shop.pull(second)
        shop.fit(part, shop.airframes[0], noisy(seed, long), ripple(seed))
    row = taken(shop, second)
    names = ", ".join(part.serial for part in parts)
    said = (
        f"The calibration of {late.code} was due {due}, before this was read. It read "
        f"{names}: a calibration that finds it good clears this."
    )
    client = client_of("lead")
    pages = [f"/corrections/{row.number}/", f"/tooling/{two.plug.pk}/"]
    for mold in two.molds:
        pages.append(f"/tooling/{mold.pk}/")
        pages.append(f"/molds/{mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/")
    over = reverse("over_parts", args=[shop.joint.pk])
    for page in (*pages, over):
        assert plain(client.get(page)).count(said) == 1, page
    sheet = client.get(f"/corrections/{row.number}/sheet.pdf").content
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(sheet)).pages)
    assert said in " ".join(text.split())
    # One more check of the same fit-up since, by a gauge that turns out to be off.
    other = make_instrument(shop.by)
    since = make_check(shop.by, part.fit_ups.get(), instrument=other)
    read(since, "4", "gap", "2.20")
    found_off(shop.by, other)
    assert other.code not in plain(client.get(f"/corrections/{row.number}/"))
    gauges.record_calibration(
        by=shop.by, instrument=late, done_on=timezone.localdate(), result="good",
        laboratory="a lab",
    )  # fmt: skip
    for page in (*pages, over):
        assert said not in plain(client.get(page)), page


def test_a_plug_that_is_called_otherwise_keeps_its_corrections_and_their_days(
    shop, two, client_of
):
    """Recorded days late, it was done before the molds that were made since."""
    fit_both(shop, two, lambda seed: noisy(seed))
    row, then = taken(shop, two.molds[0]), two.plug.code
    tooling.change_tool(by=shop.by, tool=two.plug, code=f"{then}-X")
    stranger = make_tool(shop.by, kind="plug", code=then)
    assert plugs.corrections_of_plug(stranger, "mm") == []
    two.plug.refresh_from_db()
    assert [one.open for one in plugs.corrections_of_plug(two.plug, "mm")] == [True]
    client, page = client_of("lead"), f"/corrections/{row.number}/"
    assert f"Correct {then} (now {then}-X), or every mold" in plain(client.get(page))
    today = timezone.localdate()
    answer = client.post(f"{page}on-plug/", {"note": "scraped", "done_on": ""})
    assert answer.context["form"].errors["done_on"]
    for ago, why in ((-1, "still to come"), (1, "it was not done before")):
        said = {"note": "scraped", "done_on": today - timedelta(days=ago)}
        answer = client.post(f"{page}on-plug/", said)
        assert why in answer.context["form"].errors["done_on"][0], ago
        assert "scraped" in plain(answer)
    row = again(row)
    row.entry.received_at -= timedelta(days=9)  # as though it had been decided then
    tool_corrections.record_on_plug(
        by=shop.by, correction=row, what="off", place="there", note="scraped",
        done_on=today - timedelta(days=4),
    )  # fmt: skip
    day = today - timedelta(days=4)
    assert f"done on {day}" in plain(client.get(page))
    sheet = client.get(f"{page}sheet.pdf").content
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(sheet)).pages)
    assert f"{day}, scraped" in text
    assert two.plug.defects.get().repair.note == f"{row.label}, {day}: scraped"
    before, after = (
        make_tool(
            shop.by, kind="mold", design=shop.design, plug=two.plug,
            made_at=timezone.now() - timedelta(days=ago),
        )
        for ago in (6, 2)
    )  # fmt: skip
    for seed in (7, 8):
        for mold in (before, after):
            shop.fit(shop.pull(mold), shop.airframes[0], noisy(seed), ripple(seed))
    shop.mold = two.molds[1]
    (other,) = (line for line in shop.page().shared if "between this mold" in line)
    assert f"this mold and {after.code}:" in other
    for mold, since in ((before, True), (after, False)):
        shop.mold = mold
        told = any("since this mold was made" in line for line in shop.page().shared)
        assert told is since


def found_off(by, gauge):
    gauges.record_calibration(
        by=by, instrument=gauge, done_on=timezone.localdate(), result="off",
        laboratory="a lab", certificate="C-9", note="0.3 too wide",
    )  # fmt: skip


@pytest.mark.either_database
def test_a_gauge_found_off_is_told_of_the_mold_of_its_correction_and_of_the_plug(
    shop, two, client_of
):
    """Also where it read only the other mold of the plug."""
    shop.gauge, good = make_instrument(shop.by), make_instrument(shop.by)
    first, second = two.molds
    long = {"4": -1.3, "5": -1.2}
    parts = []
    for seed in (1, 2):
        part = shop.pull(first)
        shop.fit(part, shop.airframes[0], noisy(seed, long), ripple(seed))
        parts.append(part.serial)
    off, shop.gauge = shop.gauge, good
    for seed in (3, 4):
        part = shop.pull(second)
        shop.fit(part, shop.airframes[0], noisy(seed, long), ripple(seed))
    assert shop.page().doubts == []
    rows = [taken(shop, mold) for mold in (second, first)]
    found_off(shop.by, off)
    why = (
        f"{off.code} was found off on {timezone.localdate()}: what it read is in doubt"
    )
    said = f"{why}. It read {', '.join(parts)}: read them again"
    client = client_of("lead")
    pages = [f"/corrections/{row.number}/" for row in rows]
    for mold in two.molds:
        pages.append(f"/tooling/{mold.pk}/")
        pages.append(f"/molds/{mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/")
    for page in pages:
        assert plain(client.get(page)).count(said) == 1, page
    assert plain(client.get(f"/tooling/{two.plug.pk}/")).count(said) == 2
    sheet = client.get(f"/corrections/{rows[0].number}/sheet.pdf").content
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(sheet)).pages)
    assert " ".join(text.split()).count(said) == 1
    chart = reverse("over_parts_place", args=[shop.joint.pk, "4", "gap"])
    assert plain(client.get(chart)).count(said) == 1
    assert good.code not in " ".join(shop.page().doubts)
    # Done, and one part read since, by a gauge that is off too: the mold's page shows
    # the record with its doubts, and what came has its own.
    tool_corrections.record_done(
        by=shop.by, correction=rows[1], what="off", place="there", note="scribed"
    )
    shop.gauge, part = make_instrument(shop.by), shop.pull(first)
    shop.fit(part, shop.airframes[1], noisy(5, {}), ripple(5))
    found_off(shop.by, shop.gauge)
    words = plain(client.get(f"/tooling/{first.pk}/"))
    assert words.count(said) == 1 and "as it was before" in words
    since = f"It read {part.serial}: read them again"
    words = plain(client.get(f"/corrections/{rows[1].number}/"))
    assert words.count(since) == 1 and words.count(said) == 1


@pytest.mark.either_database
def test_the_error_of_a_plug_is_corrected_once(shop, two, client_of):
    """By whichever mold it was told, also where the other's was taken before; what was
    taken, withdrawn and taken again is no second error."""
    fit_both(shop, two, lambda seed: noisy(seed))
    first, second = two.molds
    withdrawn = taken(shop, first)
    tool_corrections.withdraw(by=shop.by, correction=withdrawn, note="wait")
    assert plugs.of_plug(again(withdrawn), "mm") is None
    with pytest.raises(Refused, match="withdrawn"):
        on_plug(shop, withdrawn)
    a = taken(shop, first)
    with CaptureQueriesContext(connection) as few:
        plugs.corrections_of_plug(two.plug, "mm")
    b = taken(shop, second)
    with CaptureQueriesContext(connection) as many:
        plugs.corrections_of_plug(two.plug, "mm")
    assert len(many) == len(few)
    told = plugs.corrections_of_plug(two.plug, "mm")
    assert [one.row.pk for one in told] == [b.pk, a.pk] and all(
        one.open for one in told
    )
    on_plug(shop, a)
    with pytest.raises(Refused, match=f"corrected there already, by {a.label}"):
        on_plug(shop, b)
    client = client_of("lead")
    words = plain(client.get(f"/tooling/{two.plug.pk}/"))
    assert f"The plug was corrected by {a.label} on" in words
    assert "Not recorded as corrected" not in words
    assert "/on-plug/" not in client.get(f"/tooling/{two.plug.pk}/").content.decode()
    # Taken again it names the mold alone.
    tool_corrections.withdraw(by=shop.by, correction=b, note="anew")
    shop.mold = second
    page = shop.page()
    assert f"corrected there since this mold was made ({a.label})" in page.shared[0]
    assert not any(row.gap.whose for row in page.rows)
    assert any(row.gap.does for row in page.rows)
    c = taken(shop, second)
    with pytest.raises(Refused, match="names nothing of a plug"):
        on_plug(shop, c)


@pytest.mark.either_database
def test_a_plug_is_told_of_itself_only_and_of_what_is_worth_it(shop, two):
    """What stands in a record is of the plug that the mold had then."""
    fit_both(shop, two, lambda seed: noisy(seed))
    row = taken(shop, two.molds[0])
    other = make_tool(shop.by, kind="plug")
    tooling.change_tool(by=shop.by, tool=two.molds[0], plug=other)
    assert plugs.corrections_of_plug(other, "mm") == []
    with pytest.raises(
        Refused, match=f"told of {two.plug.code}; .* {other.code} by now"
    ):
        on_plug(shop, row)
    assert plugs.of_plug(again(row), "mm") is None
    # Beyond its bounds everywhere, and worth nothing: no instruction, no button.
    content = again(row).content
    for station in content["stations"]:
        for kind in Kind.values:
            station[kind]["advice"] = "leave"
    assert mold_kin.from_record(content).of_plug and mold_kin.named_of(content) == []


@pytest.mark.either_database
def test_molds_of_a_plug_that_serve_joints_of_both_hands_are_of_one_state(shop, two):
    """The plug was corrected by a mold at one joint; of one that was made since, and is
    read at the joint that mirrors it, the others say nothing, and it not of them."""
    mirror = make_joint(
        shop.by, make_stations(10, trim_max_nm=mm(4)), type=shop.joint.type,
        mirror=shop.joint,
    )  # fmt: skip
    shop.joint.refresh_from_db()
    fit_both(shop, two, lambda seed: noisy(seed))
    on_plug(shop, taken(shop, two.molds[0]))
    later = timezone.now() + timedelta(seconds=1)
    third = make_tool(
        shop.by, kind="mold", design=shop.design, plug=two.plug, made_at=later
    )
    for seed in (3, 4):
        shop.fit(shop.pull(third), shop.airframes[1], noisy(seed), joint=mirror)
    shop.mold = Tool.objects.get(pk=two.molds[1].pk)
    said = f"{two.plug.code} was corrected here between this mold and {third.code}"
    assert any(line.startswith(said) for line in shop.page().shared)


@pytest.mark.either_database
def test_one_opening_is_asked_for_before_the_newest_fits_are_cut_out(shop):
    """Two parts in one opening, then more in another than are looked at: these two."""
    for seed in (1, 2):
        shop.fit(shop.pull(), shop.airframes[0], noisy(seed), ripple(seed))
    found = shop.found
    late = [
        replace(found.fits[0], opening="later", part=Part(pk=-n, serial=f"X-{n}"))
        for n in range(mold_assessment.MOST_FITS)
    ]
    every = replace(found, fits=[*found.fits, *late])
    told = mold_assessment.assess(every, Choice(opening=found.fits[0].opening))
    assert told.used == found.fits and told.older == 0
    assert told.report.anything


@pytest.mark.either_database
def test_a_joint_without_limits_for_flushness_hears_that_its_mold_is_left(people):
    shop = Shop(people["lead"], make_stations(10, flush=(None, None)))
    for seed in (1, 2):
        shop.fit(shop.pull(), shop.airframes[0], noisy(seed, {}), dict.fromkeys("1"))
    assert shop.page().rest == "Leave the mold as it is."


def test_more_repairs_than_a_line_can_break_at_are_said_and_made_parts_stand_behind(
    shop, client_of
):
    """The page of the mold, and the joint's to which it links, tell the same parts:
    what was bonded from a part of a pull too, and nothing of a void pull."""
    made = []
    for seed in (1, 2):
        part = shop.pull()
        done = make_part(shop.by, design=shop.design)
        with by_hand():
            Lineage.objects.create(
                part=done, source=part, kind=Origin.BONDED,
                entry=part.lineage.get().entry,
            )  # fmt: skip
        shop.fit(done, shop.airframes[0], noisy(seed), ripple(seed))
        made.append(done)
    pulls = [read.pull.number for read in over_parts(shop.joint, Which.FIRST).reads]
    assert pulls == [fit.pull.number for fit in shop.found.fits] == [1, 2]
    with by_hand():
        row = Pull.objects.get(tool=shop.mold, number=2)
        row.number = 200
        row.save()
        for number in range(2, 103):
            row.pk, row.number, row.after_repair = None, number, True
            row.uuid = uuid4()
            row.save()
    why = "its pulls lie between more than 100 repairs: too many for a line"
    client = client_of("lead")
    page = f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/"
    assert why in plain(client.get(page))
    place = reverse("over_parts_place", args=[shop.joint.pk, "4", "gap"])
    assert why in plain(client.get(place))
    with by_hand():
        Pull.objects.filter(tool=shop.mold, number=200).update(state=PullState.VOID)
    reads = over_parts(shop.joint, Which.FIRST).reads
    assert [read.pulls for read in reads] == [reads[0].pulls, ()]
    assert len(shop.found.fits) == 1
