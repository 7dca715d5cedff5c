"""A joint over parts: what fails always, what a place is capable of, how it drifts."""

import io
import json
import re

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from qa.actions import chart_notes, trimming
from qa.actions.trimming import Taken
from qa.models import ChartNote, Check, CurrentReading, Kind
from qa.numeric.measuring.modes import Mode
from qa.queries.joints import over_parts as queries
from qa.queries.joints.part_charts import Way
from qa.queries.molds import drifts
from qa.rules import over_parts as rules
from qa.rules.over_parts import Which
from qa.rules.planning import RELATED
from qa.wording import lengths
from shop.actions import pulls
from shop.ledger import Refused
from shop.models import Pull
from tests.around import by_hand
from tests.qa.making import (
    make_check,
    make_fit_up,
    make_instrument,
    make_part,
    make_stations,
    mm,
    read,
    revise,
)
from tests.qa.molding import Shop, ripple

pytestmark = pytest.mark.either_database


@pytest.fixture
def shop(people):
    return Shop(people["lead"])


def drifting(pull: int) -> dict[str, float]:
    """Station 4 closes by 0.05 a pull; station 7 is tight always; mm from target."""
    wave = {
        str(n): 0.02 * ((3 * n + 5 * pull + n * pull) % 7 - 3) for n in range(1, 11)
    }
    wave["4"] -= 0.05 * pull
    wave["7"] -= 1.0
    return wave


def many(shop, count=12):
    for pull in range(1, count + 1):
        place = shop.airframes[pull % 3]
        shop.fit(shop.pull(), place, drifting(pull), ripple(pull))


def test_a_repair_is_a_break_also_where_the_first_pull_after_it_was_never_fitted(shop):
    many(shop, 4)
    shop.pull()  # scrapped, say
    many(shop, 4)
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
    assert "repair" not in page.chart_svg + page.trends[0].svg
    with by_hand():
        Pull.objects.filter(number=5).update(after_repair=True)
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
    assert "repair" in page.chart_svg and "repair" in page.trends[0].svg
    told = [row[-1] for row in page.trends[0].table.rows]
    assert [n for n, word in enumerate(told) if word] == [4]


def test_the_page_of_a_mold_tells_what_drifts_and_that_the_rest_does_not(
    shop, client_of
):
    """Station 4 closes by 0.05 a pull, whatever opening it was tried in; the joint's
    own page says the same. A line fitted by numpy meets the limit where it says."""
    many(shop, 9)
    shop.fit(shop.found.fits[0].part, shop.airframes[0], {"4": 2.0})  # no first fit
    address = f"/molds/{shop.mold.pk}/fits/{shop.joint.pk}/{shop.design.pk}/"
    pulls = range(1, 10)
    slope, height = np.polyfit(pulls, [drifting(n)["4"] for n in pulls], 1)
    at = (-0.75 - height) / slope
    said = f"expected to reach the limit at pull {at:.1f} ("
    for page in (address, f"/tooling/{shop.mold.pk}/"):
        answer = client_of("visitor").get(page).content.decode()
        words = " ".join(re.sub("<[^>]+>", " ", answer).split())
        assert f"4 gap gap it falls by {-slope:.3f} mm a pull {said}" in words
        assert "At J-" not in words or "by 9 parts as pulled" in words
        assert re.search(r"No trend at the \d+ other places", words)
    place = queries.place_page(shop.joint, "4", "gap", Which.FIRST, "mm")
    assert said in place.trends[0].words
    place = queries.place_page(shop.joint, "6", "gap", Which.FIRST, "mm")
    assert place.trends[0].words.startswith("no trend")


def test_stations_that_always_fail_are_named_and_the_others_counted(shop):
    many(shop, 4)
    page = queries.over_page(shop.joint, Which.FIRST, "mm")
    assert page.parts == 4
    assert page.worst == ["7"]
    told = {row.label: row.gap for row in page.rows}
    assert told["7"] == "4 / 4"
    assert told["1"] == "0 / 4"
    assert "7: 100%" in page.map_svg


