"""What the first fits of its parts say of a mold, and what is done about it."""

import csv
import html
import io
import json
import re
from dataclasses import replace

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from qa.actions import checks, fitups, tool_corrections, trimming
from qa.actions.trimming import Taken
from qa.files import joint_text
from qa.models import Check, CorrectionEnd, CurrentReading, Kind, ToolCorrection
from qa.numeric.tool.characteristics import free_to_move
from qa.numeric.tool.estimate import PulledReading, estimate_tool
from qa.numeric.tool.least_squares import Why
from qa.queries.molds import corrections, fits
from qa.queries.molds.kin import sentences
from qa.rules import mold_assessment, mold_corrections, mold_kin
from qa.rules.mold_assessment import Choice, Openings
from qa.rules.mold_kin import Kin, Relative
from qa.rules.over_parts import Which, over_parts
from qa.rules.planning import RELATED
from shop.actions import tooling
from shop.ledger import Refused
from shop.models import DefectRepair, Tool
from tests.around import by_hand
from tests.qa.making import (
    make_check,
    make_design,
    make_part,
    make_stations,
    mm,
    read,
    revise,
)
from tests.qa.molding import LONG, Shop, noisy, ripple
from tests.shop.making_floor import make_mold, make_tool

LABELS = tuple(map(str, range(1, 11)))


@pytest.fixture
def shop(people):
    """A mold of covers, its joint and two airframes."""
    return Shop(people["lead"])


@pytest.mark.either_database
def test_what_the_page_tells_is_what_the_command_tells_from_files(
    shop, tmp_path, capsys
):
    """The same readings by hand, through the joint's own download: an own way from the
    records to the numbers."""
    rows = []
    for seed in (1, 2, 3):
        part, gaps = shop.pull(), noisy(seed)
        shop.fit(part, shop.airframes[0], gaps)
        rows += [(part.serial, n, 2.25 + gap, 0.0) for n, gap in gaps.items()]
    joint, readings = tmp_path / "joint.csv", tmp_path / "readings.csv"
    stations = shop.joint.current.stations.select_related("surround")
    joint.write_text(joint_text.write(joint_text.rows_of(stations)))
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(("part", "station", "gap_mm", "flush_mm"))
    writer.writerows((part, n, f"{g:.3f}", f"{f:.3f}") for part, n, g, f in rows)
    readings.write_text(text.getvalue())
    call_command("correct_tool", str(joint), str(readings), "--json")
    said = json.loads(capsys.readouterr().out)
    report = shop.assessment().report
    assert report.anything
    for station, gap in zip(said["stations"], report.gap, strict=True):
        assert station["gap"]["advice"] == str(gap.advice)
        for name in ("tool_mm", "low_mm", "high_mm", "correction_mm"):
            assert station["gap"][name] == pytest.approx(getattr(gap, name), abs=1e-6)
    does = [s["station"] for s in said["stations"] if s["gap"]["advice"] == "in"]
    assert {"4", "5"} <= set(does)
    page = shop.page()
    assert page.now == f"{said['conforming_share']['now']:.1%}"
    assert all(0 < share < 1 for share in vars(report.share).values())


@pytest.mark.either_database
def test_what_was_cut_before_is_added_back_by_its_place(shop):
    """A part cut at 4 to 5 on one airframe and then tried on another reads as if it had
    not been cut; so does one read after the joint was revised with other labels."""
    part = shop.pull()
    gaps = noisy(1)
    check = shop.fit(part, shop.airframes[0], gaps)
    checks.finish_check(by=shop.by, check=check)
    loaded = Check.objects.select_related(*RELATED).get(pk=check.pk)
    taken = [Taken(loaded, label, "part", "0.8", "mm") for label in ("4", "5")]
    trimming.record_trim(by=shop.by, checks=[loaded], taken=taken, reason="x")
    after = {label: gap + (0.8 if label in "45" else 0) for label, gap in gaps.items()}
    shop.fit(part, shop.airframes[1], after)
    first, again = shop.found.fits
    assert first.opening != again.opening
    assert again.nm == first.nm
    assert again.cut_nm == {3: mm(0.8), 4: mm(0.8)}


@pytest.mark.either_database
def test_an_opening_that_was_cut_is_told_as_it_was(shop):
    """What came off the surround's edge opened the gap, and not the mold."""
    frame = make_design(shop.by)
    shell = make_part(shop.by, design=frame)
    gaps = noisy(1)

    def fit(part, gaps):
        fit_up = fitups.open_fit_up(
            by=shop.by, joint=shop.joint, airframe=shop.airframes[0], part=part,
            surround_part=shell, why="a test",
            reason="first" if not part_seen else "swap",
        )  # fmt: skip
        part_seen.append(part)
        check = make_check(shop.by, fit_up)
        for label, gap in gaps.items():
            read(check, label, "gap", f"{2.25 + gap:.3f}")
        return check

    part_seen = []
    sides = make_stations(10, trim_side="both", trim_max_nm=mm(4))
    revise(shop.by, shop.joint, sides)
    shop.joint.refresh_from_db()
    check = fit(shop.pull(), gaps)
    loaded = Check.objects.select_related(*RELATED).get(pk=check.pk)
    taken = [Taken(loaded, "4", "surround", "0.5", "mm")]
    trimming.record_trim(by=shop.by, checks=[loaded], taken=taken, reason="x")
    fit(shop.pull(), {**gaps, "4": gaps["4"] + 0.5})
    first, second = shop.found.fits
    assert second.nm == first.nm


@pytest.mark.either_database
def test_finished_edges_are_brought_to_bare_ones(shop):
    revise(
        shop.by,
        shop.joint,
        make_stations(10),
        finish_part_nm=mm(0.1),
        finish_surround_nm=mm(0.15),
    )
    shop.joint.refresh_from_db()
    part = shop.pull()
    shop.fit(part, shop.airframes[0], {}, finish="finished")
    other = shop.pull()
    bare = dict.fromkeys(map(str, range(1, 11)), 0.25)
    flushes = dict.fromkeys(map(str, range(1, 11)), 0.05)
    shop.fit(other, shop.airframes[1], bare, flushes, finish="bare")
    first, second = shop.found.fits
    assert first.nm == second.nm


@pytest.mark.either_database
def test_a_station_that_moved_is_left_out_and_said(shop):
    part = shop.pull()
    shop.fit(part, shop.airframes[0], {})
    moved = make_stations(10, trim_max_nm=mm(4))
    moved[3] = replace(moved[3], label="4a")
    x, y, z = moved[6].place_nm
    moved[6] = replace(moved[6], place_nm=(x + mm(3), y, z))
    revise(shop.by, shop.joint, moved)
    shop.joint.refresh_from_db()
    shop.fit(shop.pull(), shop.airframes[1], {})
    first = min(shop.found.fits, key=lambda fit: fit.pull.number)
    assert first.unlike == 4
    assert {row for row, _ in first.nm} == set(range(10)) - {3, 6}
    page = shop.page()
    assert any("left out" in note for note in page.notes)
    named = [replace(one, label=f"{one.label}b") for one in moved]
    revise(shop.by, shop.joint, named)
    shop.joint.refresh_from_db()
    assert shop.page().rows[0].gap.code == "cannot_tell"


@pytest.mark.either_database
def test_openings_that_nothing_links_never_pass_for_the_mold(shop):
    """Each part in an opening of its own: they count into the scatter. Two that share
    one beside a third: only the shared one is looked at. Linked: told apart."""
    parts = [shop.pull() for _ in range(3)]
    tight = dict.fromkeys(("7", "8"), -0.6)  # an opening that is small there
    shop.fit(parts[0], shop.airframes[0], noisy(1))
    assert shop.assessment().openings == Openings.ONE
    assert not shop.assessment().report.anything
    shop.fit(parts[1], shop.airframes[1], noisy(2, LONG | tight))
    assert shop.assessment().openings == Openings.SCATTER
    shop.fit(parts[2], shop.airframes[1], noisy(3, LONG | tight))
    told = shop.assessment()
    assert told.openings == Openings.ONE
    assert told.others == [shop.airframes[0].serial]
    assert {fit.opening for fit in told.used} == {shop.airframes[1].serial}
    shop.fit(parts[1], shop.airframes[0], noisy(2))
    told = shop.assessment()
    assert told.openings == Openings.APART
    assert len(told.used) == 4


@pytest.mark.either_database
def test_what_hangs_together_is_told_where_not_all_openings_do(shop, client_of):
    """Two parts tried in both of two openings, and a third in another: what the two say
    is what they would say without it. Nothing read of flushness: only the gap hears
    that it may be left."""
    for number in (1, 2):
        part = shop.pull()
        for airframe in shop.airframes[:2]:
            seed = number + 3 * (airframe == shop.airframes[0])
            shop.fit(part, airframe, noisy(seed, {}), dict.fromkeys(LABELS))
    before = shop.assessment()
    assert before.openings == Openings.APART and before.report.anything
    shop.fit(shop.pull(), shop.airframes[2], noisy(3, {"2": -2.0}), ripple(3))
    told = shop.assessment()
    assert told.openings == Openings.APART
    assert told.others == [shop.airframes[2].serial]
    assert told.report.gap == before.report.gap
    assert told.report.apart.each == before.report.apart.each
    for address in (f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/",
                    reverse("tool", args=[shop.mold.pk])):  # fmt: skip
        words = html.unescape(client_of("visitor").get(address).content.decode())
        assert "Leave the mold as it is in gap at any station." in words
        assert "Of flushness at any station nothing can be told" in words
        assert "Leave the mold as it is." not in words
    page = shop.page()
    others = f"Parts tried in {shop.airframes[2].serial} are left out"
    assert any(note.startswith(others) for note in page.notes)