def test_a_place_tells_what_the_commands_tell_of_the_same_values(
    shop, tmp_path, capsys
):
    many(shop)
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
    values = [round(2.25 + drifting(pull)["4"], 3) for pull in range(1, 13)]
    path = tmp_path / "values.csv"
    path.write_text("value\n" + "\n".join(map(str, values)))
    call_command("capability", str(path), "--lower", "1.5", "--upper", "3", "--json")
    said = json.loads(capsys.readouterr().out)
    shown = {one.name: one.value for one in page.indices}
    for name in ("cp", "cpk", "pp", "ppk"):
        assert shown.get(name.capitalize()) == (
            None if said[name] is None else f"{said[name]:.2f}"
        )
    assert shown
    outside = queries.place_page(shop.joint, "7", Kind.GAP, Which.FIRST, "mm").indices
    texts = "".join(one.value + one.bounds for one in outside)
    assert "−" in texts
    assert "-" not in texts
    lines = [f"{pull},{value}" for pull, value in enumerate(values, 1)]
    path.write_text("\n".join(["pull,value", *lines]))
    call_command("trend", str(path), "--limit", "1.5", "--json")
    said = json.loads(capsys.readouterr().out)
    (one,) = page.trends
    assert one.mold == shop.mold.code
    assert f"{said['reaches']['pull']:.1f}" in one.words
    assert len(page.chart_table.rows) == 12


def test_what_was_cut_changes_the_last_reading_and_not_the_first(shop):
    check = shop.fit(shop.pull(), shop.airframes[0], {"7": -1.0})
    loaded = Check.objects.select_related(*RELATED).get(pk=check.pk)
    taken = [Taken(loaded, "7", "part", "1.0", "mm")]
    (after,) = trimming.record_trim(
        by=shop.by, checks=[loaded], taken=taken, reason="x"
    )
    again = make_check(shop.by, after)
    read(again, "7", "gap", "2.25")
    first = rules.over_parts(shop.joint, Which.FIRST)
    last = rules.over_parts(shop.joint, Which.LAST)
    assert first.failed(6, Kind.GAP) == (1, 1)
    assert last.failed(6, Kind.GAP) == (0, 1)
    # One place is read again in the same fit-up: the other keeps what was read there.
    read(again, "4", "gap", "1.00")
    newest = make_check(shop.by, after)
    read(newest, "4", "gap", "2.20")
    (part,) = rules.over_parts(shop.joint, Which.LAST).reads
    assert part.nm == {(6, "gap"): mm(2.25), (3, "gap"): mm(2.2)}
    assert (part.check, {*part.checks}) == (newest, {again, newest})
    # Bare it is in another condition, of which that alone is known.
    read(make_check(shop.by, after, finish="bare"), "4", "gap", "2.20")
    (part,) = rules.over_parts(shop.joint, Which.LAST).reads
    assert {*part.nm} == {(3, "gap")}


def test_what_clashes_in_the_newest_check_is_not_taken_from_an_older_one(shop):
    """Two values stand for station 4 and nobody has chosen; the other places are as
    they were read. At the first fit the first check counts, whatever came later."""
    first = shop.fit(shop.pull(), shop.airframes[0], {})
    newer = make_check(shop.by, first.fit_up, finish="finished")
    for value in ("2.00", "2.40"):
        read(newer, "4", "gap", value)
    assert CurrentReading.objects.get(fit_check=newer).clash
    (part,) = rules.over_parts(shop.joint, Which.LAST).reads
    assert (3, "gap") not in part.nm and (3, "flush") in part.nm
    assert part.nm[4, "gap"] == mm(2.25)
    page = queries.place_page(shop.joint, "4", "gap", Which.LAST, "mm")
    assert page.left_out.startswith("1 part is left out")
    assert queries.place_page(shop.joint, "5", "gap", Which.LAST, "mm").left_out == ""
    assert "(0 whole)" in queries.over_page(shop.joint, Which.LAST, "mm").clashes
    (part,) = rules.over_parts(shop.joint, Which.FIRST).reads
    assert part.nm[3, "gap"] == mm(2.25)
    assert queries.over_page(shop.joint, Which.FIRST, "mm").clashes == ""
    # A part of which nothing else is known in this condition is not passed over.
    bare = make_check(shop.by, first.fit_up, finish="bare")
    for value in ("2.00", "2.40"):
        read(bare, "4", "gap", value)
    assert rules.over_parts(shop.joint, Which.LAST).reads == []
    assert "(1 whole)" in queries.over_page(shop.joint, Which.LAST, "mm").clashes