@pytest.mark.either_database
def test_a_kind_that_hangs_together_in_fewer_openings_is_said_alone(shop):
    """Gaps in two openings by the same two parts; flushness of each in one of them."""
    for number in (0, 1):
        part = shop.pull()
        for at, airframe in enumerate(shop.airframes[:2]):
            own = ripple(number) if at == number else dict.fromkeys(LABELS)
            shop.fit(part, airframe, noisy(number + 3 * at), own)
    page, names = shop.page(), [one.serial for one in shop.airframes]
    assert {value.why for value in page.assessment.report.flush} == {Why.OPENING}
    assert page.assessment.report.gap[3].advice == "in"
    said = f"Flushness alone was read of no part in two of the openings {names[0]}, "
    assert any(note.startswith(said + names[1]) for note in page.notes)
    # In a third opening gaps alone are linked with both.
    for own in (ripple(2), dict.fromkeys(LABELS)):
        part = shop.pull()
        shop.fit(part, shop.airframes[0], noisy(5), own)
        shop.fit(part, shop.airframes[1], noisy(6), own)
        shop.fit(part, shop.airframes[2], noisy(7), dict.fromkeys(LABELS))
    shop.fit(shop.pull(), shop.airframes[2], noisy(8), ripple(8))
    linked = f"link it in {names[0]}, {names[1]}, and not with {names[2]}."
    assert any(linked in note for note in shop.page().notes)
    # Also where most parts were tried in the third.
    for seed in range(9, 13):
        shop.fit(shop.pull(), shop.airframes[2], noisy(seed), ripple(seed))
    assert any(linked in note for note in shop.page().notes)


@pytest.mark.either_database
def test_a_joint_of_more_stations_than_a_page_works_out_is_told_of_some(
    shop, client_of, monkeypatch
):
    """What is told of some is what would be told of these alone; of the others nothing
    is said, and the page says so. Older fits than are looked at are counted."""
    for seed in (1, 2, 3, 4):
        shop.fit(shop.pull(), shop.airframes[0], noisy(seed))
    every = shop.assessment()
    monkeypatch.setattr(mold_assessment, "MOST_STATIONS", 5)
    monkeypatch.setattr(mold_assessment, "MOST_FITS", 3)
    told = shop.assessment()
    kept = [row for row, v in enumerate(told.report.gap) if v.why != Why.NOT_ASKED]
    assert kept == [0, 2, 4, 6, 8] and every.report.anything
    readings = [
        PulledReading(fit.part.serial, row, *(nm / 1e6 for nm in (gap, flush)))
        for fit in shop.found.fits[1:]
        for row in kept
        for gap, flush in [[fit.nm[row, kind] for kind in (Kind.GAP, Kind.FLUSH)]]
    ]
    geometry = mold_assessment.geometry_of(shop.found.seam.revision, shop.found.seam)
    some = replace(geometry, stations=tuple(geometry.stations[row] for row in kept))
    rows = [replace(one, station=kept.index(one.station)) for one in readings]
    alone = estimate_tool(some, rows, free_to_move(geometry))
    for row, value in zip(kept, alone.gap, strict=True):
        assert told.report.gap[row].tool_mm == pytest.approx(value.tool_mm)
        assert told.report.gap[row].low_mm == pytest.approx(value.low_mm)
    notes = " ".join(shop.page().notes)
    assert "at 2, 4, 6, 8, 10: the joint has more stations than are" in notes
    assert "The 1 oldest fits are left out: the newest 3 are looked at." in notes
    assert "nothing can be told" in shop.page().rest


def test_a_first_fit_is_all_of_its_checks_for_the_mold_and_over_parts(shop):
    """A check broken off after two stations, gone on with in another of the same
    fit-up, read again after a refit: one rule tells both pages what counts."""
    part = shop.pull()
    first = shop.fit(part, shop.airframes[0], {"1": 0.5})
    with by_hand():
        CurrentReading.objects.filter(fit_check=first).exclude(
            reading__station__label__in=("1", "2")
        ).delete()
    second = make_check(shop.by, first.fit_up, finish="finished")
    for label, gap in (("2", "2.90"), ("3", "2.40")):
        read(second, label, "gap", gap)
    shop.fit(part, shop.airframes[0], dict.fromkeys(LABELS, -0.4))
    (fit,) = shop.found.fits
    (over,) = over_parts(shop.joint, Which.FIRST).reads
    assert fit.nm == over.nm
    gaps = {row: nm for (row, kind), nm in over.nm.items() if kind == Kind.GAP}
    assert gaps == {0: mm(2.75), 1: mm(2.25), 2: mm(2.4)}
    assert fit.check == over.check == first


@pytest.mark.either_database
def test_an_opening_that_comes_tight_is_told_on_the_page_the_record_and_its_sheet(
    shop, client_of
):
    """Opening 2 is tight by 0.3 at 7 and opening 1 as much open, less what the seating
    takes of it, which its neighbors show; the mold hears nothing of it."""
    for seed in (1, 2):
        part = shop.pull()
        for airframe, off in zip(shop.airframes, (0.3, -0.3), strict=False):
            wave = seed + 3 * (off < 0)
            shop.fit(part, airframe, noisy(wave, LONG | {"7": off}), ripple(wave))
    page = shop.page()
    told = [(row.opening, row.label, row.gap.does) for row in page.apart.rows]
    first, second = (airframe.serial for airframe in shop.airframes[:2])
    assert {(first, "7", "open"), (second, "7", "tight")} <= set(told)
    assert len({does for _, label, does in told if label == "7"}) == 2
    assert page.apart.estimable == 40
    assert "7" not in {row.label for row in page.rows if row.gap.does}
    row = tool_corrections.take(by=shop.by, correction=page.draft)
    kept = corrections.correction_page(
        ToolCorrection.objects.select_related(*corrections.RELATED).get(pk=row.pk), "mm"
    )
    assert kept.apart == page.apart
    client = client_of("lead")
    mold_page = f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/"
    for address in (mold_page, f"/corrections/{row.number}/"):
        words = client.get(address).content.decode()
        assert "<b>tight</b>" in words and "40 of 40 differences can be told" in words
    sheet = client.get(f"/corrections/{row.number}/sheet.pdf").content
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(sheet)).pages)
    assert "What the openings do" in text and "tight" in text
    # A correction that was taken before openings were told has none.
    plain = ToolCorrection.objects.get(pk=row.pk)
    plain.content.pop("openings")
    assert mold_corrections.openings_of(plain) == ()


@pytest.mark.either_database
def test_one_part_tells_nothing_and_says_what_would(shop):
    shop.fit(shop.pull(), shop.airframes[0], noisy(1))
    page = shop.page()
    assert page.draft is None
    assert page.lines == []
    assert any("another pull would tell" in note for note in page.notes)
    assert not any("--" in note for note in page.notes)
    page = shop.page(Choice(sd_nm=mm(0.05)))
    assert page.draft is not None


def taken(shop) -> ToolCorrection:
    for seed in (1, 2):
        part = shop.pull()
        shop.fit(part, shop.airframes[seed - 1], noisy(seed), ripple(seed))
    row = tool_corrections.take(by=shop.by, correction=shop.page().draft)
    return loaded(row)


def loaded(row) -> ToolCorrection:
    rows = ToolCorrection.objects.select_related(*corrections.RELATED)
    return rows.get(pk=row.pk)


def done(shop, row, note="scribed anew"):
    page = corrections.correction_page(row, "mm")
    return tool_corrections.record_done(
        by=shop.by, correction=row, what=page.what, place=page.places, note=note
    )