def test_parts_of_a_pull_are_no_subgroup_where_another_pull_came_between(shop):
    early, late = shop.pull(), shop.pull()
    for part, frame in ((early, 0), (late, 1)):
        shop.fit(part, shop.airframes[frame], {})
    way = Way.asked("x", "pull")
    apart = queries.place_page(shop.joint, "4", "gap", Which.FIRST, "mm", way)
    assert "at two times" not in apart.chart_why
    pull = Pull.objects.get(yields__part=early)
    twin = pulls.yield_part(by=shop.by, pull=pull, design=shop.design, serial="twin")
    shop.fit(twin, shop.airframes[2], {})
    page = queries.place_page(shop.joint, "4", "gap", Which.FIRST, "mm", way)
    assert "were fitted before and after those of another" in page.chart_why
    assert page.chart is None


def test_a_note_stays_on_its_point_when_another_place_is_read_again(
    shop, people, client_of
):
    """And moves to no other point: what a newer check reads there is another value, by
    whoever reads it."""
    check = shop.fit(shop.pull(), shop.airframes[0], {})
    for wave in ({"4": 0.1, "7": 0.1}, {"4": 0.2, "7": -0.1}):
        shop.fit(shop.pull(), shop.airframes[1], wave)
    station = check.fit_up.revision.stations.get(label="4")
    for said in (
        {"of": "gap", "station": station, "words": "cold"},
        {"of": "high", "words": "bent"},
        {"words": "other strap"},
    ):
        chart_notes.write_note(by=shop.by, check=check, **said)
    builder = people["builder"]
    gauge = make_instrument(shop.by)
    newer = make_check(builder, check.fit_up, finish="finished", instrument=gauge)

    def page_of(label):
        return queries.place_page(shop.joint, label, "gap", Which.LAST, "mm")

    def notes_of(page):
        return [written.note.words for written in page.written]

    read(newer, "7", "gap", "2.20", by=builder)
    assert notes_of(page_of("4")) == ["cold", "other strap"]
    assert notes_of(page_of("7")) == ["other strap"]
    mode = queries.mode_page(shop.joint, Mode.HIGH, Which.LAST, "mm")
    assert notes_of(mode) == ["bent", "other strap"]
    assert "new person" in page_of("7").chart_svg
    assert "new person" not in page_of("4").chart_svg
    # The form offers the check that made the point.
    key = str(check.entry_id)
    at = f"/joints/{shop.joint.pk}/over-parts/at/4/gap/note/?which=last"
    client = client_of("builder")
    assert f'value="{key}"' in client.get(at).content.decode()
    assert client.post(at, {"point": key, "words": "wet"}).status_code == 302
    assert "wet" in notes_of(page_of("4"))
    read(newer, "4", "gap", "2.30", by=builder)
    assert notes_of(page_of("4")) == ["other strap"]