def test_a_correction_or_repair_that_is_recorded_late_divides_pulls_where_it_was_done(
    shop, client_of
):
    """Two parts are pulled of the corrected mold before anybody records it."""
    row, client = taken(shop), client_of("lead")
    for seed in (3, 4):
        shop.fit(shop.pull(), shop.airframes[0], noisy(seed, {}), ripple(seed))
    address = f"/corrections/{row.number}/done/"
    form = client.get(address).context["form"]
    assert [key for key, _words in form.fields["before_pull"].choices] == [5, 4, 3]
    answer = client.post(address, {"note": "scribed", "before_pull": "2"})
    assert answer.context["form"].errors["before_pull"]
    assert "scribed" in answer.content.decode()
    for number, why in ((2, "Pull 2 shows it"), (6, "next pull is number 5")):
        with pytest.raises(Refused, match=why) as no:
            tool_corrections.record_done(
                by=shop.by, correction=row, what="x", place="x", note="x",
                before_pull=number,
            )  # fmt: skip
        assert no.value.field == "before_pull"
    said = {"note": "scribed", "before_pull": "3"}
    assert client.post(address, said).status_code == 302
    end = CorrectionEnd.objects.get()
    assert (end.last_pull, end.repair.note) == (
        2, f"before pull 3: {row.label}: scribed",
    )  # fmt: skip
    assert json.loads(end.entry.body)["said"]["before_pull"] == 3
    page = shop.page()
    assert {fit.pull.number for fit in page.assessment.used} == {3, 4}
    assert page.drift.breaks == [3]
    assert not Tool.objects.get(pk=shop.mold.pk).repaired
    assert corrections.correction_page(loaded(row), "mm").read_since == 2
    words = client.get(f"/corrections/{row.number}/").content.decode()
    assert "done before pull 3" in words
    sheet = client.get(f"/corrections/{row.number}/sheet.pdf").content
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(sheet)).pages)
    assert "before pull 3, scribed" in " ".join(text.split())
    # Any other repair of a mold too, also where one more pull was started meanwhile.
    defect = tooling.note_defect(by=shop.by, tool=shop.mold, what="worn", place="at 1")
    address = reverse("repair_defect", args=[defect.pk])
    shown = client.get(address).context["form"]["before_pull"]
    assert "the next pull (5)" in str(shown)
    long = "x" * 161
    answer = client.post(address, {"note": long, "before_pull": "4"})
    assert answer.context["form"].errors["note"] and long in answer.content.decode()
    shop.pull()
    said = {"note": long[1:], "before_pull": shown.field.choices[0][0]}
    assert client.post(address, said).status_code == 302
    kept = DefectRepair.objects.get(defect=defect).note
    assert kept == f"before pull 5: {long[1:]}"
    assert shop.mold.pulls.get(number=5).after_repair
    plug = make_tool(shop.by, kind="plug")
    defect = tooling.note_defect(by=shop.by, tool=plug, what="worn", place="at 1")
    address = reverse("repair_defect", args=[defect.pk])
    assert "before_pull" not in client.get(address).context["form"].fields
    assert client.post(address, {"note": "filled"}).status_code == 302
    assert DefectRepair.objects.get(defect=defect).note == "filled"


def test_a_correction_was_not_done_before_a_pull_that_was_started_before_it(
    shop, client_of
):
    """Decided while a third part was in the mold, of which nothing was read yet."""
    drafted = taken(shop)
    tool_corrections.withdraw(by=shop.by, correction=drafted, note="anew")
    shop.pull()
    row = tool_corrections.take(by=shop.by, correction=shop.page().draft)
    shop.pull()
    row, client = loaded(row), client_of("lead")
    assert row.last_pull == 2
    address = f"/corrections/{row.number}/done/"
    form = client.get(address).context["form"]
    assert [key for key, _words in form.fields["before_pull"].choices] == [5, 4]
    said = {"note": "x" * 161, "before_pull": 4}
    answer = client.post(address, said)
    assert answer.context["form"].errors["note"]
    with pytest.raises(Refused, match=f"3 was started before {row.label} was decided"):
        tool_corrections.record_done(
            by=shop.by, correction=row, what="x", place="x", note="x", before_pull=3
        )
    assert client.post(address, said | {"note": "x" * 160}).status_code == 302
    kept = CorrectionEnd.objects.get(correction=row)
    assert kept.repair.note == f"before pull 4: {row.label}: {'x' * 160}"
    assert kept.last_pull == 3


def test_a_correction_is_frozen_done_as_a_repair_and_compared_with_the_next_part(shop):
    row = taken(shop)
    assert row.label == "TC-0001"
    told = shop.assessment().report
    kept = mold_corrections.values_of(row)
    for kind in Kind.values:
        for now, then in zip(getattr(told, kind), kept[kind], strict=True):
            assert now.advice == then.advice
            assert now.correction_mm == pytest.approx(then.correction_mm, abs=1e-6)
    done(shop, row)
    mold = Tool.objects.get(pk=shop.mold.pk)
    assert mold.repaired
    repair = DefectRepair.objects.get(defect__tool=mold)
    assert "TC-0001" in repair.note
    assert "4" in repair.defect.place
    part = shop.pull()
    assert part.lineage.get().pull.after_repair
    # The next one as it should come: what is left is what was not corrected.
    values = kept[Kind.GAP]
    as_told = {str(n): v.after_mm for n, v in enumerate(values, 1)}
    flush = {str(n): v.after_mm for n, v in enumerate(kept[Kind.FLUSH], 1)}
    shop.fit(part, shop.airframes[2], as_told, flush)
    page = corrections.correction_page(loaded(row), "mm")
    (came,) = page.came
    assert came.within == came.read == 20
    assert came.conforming == 20
    # Only what was pulled since counts from then on.
    assert [row.fit.part for row in shop.page().fits if row.used] == [part]


@pytest.mark.either_database
def test_a_part_that_comes_otherwise_than_expected_is_told(shop):
    row = taken(shop)
    done(shop, row)
    part = shop.pull()
    values = mold_corrections.values_of(row)[Kind.GAP]
    off = {str(n): v.after_mm for n, v in enumerate(values, 1)}
    off["4"] -= 1.3  # the line was not moved there after all
    shop.fit(part, shop.airframes[2], off, ripple(3))
    (came,) = corrections.correction_page(loaded(row), "mm").came
    wrong = [one.label for one in came.rows if one.gap.outside]
    assert "4" in wrong
    assert came.conforming < came.read


@pytest.mark.either_database
def test_what_came_is_compared_at_stations_that_a_revision_left_as_they_were(
    shop, client_of
):
    """Revised with the same stations and other limits: all as promised, by the limits
    of then. One moved and one turned: these are not compared. All anew: none is."""
    row = taken(shop)
    done(shop, row)
    kept = mold_corrections.values_of(row)
    as_told = [
        {str(n): v.after_mm for n, v in enumerate(kept[kind], 1)}
        for kind in Kind.values
    ]
    same = make_stations(10, gap=(1.6, 3.0), trim_max_nm=mm(4))
    revise(shop.by, shop.joint, same)
    shop.joint.refresh_from_db()
    part = shop.pull()
    shop.fit(part, shop.airframes[2], *as_told)
    (came,) = corrections.correction_page(loaded(row), "mm").came
    assert (came.within, came.read, came.conforming) == (20, 20, 20)
    client = client_of("lead")
    address = f"/corrections/{row.number}/"
    assert "compared by the limits of rev 1" in client.get(address).content.decode()
    moved = list(same)
    x, y, z = moved[6].place_nm
    moved[6] = replace(moved[6], place_nm=(x + mm(3), y, z))
    a, b, c = moved[3].gap_e9
    moved[3] = replace(moved[3], gap_e9=(-a, -b, c))
    revise(shop.by, shop.joint, moved)
    shop.joint.refresh_from_db()
    page = corrections.correction_page(loaded(row), "mm")
    assert "rev 1 to 3): stations 4, 7 have moved" in page.revised
    (came,) = page.came
    assert came.within == came.read == 16
    assert [one.label for one in came.rows if not one.gap.came] == ["4", "7"]
    named = [replace(one, label=f"{one.label}b") for one in moved]
    revise(shop.by, shop.joint, named)
    words = " ".join(client.get(address).content.decode().split())
    assert "no station is where and as it was" in words
    assert "1 part pulled since then was read, at no station" in words
    assert "No part pulled since then" not in words


@pytest.mark.either_database
def test_only_one_correction_is_open_and_it_ends_once(shop):
    row = taken(shop)
    with pytest.raises(Refused, match="TC-0001 is to be done or withdrawn first"):
        tool_corrections.take(by=shop.by, correction=shop.page().draft)
    with pytest.raises(Refused, match="Say why"):
        tool_corrections.withdraw(by=shop.by, correction=row, note=" ")
    tool_corrections.withdraw(by=shop.by, correction=row, note="not now")
    with pytest.raises(Refused, match="withdrawn already"):
        done(shop, row)
    assert not Tool.objects.get(pk=shop.mold.pk).repaired
    tool_corrections.take(by=shop.by, correction=shop.page().draft)
    assert CorrectionEnd.objects.count() == 1