def test_what_was_cut_before_the_first_reading_is_added_back_and_said(
    shop, people, client_of
):
    """As the fits of its mold take it: drift and charts are of the mold."""
    shop.fit(shop.pull(), shop.airframes[0], {"4": -0.9})
    part, surround = shop.pull(), make_part(shop.by)
    fit_up = make_fit_up(
        shop.by,
        shop.joint,
        airframe=shop.airframes[1],
        part=part,
        surround_part=surround,
    )
    check = make_check(shop.by, fit_up)
    loaded = Check.objects.select_related(*RELATED).get(pk=check.pk)
    taken = [
        Taken(loaded, "4", "part", "0.80", "mm"),
        Taken(loaded, "5", "surround", "0.25", "mm"),
    ]
    (after,) = trimming.record_trim(
        by=shop.by, checks=[loaded], taken=taken, reason="x"
    )
    again = make_check(shop.by, after)
    for label in map(str, range(1, 11)):
        read(again, label, "gap", "2.25")
        read(again, label, "flush", "0.1")
    shop.fit(shop.pull(), shop.airframes[2], {"4": -0.85})
    told = rules.over_parts(shop.joint, Which.FIRST).reads[1]
    (of_mold,) = [fit for fit in shop.found.fits if fit.part == part]
    assert told.nm == of_mold.nm
    assert (told.nm[3, "gap"], told.nm[4, "gap"]) == (mm(1.45), mm(2.0))
    assert told.nm[3, "flush"] == mm(0.1)
    assert rules.over_parts(shop.joint, Which.FIRST).failed(3, "gap") == (2, 3)
    last = rules.over_parts(shop.joint, Which.LAST).reads[1]
    assert last.nm[3, "gap"] == mm(2.25)
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
    assert [float(row[1]) for row in page.chart_table.rows] == [1.35, 1.45, 1.4]
    said = "0.80 mm cut before it was read, added back"
    assert said in page.chart_svg
    assert said in page.chart_table.rows[1][-1]
    assert "as pulled" in page.title
    client, base = client_of("visitor"), f"/joints/{shop.joint.pk}/over-parts/"
    for path in ("", "at/4/gap/", "whole/small/"):
        first = client.get(f"{base}{path}?which=first").content.decode()
        assert "what was cut before is added back (1 part)" in first
        assert (
            "as pulled" not in client.get(f"{base}{path}?which=last").content.decode()
        )


def test_subgroups_and_the_rules_of_a_source_are_those_of_the_command(
    shop, tmp_path, capsys, client_of
):
    many(shop)
    values = [round(2.25 + drifting(pull)["4"], 3) for pull in range(1, 13)]
    path = tmp_path / "values.csv"
    lines = [f"{value},{n // 3}" for n, value in enumerate(values)]
    path.write_text("\n".join(["value,subgroup", *lines]))
    call_command("chart", str(path), "--rules", "nelson", "--json")
    said = json.loads(capsys.readouterr().out)
    way = Way.asked("nelson", "3")
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm", way)
    head, rows = page.chart_table.head, page.chart_table.rows
    assert head[1:2] + head[4:5] == ("mean", "range")
    assert {row[2] for row in rows} == {f"{said['lower']:.3f}"}
    assert {row[3] for row in rows} == {f"{said['upper']:.3f}"}
    spoke = {signal["at"] for signal in said["signals"]}
    assert {n for n, row in enumerate(rows, 1) if row[5]} == spoke
    assert "Nelson 1984" in page.chart_svg
    serials = [one.part.serial for one in rules.over_parts(shop.joint, "first").reads]
    assert rows[0][0] == f"{serials[0]} … {serials[2]}"
    by_pull = queries.place_page(
        shop.joint, "4", Kind.GAP, Which.FIRST, "mm", Way.asked("x", "pull")
    )
    assert by_pull.chart_table.rows[0][0] == f"{shop.mold.code} 1"
    url = f"/joints/{shop.joint.pk}/over-parts/at/4/gap/?rules=nelson&by=3&which=last"
    words = client_of("visitor").get(url).content.decode()
    assert '<option value="nelson" selected>' in words
    assert "parts in a row" in words


def test_a_minus_is_no_hyphen_in_scenes_and_tables(shop):
    many(shop, 6)
    page = queries.place_page(shop.joint, "4", Kind.FLUSH, Which.FIRST, "mm")
    assert "lower −" in page.chart_svg
    shown = [page.chart_svg, *(one.svg for one in page.trends), *cells_of(page)]
    assert not [one for one in shown if re.search(r">[^<]*(?<![\w.])-[0-9]", one)]
    assert lengths.true_minus("D-014, -0.5 to -.5 mm, 2026-11-29, x -1") == (
        "D-014, −0.5 to −.5 mm, 2026-11-29, x −1"
    )


def cells_of(page):
    """Cells of its tables and its facts, as elements."""
    cells = [cell for row in page.chart_table.rows for cell in row]
    return [f">{cell}" for cell in [*cells, *(value for _name, value in page.facts)]]


def test_few_parts_say_why_nothing_can_be_told(shop):
    shop.fit(shop.pull(), shop.airframes[0], drifting(1))
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
    assert page.indices == []
    assert page.capability_why
    assert page.chart_why
    assert page.trends[0].svg == ""
    assert page.trends[0].words