def test_what_every_mold_of_the_plug_shows_is_the_plugs_and_stays_so_on_record(
    shop, client_of
):
    """Two molds of one plug are long at 4 and 5 (half of it shows across, at 9 and 10,
    as parts seat) and proud at 2; a third is only long. A mold that was corrected is
    told by what came before."""
    by = shop.by
    plug = make_tool(by, kind="plug")
    tooling.change_tool(by=by, tool=shop.mold, plug=plug)
    second = make_mold(by, design=shop.design, plug=plug)
    for seed in (1, 2):
        for mold, wave in ((shop.mold, seed), (second, seed + 5)):
            proud = ripple(wave) | {"2": 0.9}
            shop.fit(shop.pull(mold), shop.airframes[0], noisy(wave), proud)
    page = shop.page()
    flush = [row.label for row in page.rows if row.flush.whose]
    assert "2" in flush
    (said,) = page.shared
    long = f"{second.code}, from the same plug, shows the same in gap at 4, 5, 9, 10"
    assert said.startswith(f"{long} and flushness at ")
    assert said.endswith(f"told. Correct {plug.code}, or every mold from it.")
    assert [row.label for row in page.rows if row.gap.whose] == ["4", "5", "9", "10"]
    row = loaded(tool_corrections.take(by=by, correction=page.draft))
    third = make_mold(by, design=shop.design, plug=plug)
    for seed in (3, 4):
        # Of a mold without a reading nothing can be told either.
        assert any(f"told yet of {third.code}" in line for line in shop.page().shared)
        shop.fit(shop.pull(third), shop.airframes[0], noisy(seed), ripple(seed))
    now = shop.page()
    assert now.shared[0] == (
        f"{second.code}, {third.code}, all from the same plug, show the same in gap at "
        f"4, 5, 9, 10: then it is the plug's, as far as its molds can be told. Correct "
        f"{plug.code}, or every mold from it."
    )
    assert now.shared[1].endswith(
        f", but not for certain by {third.code} of that plug: it is not shown to be "
        f"{plug.code}'s."
    )
    assert len(now.shared) == 2
    assert [one.label for one in now.rows if one.gap.whose] == ["4", "5", "9", "10"]
    assert not any(one.flush.whose for one in now.rows)
    whose = {line.split(": by")[0]: "of the plug" in line for line in now.lines}
    assert whose["Cut line in at 4 to 5"]
    assert not any(word for line, word in whose.items() if "elieve" in line)
    # The record stays as it was taken, on its page and on paper.
    client = client_of("lead")
    words = html.unescape(client.get(f"/corrections/{row.number}/").content.decode())
    assert said in words
    assert len(re.findall(r"<b>[\w ]+ [\d.]+, of the plug</b>", words)) == 4 + len(
        flush
    )
    sheet = client.get(f"/corrections/{row.number}/sheet.pdf").content
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(sheet)).pages)
    assert text.count(", of the plug") == 4 + len(flush) + len(page.lines)
    assert said in " ".join(text.split())
    corrected_on_the_plug(shop, client, row, plug, [shop.mold.code, second.code])
    # Nothing is taken again by what was corrected, on the mold's own page either.
    done(shop, row)
    past = shop.page()
    assert past.past and past.draft is None
    own = client.get(f"/tooling/{shop.mold.pk}/").content.decode()
    assert "The mold was corrected since" in own and own.count("<svg") >= 2
    for seed in (5, 6):
        shop.fit(shop.pull(), shop.airframes[0], noisy(seed, {}), ripple(seed))
    assert not shop.page().past
    mold, shop.mold = shop.mold, second
    # The plug is right by now: of this mold, made before, it is the mold that is left.
    done_there = (
        f"The same in gap at 4, 5, 9, 10 is shown by {mold.code}, {third.code}, from "
        f"the same plug. {plug.code} was corrected there since this mold was made "
        f"({row.label}): only the mold is left to correct."
    )
    assert shop.page().shared[0] == done_there
    # One that was made since the plug was corrected is right, and clears it of nothing.
    fourth = make_tool(by, design=shop.design, plug=plug, made_at=timezone.now())
    for seed in (7, 8):
        shop.fit(shop.pull(fourth), shop.airframes[0], noisy(seed, {}), ripple(seed))
    now = shop.page()
    assert now.shared[0] == done_there
    assert not any(one.gap.whose for one in now.rows)
    since = f"{plug.code} was corrected here between this mold and {fourth.code}: that"
    assert now.shared[-1].startswith(since)
    assert mold_kin.from_record(now.draft.content).each[-1].other_state
    # A record from before this was kept says nothing of it.
    plain = ToolCorrection.objects.get(pk=row.pk)
    plain.content.pop("kin")
    assert mold_kin.from_record(plain.content) is None


def corrected_on_the_plug(shop, client, row, plug, codes):
    """It stands on the plug's page with its molds, and is a repair of the plug there,
    once. What is filled in a mold is relieved on its plug; what is only the mold's is
    not the plug's."""
    plug_page = f"/tooling/{plug.pk}/"
    words = html.unescape(client.get(plug_page).content.decode())
    plain = " ".join(re.sub("<[^>]+>", " ", words).split())
    assert f"{row.label} by parts of {', '.join(codes)} at" in plain
    panel = html.unescape(client.get(f"/tooling/{row.tool_id}/").content.decode())
    assert f"Correct {plug.code}, or every mold from it" in panel
    values = mold_corrections.values_of(row)
    ways = {value.advice for value in values[Kind.FLUSH]} & {"fill", "relieve"}
    said = {word for word in ("Fill", "Relieve") if f"{word} at" in plain}
    assert said == {"Relieve" if way == "fill" else "Fill" for way in ways}
    assert "Not recorded as corrected on the plug." in plain
    said = {"note": "scraped", "done_on": timezone.localdate()}
    answer = client.post(f"/corrections/{row.number}/on-plug/", said)
    assert answer.status_code == 302
    (defect,) = plug.defects.all()
    assert defect.repair.note == f"{row.label}: scraped"
    assert f"as parts of {', '.join(codes)} fit ({row.label})" in defect.what
    with pytest.raises(Refused, match="already"):
        tool_corrections.record_on_plug(
            by=shop.by, correction=loaded(row), what="x", place="x", note="again"
        )
    for page in (plug_page, f"/corrections/{row.number}/"):
        assert "corrected on the plug" in client.get(page).content.decode()
    panel = html.unescape(client.get(f"/tooling/{row.tool_id}/").content.decode())
    assert f"{plug.code} was corrected there since this mold was made" in panel
    assert not CorrectionEnd.objects.filter(correction=row).exists()


def test_what_others_leave_open_is_neither_the_plugs_nor_this_molds():
    """Only a mold of the plug that differs for certain clears the plug; the other hand
    clears the design alone."""
    off = (("4", "gap"), ("7", "gap"))
    wide = Relative("M-2", "plug", estimated=True, open=off[:1])
    hand = Relative("M-R", "hand", estimated=True)
    kin = Kin("PLUG-1", off, (wide, hand))
    assert kin.of_plug == []
    only, unsure = sentences(kin)
    assert only == "Not shown by M-2, M-R: gap at 7. That is this mold's."
    assert unsure.startswith("Other molds leave open whether they show gap at 4 too")
    (alone,) = sentences(Kin("PLUG-1", off, (hand,)))
    assert alone.startswith("Not shown by M-R, of the other hand: gap at 4, 7. That is")
    assert alone.endswith("or of what it was made from.")
    told = Relative("M-3", "plug", estimated=True, alike=off)
    assert Kin("PLUG-1", off, (told, hand)).of_plug == list(off)
    assert Kin("PLUG-1", off, (told, wide)).of_plug == []


def statements(work) -> int:
    with CaptureQueriesContext(
        connection,
    ) as said:
        work()
    return len(said)


@pytest.mark.either_database
def test_one_part_or_thirty_take_as_many_statements(shop):
    shop.fit(shop.pull(), shop.airframes[0], noisy(1))
    shop.fit(shop.pull(), shop.airframes[1], noisy(2))
    few = statements(shop.page), statements(lambda: fits.panel(shop.mold, "mm"))
    for seed in range(3, 13):
        shop.fit(shop.pull(), shop.airframes[seed % 3], noisy(seed))
    many = statements(shop.page), statements(lambda: fits.panel(shop.mold, "mm"))
    assert many == few


@pytest.mark.either_database
def test_pages_and_papers_of_a_correction(shop, client_of):
    row = taken(shop)
    client = client_of("lead")
    told = client.get(f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/")
    assert told.status_code == 200
    assert "Cut line in at 4" in told.content.decode()
    assert "TC-0001" in client.get(f"/tooling/{shop.mold.pk}/").content.decode()
    for paper in ("sheet", "scribe"):
        answer = client.get(f"/corrections/{row.number}/{paper}.pdf")
        assert answer.content.startswith(b"%PDF")
        assert answer.content == client.get(answer.request["PATH_INFO"]).content
    plain = client.get("/corrections/1/scribe.pdf?seen=outside").content
    assert plain != answer.content
    answer = client.post("/corrections/1/done/", {"note": ""})
    assert {*answer.context["form"].errors} == {"note", "before_pull"}
    said = {"note": "scribed", "before_pull": 3}
    answer = client.post("/corrections/1/done/", said, follow=True)
    assert "No part pulled since then" in answer.content.decode()


@pytest.mark.either_database
def test_what_changed_while_it_was_looked_at_is_not_taken(shop, client_of):
    for seed in (1, 2):
        shop.fit(shop.pull(), shop.airframes[0], noisy(seed))
    client = client_of("lead")
    url = f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/"
    digest = client.get(url).context["page"].draft.digest
    shop.fit(shop.pull(), shop.airframes[0], noisy(3))
    answer = client.post(f"{url}take/", {"digest": digest}, follow=True)
    assert "changed while it was looked at" in answer.content.decode()
    assert not ToolCorrection.objects.exists()