def test_a_part_that_gets_smaller_from_pull_to_pull_shows_as_a_mode(shop):
    for pull in range(1, 9):
        gaps = {str(n): 0.1 * pull + 0.01 * ((n * pull) % 3) for n in range(1, 11)}
        shop.fit(shop.pull(), shop.airframes[0], gaps, ripple(pull))
    page = queries.mode_page(shop.joint, Mode.SMALL, Which.FIRST, "mm")
    assert page.count == 8
    (drift,) = page.trends
    assert re.fullmatch(r"it rises by 0\.(09|10)\d mm a pull", drift.words)
    assert "limit" not in drift.words + drift.svg


def test_a_mode_that_falls_is_told_to_come_back_to_target(shop, client_of):
    for pull in range(1, 7):
        height = 0.4 - 0.04 * pull + 0.01 * (pull % 3 - 1)
        high = {str(n): height for n in range(1, 11)}
        shop.fit(shop.pull(), shop.airframes[0], {}, high)
    (drift,) = queries.mode_page(shop.joint, Mode.HIGH, Which.FIRST, "mm").trends
    said = "it falls by 0.041 mm a pull; back at target at pull 9.8 ("
    assert drift.words.startswith(said)
    answer = client_of("visitor").get(f"/tooling/{shop.mold.pk}/").content.decode()
    words = " ".join(re.sub("<[^>]+>", " ", answer).split())
    assert f"Whole part high : {said}" in words
    assert "Small all round, mean gap : cannot be told: the values do not" in words
    assert "target 0.000" in drift.svg
    assert "limit" not in drift.words + drift.svg


def test_a_mode_is_told_of_the_stations_that_were_read_and_have_a_limit(people):
    drafts = make_stations(10, flush=(None, 0.5))
    shop = Shop(people["lead"], drafts)
    unread = {"2": None}
    for pull in range(1, 5):
        raised = {str(n): 0.5 + 0.1 * pull for n in range(1, 11)}
        shop.fit(shop.pull(), shop.airframes[0], {}, raised | unread)
    page = queries.mode_page(shop.joint, Mode.HIGH, Which.LAST, "mm")
    values = [float(row[1]) for row in page.chart_table.rows]
    assert values == [0.1, 0.2, 0.3, 0.4]
    assert "The target is the limit itself" in page.aimed
    (high, *_others) = drifts.drift_of(shop.found, "mm", {}).modes
    assert high.words.endswith("mm a pull; the target is the limit itself")
    few = {str(n): None for n in range(1, 7)}
    shop.fit(shop.pull(), shop.airframes[0], {}, raised | few)
    page = queries.mode_page(shop.joint, Mode.HIGH, Which.LAST, "mm")
    assert page.left_out == (
        "1 part is left out: 4 of 10 stations were read and have limits; at least 6 "
        "are needed."
    )
    none = Shop(people["lead"], make_stations(6, flush=(None, None)))
    none.fit(none.pull(), none.airframes[0], {})
    page = queries.mode_page(none.joint, Mode.HIGH, Which.LAST, "mm")
    assert page.capability_why.startswith("0 of 6 stations were read and have limits")
    assert page.chart_why == page.capability_why


def test_pages_open_in_either_unit_and_for_a_visitor(shop, client_of):
    many(shop, 3)
    client = client_of("visitor")
    base = f"/joints/{shop.joint.pk}/over-parts/"
    for path in ("", "at/4/gap/", "at/4/flush/", "whole/high/", "whole/twisted/"):
        for unit in ("mm", "in"):
            assert client.get(f"{base}{path}?unit={unit}&which=last").status_code == 200
    assert client.get(f"{base}at/99/gap/").status_code == 404
    assert client.get(f"{base}at/4/none/").status_code == 404
    assert client.get(f"{base}whole/none/").status_code == 404


def test_what_people_write_on_a_point_stands_in_the_drawing_the_table_and_on_paper(
    shop, client_of, people
):
    many(shop, 4)
    client = client_of("builder")
    at = f"/joints/{shop.joint.pk}/over-parts/at/4/gap/"
    asked = "?which=last&by=2&spread=deviation&rules=nelson"
    second = rules.over_parts(shop.joint, Which.FIRST).reads[1]
    key = str(second.check.entry_id)
    empty = client.post(f"{at}note/{asked}", {"point": key, "words": "  "})
    assert "<title>Error: " in empty.content.decode()
    assert f'<option value="{key}" selected>' in empty.content.decode()
    said = {"point": key, "words": "cold <hall>, 14 °C"}
    assert client.post(f"{at}note/{asked}", said)["Location"].startswith(at)
    said = {"point": key, "words": "other strap", "everywhere": "on"}
    client.post(f"{at}note/", said)

    def words_of(address):
        return client.get(address).content.decode()

    shown = words_of(at)
    who, day = people["builder"].name, second.check.entry.received_at
    told = f"cold &lt;hall&gt;, 14 °C ({who}, "
    assert shown.count(f"a: {told}") == 2  # under the drawing, and in the table
    assert f"b: other strap ({who}, " in shown
    assert f"<strong>{second.part.serial}</strong>: cold" in shown
    together = words_of(at + asked)
    assert f"{second.part.serial}: {told}" in together
    assert "<th>deviation</th>" in together  # the mean is charted with this, as asked
    assert "<th>range</th>" in words_of(at + asked.replace("deviation", "range"))
    other = words_of(at.replace("gap", "flush")) + words_of(at.replace("/4/", "/5/"))
    assert "cold" not in other
    assert other.count("a: other strap") == 4
    note = ChartNote.objects.get(words__startswith="cold")
    change = f"{at}note/?replace={note.pk}"
    assert "cold &lt;hall&gt;" in words_of(change)
    client.post(change, {"words": "cold hall, 15 °C"})
    assert "cold hall, 15 °C" in words_of(at)
    assert "14 °C" not in words_of(at)
    assert client.get(change).status_code == 404  # it was replaced
    gone = ChartNote.objects.get(words="other strap")
    chart_notes.replace_note(
        by=people["lead"], note=gone, words="it was the same", taken_back=True
    )
    with pytest.raises(Refused, match="changed this note already"):
        chart_notes.replace_note(by=people["lead"], note=gone, words="once more")
    with pytest.raises(PermissionDenied):
        chart_notes.write_note(by=people["visitor"], check=second.check, words="x")
    assert "other strap" not in words_of(at)
    for paper, wide in (("a4", 595), ("letter", 612)):
        answer = client.get(f"{at}charts.pdf{asked}&paper={paper}")
        sheet = PdfReader(io.BytesIO(answer.content))
        text = " ".join("".join(one.extract_text() for one in sheet.pages).split())
        assert round(sheet.pages[0].mediabox.width) == wide
        assert f"a: {second.part.serial}: cold hall, 15 °C" in text
        assert "deviation" in text
        assert "Nelson 1984" in text
        assert f"{day:%Y}" in text
    again = client.get(f"{at}charts.pdf{asked}&paper={paper}")
    assert again.content == answer.content


def test_a_note_stays_with_its_station_when_the_joint_is_revised(shop, people):
    check = shop.fit(shop.pull(), shop.airframes[0], {})
    station = check.fit_up.revision.stations.get(label="4")
    chart_notes.write_note(
        by=people["lead"], check=check, words="filler", station=station, of="gap"
    )
    revise(shop.by, shop.joint, make_stations(10, trim_max_nm=mm(4)))
    shop.joint.refresh_from_db()
    page = queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
    assert [one.note.words for one in page.written] == ["filler"]
    other = check.fit_up.revision
    assert shop.joint.current != other
    newer = shop.joint.current.stations.get(label="4")
    with pytest.raises(Refused, match="another revision"):
        chart_notes.write_note(
            by=people["lead"], check=check, words="x", station=newer, of="gap"
        )


def test_three_parts_or_thirty_take_as_many_statements(shop):
    def statements():
        with CaptureQueriesContext(connection) as said:
            queries.over_page(shop.joint, Which.FIRST, "mm")
            queries.place_page(shop.joint, "4", Kind.GAP, Which.FIRST, "mm")
        return len(said)

    def write():
        for one in rules.over_parts(shop.joint, Which.FIRST).reads:
            chart_notes.write_note(by=shop.by, check=one.check, words="x")

    many(shop, 3)
    write()
    few = statements()
    many(shop, 6)
    write()
    assert statements() == few
