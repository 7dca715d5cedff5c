"""The plan of a check as people see it: words, tables, papers, who may what."""

import io
import json
import re
from dataclasses import replace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from qa.actions import moves, planning_defaults
from qa.models import AppliedMove, FitPlan, FitUp, PlanDefaults, TrimCut
from qa.numeric.plan.joint_arrays import Measured
from qa.numeric.plan.motions import Motion, free_motions
from qa.numeric.plan.planner import plan_joints
from qa.numeric.plan.result import PlanOptions
from qa.queries.plans import move_rows, plan_texts
from qa.queries.plans import plan_pages as plans
from qa.rules import plan_records, planning
from qa.wording.plans import held, held_name, note, plan_notes
from shop.ledger import Refused
from shop.ledger.canonical import canonical
from tests.numeric import doors
from tests.qa.making import (
    make_check,
    make_fit_up,
    make_joint,
    make_stations,
    mm,
    read,
)
from tests.qa.planned import (
    a_check,
    a_joint,
    cut,
    even,
    planned,
    read_at,
    shifted,
    take,
    without_spread,
)

pytestmark = [pytest.mark.django_db, pytest.mark.either_database]


@pytest.fixture
def engineer(people):
    return people["engineer"]


def url(check, more="plan/"):
    return f"/fit-checks/{check.entry_id}/{more}"


def view_of(check, unit="mm", **limits):
    wish = planning.Wish(limits=limits) if limits else None
    return plans.view_of(planning.work_out(planned(check), wish), unit)


def test_a_good_door_that_sits_off_gets_a_move_and_no_cut(engineer):
    check = a_check(engineer, a_joint(engineer, 12))
    shifted(check, x=-1.0, y=0.6)
    view = view_of(check)
    assert view.worked.plan.outcome == "fits" and not view.cuts
    assert without_spread(view.moves[0]) == "move 1.00 mm right, 0.60 mm down"
    assert "Seating it is enough" in view.outcome
    assert all(row.gap_state_after == "conforms" for row in view.rows)


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        (180_000, "move 1.00 mm forward, 0.60 mm down"),
        (0, "move 1.00 mm aft, 0.60 mm down"),
        (90_000, "move 1.00 mm right, 0.60 mm down"),
    ],
)
def test_forward_is_against_the_flow_where_it_runs_along_the_drawing(
    engineer, flow, words
):
    check = a_check(engineer, a_joint(engineer, 12, flow_mdeg=flow))
    shifted(check, x=-1.0, y=0.6)
    assert without_spread(view_of(check).moves[0]) == words


def test_a_move_is_told_in_the_unit_of_the_person(engineer, client_of):
    check = a_check(engineer, a_joint(engineer, 12))
    shifted(check, x=-1.27)
    (words,) = view_of(check, "in").moves
    assert re.fullmatch(r"move 0\.0500 ± 0\.000\d in right", words)
    page = client_of("builder").get(url(check) + "?unit=in").content.decode()
    assert words[5:] in page and "Every station, in" in page


def test_a_turn_says_which_way_round_it_goes(engineer):
    check = a_check(engineer, a_joint(engineer, 12))
    shifted(check, turn=0.0033)
    # By hand: the outermost station lies 447.9 mm from the middle.
    told = "turn clockwise (seen from outside), 1.48 mm at station 4"
    assert told in map(without_spread, view_of(check).moves)
    worked = planning.work_out(planned(check))
    (asked,) = plans.view_of(worked, "mm", degrees=True).moves
    assert without_spread(asked) == f"{told}, 0.189°"


def test_every_motion_of_a_free_part_is_told_in_words_and_no_name_of_the_shop_is():
    free = free_motions((0, 0, 0), 1, 1, 1, 1)
    names, words = {one.name for one in free}, {held(one.code) for one in free}
    assert len(words) == 6 and not words & names
    assert {held_name(one.code) for one in free} == names
    door = [replace(one, part="door").code for one in free]
    assert {held(code) for code in door} == {f"door: {word}" for word in words}
    assert held_name(door[0]) == "door tilt_x"
    own = replace(free[0], free=False)
    assert held(own.code) == "tilt_x"
    assert held(replace(own, part="door").code) == "door tilt_x"


def test_what_no_reading_sees_is_told_by_the_name_that_a_shop_gave_it():
    tilt = Motion("tilt_x", (0, 0, 0), (1, 0, 0), (0, 0, 0), -1, 1)
    slide = Motion("turn", (1, 0, 0), (0, 0, 0), (0, 0, 0), -3, 3)
    joint = doors.square()
    gaps = Measured(joint, [1.2, 2.0, 2.8, 2.0], doors.none(joint))
    plan = plan_joints([gaps], PlanOptions(motions=(tilt, slide)))
    assert plan.held == ("tilt_x",)
    assert "no reading sees it: tilt_x" in " ".join(plan_notes(plan))
    free = plan_joints([gaps], PlanOptions())
    assert free.held == (("free", "turn"),)
    assert "no reading sees it: turning in the plane" in " ".join(plan_notes(free))


def test_the_motions_of_an_older_record_are_told_in_words_too(engineer):
    check = a_check(engineer)
    read_at(check, even(s3="0.9"), flush=None)
    row = take(engineer, check)
    body = json.loads(row.body) | {"form": "plan_body/5"}
    body["outcome"] |= {"held": ["turn"], "notes": [["held", {"names": ["turn"]}]]}
    row = FitPlan.objects.get()
    row.body = canonical(body)
    worked = plan_records.worked_of(row)
    assert plans.view_of(worked, "mm").held == ["turning in the plane"]
    assert note(*worked.notes[0], "mm").endswith("sees it: turning in the plane")
    body["wishes"]["options"]["motions"] = body["outcome"]["move"]["motions"]
    row = FitPlan.objects.get()
    row.body = canonical(body)
    assert plan_records.worked_of(row).plan.held == ("turn",)


def seen(page: str) -> str:
    """The words of a page, without its tags."""
    return re.sub(r"<[^>]*>", " ", page)


def test_degrees_are_on_the_page_of_a_plan_only_where_they_are_asked_for(
    engineer, client_of
):
    swing = {
        "name": "swing",
        "rotation": [0, 1, 0],
        "origin": [-400, 0, 0],
        "min": -2,
        "max": 2,
    }
    free, hinged = a_joint(engineer, 12), a_joint(engineer, 12, motions=[swing])
    client = client_of("engineer")
    for joint, kind in ((free, "turn"), (hinged, "swing")):
        check = a_check(engineer, joint)
        if joint is free:
            shifted(check, turn=0.004)
        else:
            read_at(check, even(12, "2.25"), flush=None)
            for one in check.fit_up.revision.stations.all():
                off = 0.0012 * (one.x_nm / 1e6 + 400)
                read(check, one.label, "flush", f"{off:.3f}")
            assert any("mm in at station " in one for one in view_of(check).moves)
        page = client.get(url(check)).content.decode()
        assert kind in page.lower() and "°" not in page.replace("°C", "")
        assert "degrees" not in seen(page).replace("With turns in degrees", "")
        page = client.get(url(check) + "?degrees=1").content.decode()
        assert "°" in page.replace("°C", "") and "Greatest turn, degrees" in page
        take(engineer, check, None)
        page = client.get(url(check, "move/")).content.decode()
        assert "degrees" not in page and "at station" in page


def test_raise_and_tilt_are_told_at_the_attach_points(engineer):
    points = [
        {"name": "hinge", "x_nm": mm(-400), "y_nm": 0},
        {"name": "latch", "x_nm": mm(400), "y_nm": 0},
    ]
    check = a_check(engineer, a_joint(engineer, 12, attach_points=points))
    shifted(check, rise=-0.60)
    (words,) = map(without_spread, view_of(check).moves)
    assert words == "raise 0.60 mm at hinge, raise 0.60 mm at latch"


def test_without_attach_points_the_outermost_stations_stand_for_them(engineer):
    check = a_check(engineer, a_joint(engineer, 12))
    shifted(check, rise=-0.60)
    (words,) = map(without_spread, view_of(check).moves)
    assert words.startswith("raise 0.60 mm at station ")


def test_a_hinged_door_is_planned_as_it_can_move(engineer):
    swing = {
        "name": "slide along the hinge",
        "translation": [0, 1, 0],
        "min": -1,
        "max": 1,
    }
    joint = a_joint(engineer, 12)
    check = make_check(engineer, make_fit_up(engineer, joint, motions=[swing]))
    shifted(check, y=0.9)
    view = view_of(check)
    (words,) = map(without_spread, view.moves)
    assert words == "slide along the hinge: 0.90 mm down"
    assert [name for name, _ in view.worked.plan.move.amounts] == [swing["name"]]


def test_motions_of_the_joint_hold_where_the_fit_up_states_none(engineer):
    slide = {"name": "slide", "translation": [1, 0, 0], "min": -1, "max": 1}
    check = a_check(engineer, a_joint(engineer, 12, motions=[slide]))
    shifted(check, x=0.9)
    (words,) = map(without_spread, view_of(check).moves)
    assert words == "slide: 0.90 mm left"


def test_what_stays_impossible_is_told_with_its_place_and_reason(engineer):
    check = a_check(engineer, a_joint(engineer, 12, trim_max_nm=mm(0.5)))
    shifted(check, s3=-2.0)
    view = view_of(check, max_move_mm=0.0, max_turn_deg=0.0)
    assert view.state == "above"
    (told,) = view.impossible
    assert told.startswith("station 3: ") and "more than may still be cut" in told
    (inches,) = view_of(check, "in", max_move_mm=0.0, max_turn_deg=0.0).impossible
    assert " in more than may still be cut" in inches and "mm" not in inches


def test_a_step_is_not_cured_by_trimming_and_the_plan_says_so(engineer):
    check = a_check(engineer, a_joint(engineer, 12))
    read_at(check, even(12, "2.25"))
    from tests.qa.making import read

    read(check, "3", "flush", "1.40", supersedes=_flush(check, "3"), reason="again")
    view = view_of(check)
    assert "trimming does not cure it" in view.outcome
    assert any("a step cannot be trimmed away" in one for one in view.impossible)


def _flush(check, label):
    from qa.models import Reading

    return Reading.objects.get(
        fit_check=check, station__label=label, kind="flush", supersedes=None
    )


def test_the_part_moves_only_as_far_as_the_next_bite_lets_it(engineer):
    check = a_check(engineer, a_joint(engineer, 12))
    shifted(check, x=-1.0, s3=-2.6)
    view = view_of(check)
    # Whatever the share: no gap may be predicted below zero after bite and move.
    for row, (_, _, one) in zip(view.rows, view.worked.stations(), strict=True):
        if one.gap_now is None:
            continue
        moved = one.gap_after - one.trim - one.gap_now
        after = one.gap_now + row.bite_nm / 1e6 + view.share * moved
        assert after >= -1e-9


def test_a_plan_of_an_older_state_is_shown_and_records_nothing(engineer, client_of):
    check = a_check(engineer)
    read_at(check, even(s3="0.40"))
    cut(engineer, check, {"3": "0.60"})
    client = client_of("builder")
    page = client.get(url(check)).content.decode()
    assert "this plan shows what stood then" in page
    assert "Record what came off" not in page
    said = {"unit": "mm", "moved": "no", "taken_2": "0.3"}
    answer = client.post(url(check, "trim/"), said, follow=True)
    assert "Take the plan first" in answer.content.decode()
    answer = client.post(url(check, "plan/take/"), follow=True)
    assert "measure again" in answer.content.decode()
    assert FitUp.objects.count() == 2


def test_two_joints_of_one_part_are_planned_together(engineer):
    joint = a_joint(engineer, 8, name="Left edge")
    check = a_check(engineer, joint)
    first = check.fit_up
    other = make_joint(engineer, make_stations(8, size=(600, 300, 40)),
                       position=joint.position, name="Right edge")  # fmt: skip
    second = make_check(
        engineer,
        make_fit_up(engineer, other, airframe=first.airframe, part=first.part),
    )
    shifted(check, x=-0.9)
    shifted(second, x=-0.9)
    view = view_of(check)
    assert len(view.worked.joints) == 2 and len(view.rows) == 16
    assert {row.name.split(":")[0] for row in view.rows} == {
        joint.number,
        other.number,
    }
    assert without_spread(view.moves[0]) == "move 0.90 mm right"
    opened = cut_both(engineer, view)
    assert {one.joint_id for one in opened} == {joint.pk, other.pk}


def cut_both(by, view):
    from qa.actions import moves

    made = plans.moved(view.worked, "mm")
    return moves.record_move(by=by, checks=view.checks, moved=made)


def test_a_joint_measured_held_another_way_is_left_out_and_said(engineer):
    check = a_check(engineer, held=[{"kind": "cleco", "where": "", "count": 4}])
    first = check.fit_up
    other = make_joint(engineer, 8, position=first.joint.position)
    fit_up = make_fit_up(engineer, other, airframe=first.airframe, part=first.part)
    second = make_check(engineer, fit_up)
    read_at(second, even())
    again = a_check(engineer, fit_up=first)
    read_at(again, even())
    view = view_of(again)
    assert len(view.worked.joints) == 1
    assert any("held another way" in one for one in view.warnings)


def test_nothing_measured_is_no_plan_and_says_why(engineer, client_of):
    check = a_check(engineer)
    page = client_of("builder").get(url(check)).content.decode()
    assert "There is no plan" in page and "nothing was measured" in page


def test_limits_asked_for_in_the_address_are_kept_for_what_follows(engineer, client_of):
    check = a_check(engineer)
    shifted(check, x=-1.0)
    client = client_of("builder")
    asked = "?max_move=0.2&unit=mm"
    page = client.get(url(check) + asked).content.decode()
    assert "0.20 mm right" in without_spread(page)
    assert f"{url(check, 'plan/take/')}?max_move=0.2&amp;unit=mm" in page
    client.post(url(check, "plan/take/") + asked)
    page = client.get("/plans/1/?unit=mm").content.decode()
    assert "0.20 mm right" in without_spread(page)
    wrong = client.get(url(check) + "?max_move=-1&unit=mm").content.decode()
    assert "This cannot be less than 0." in wrong


def test_the_gap_at_20_degrees_stands_beside_the_gap_as_read(engineer, client_of):
    joint = a_joint(
        engineer, 8, part_expansion_e9=70_000, surround_expansion_e9=3_000,
        expanding_length_nm=mm(1000),
    )  # fmt: skip
    check = make_check(engineer, make_fit_up(engineer, joint), temperature_mc=30_000)
    read_at(check, even())
    # An acrylic part of 1000 mm, 10 K warmer, grew 0.67 mm more than its opening
    # (a L dT: 70e-6 and 3e-6 per K): at 20 degC the gap is that much wider.
    view = view_of(check)
    assert {row.gap_at_20 for row in view.rows} == {"2.87"}
    page = client_of("visitor").get(f"/fit-checks/{check.entry_id}/").content.decode()
    assert "2.87 mm at 20 °C" in page and "Verdicts are of the gap as read" in page


def test_the_work_order_is_one_page_with_the_steps(engineer, client_of):
    held = [{"kind": "cleco", "where": "holes 1, 4, 7, 10, 13, 16", "count": 6}]
    check = a_check(engineer, a_joint(engineer, 24), held=held)
    shifted(check, x=-1.0, rise=0.1, s3=-2.6, s4=-2.6, s9=-2.6, s14=-2.6)
    client = client_of("builder")
    assert client.get(url(check, "plan/work-order.pdf")).status_code == 404
    answer = client.post(url(check, "plan/work-order.pdf"), follow=True)
    pages = PdfReader(io.BytesIO(answer.content)).pages
    assert len(pages) == 1
    text = " ".join(pages[0].extract_text().split())
    assert (
        "FP-0001" in text and check.label in text and "Take the next bite off" in text
    )
    assert "Cut released by" in text and "with a probability of" in text
    assert answer.content == client_of("builder").get(
        url(check, "plan/work-order.pdf")
    ).content  # fmt: skip


def test_the_work_order_of_a_check_that_was_overtaken_says_so_across(
    engineer, client_of
):
    check = a_check(engineer)
    read_at(check, even(s3="0.40"))
    client, where = client_of("builder"), url(check, "plan/work-order.pdf")
    client.post(where)
    assert "do not work by this" not in words_of(client.get(where))
    cut(engineer, check, {"3": "0.60"})
    assert "Overtaken: do not work by this" in words_of(client.get(where))


def test_the_work_order_names_the_reading_to_take_again_before_it_is_cut(
    engineer, client_of
):
    check = a_check(engineer, a_joint(engineer, 12))
    shifted(check, x=-1.0, s3=-2.2)
    client, where = client_of("builder"), url(check, "plan/work-order.pdf")
    page = client.get(url(check)).content.decode()
    assert "Take the gap at station 3 again first" in page
    client.post(where)
    assert "Take the gap at station 3 again first" in words_of(client.get(where))


def words_of(answer) -> str:
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


def test_what_conforms_is_left_as_it_is(engineer, client_of):
    check = a_check(engineer)
    read_at(check, even(s1="2.40"))
    page = client_of("builder").get(url(check)).content.decode()
    assert "Leave it: it conforms where it sits." in page and "center it" not in page
    assert '<ol class="plan-steps">' not in page


def test_a_builder_records_a_cut_on_the_page(engineer, client_of):
    check = a_check(engineer)
    read_at(check, even(s3="0.40", s4="0.40"))
    client = client_of("builder")
    client.post(url(check, "plan/take/") + "?max_move=0&max_turn=0&unit=mm")
    where = url(check, "trim/")
    page = client.get(where).content.decode()
    # 0.6 of 1.25 mm is asked for, and not taken for done.
    assert '<td class="num">0.75</td>' in page and 'value="0.75"' not in page
    answer = client.post(where, {"unit": "mm", "moved": "no"})
    assert "Nothing came off" in answer.content.decode()
    answer = client.post(where, {"unit": "mm", "moved": "no", "taken_2": "0,70",
                                 "taken_3": "0.75"}, follow=True)  # fmt: skip
    assert "Recorded. Measure again" in answer.content.decode()
    deep = {row.value: row.depth_nm for row in TrimCut.objects.filter(depth_nm__gt=0)}
    assert deep == {"0,70": mm(0.7), "0.75": mm(0.75)}


def test_a_cut_as_asked_takes_the_bites_where_nothing_else_is_typed(
    engineer, client_of
):
    check = a_check(engineer)
    read_at(check, even(s3="0.40", s4="0.40"))
    take(engineer, check)
    where = url(check, "trim/")
    said = {"unit": "mm", "moved": "no", "as_asked": "on", "taken_2": "0.5"}
    client_of("builder").post(where, said)
    cuts = TrimCut.objects.filter(depth_nm__gt=0)
    assert sorted(cut.value for cut in cuts) == ["0.5", "0.75"]


def test_a_depth_that_is_no_number_is_complained_of_beside_its_field(
    engineer, client_of
):
    check = a_check(engineer)
    read_at(check, even(s3="0.40"))
    take(engineer, check)
    answer = client_of("builder").post(
        url(check, "trim/"), {"unit": "mm", "moved": "no", "taken_2": "deep"}
    )
    assert answer.status_code == 200 and not TrimCut.objects.exists()
    assert "error" in answer.content.decode()


def test_a_move_is_recorded_with_other_amounts_than_planned(engineer, client_of):
    check = a_check(engineer)
    shifted(check, x=-1.0)
    take(engineer, check, limits=None)
    client = client_of("builder")
    view = view_of(check)
    worked = view.worked
    names = [row.name for row in move_rows.motion_rows(worked, worked.plan.move.raw)]
    page = client.get(url(check, "move/"))
    asked = page.context["form"][f"amount_{names.index('x')}"].value()
    assert asked == "1.00" and {"0.00", "1.00"} == {
        field.value() for field in page.context["form"] if field.name != "note"
    }
    amounts = {f"amount_{n}": "0" for n in range(len(names))}
    amounts[f"amount_{names.index('x')}"] = "0,4"
    answer = client.post(url(check, "move/"), amounts, follow=True)
    assert answer.status_code == 200
    fit_up = FitUp.objects.get(number=2)
    assert fit_up.reason == "move"
    made = check.fit_up.moves.get()
    assert (made.words, made.plan.label) == ("move 0.40 mm right", "FP-0001")


def test_a_move_by_an_overtaken_plan_asks_for_a_reason(engineer, client_of):
    check = a_check(engineer)
    shifted(check, x=-1.0)
    take(engineer, check, limits=None)
    client, where = client_of("builder"), url(check, "move/")
    form = client.get(where).context["form"]
    assert "reason" not in form.fields
    said = {field.name: field.value() or "" for field in form}
    read_at(a_check(engineer, fit_up=check.fit_up), {"3": "0.50"})
    page = client.post(where, {**said, "note": "by the old sheet"})
    words = "The plan is overtaken: say why it was moved by it."
    assert page.context["form"].errors == {"reason": [words]}
    assert "by the old sheet" in page.content.decode()
    with pytest.raises(Refused, match="measured again at 3. Say why .* moved by") as no:
        record_as_planned(engineer, check)
    assert (no.value.field, no.value.code) == ("reason", "reason")
    assert not AppliedMove.objects.exists()
    told = {**said, "reason": "moved before it was read"}
    assert client.post(where, told).status_code == 302
    assert AppliedMove.objects.get().reason == "moved before it was read"
    assert "“moved before it was read”" in client.get("/plans/1/").content.decode()


def record_as_planned(by, check) -> None:
    worked = plan_records.worked_of(FitPlan.objects.get())
    moved = plans.moved(worked, "mm")
    moves.record_move(by=by, checks=[worked.check], moved=moved, plan=worked.record)


@pytest.mark.parametrize("path", ["trim/", "move/", "plan/release/"])
def test_a_visitor_may_look_at_a_plan_and_do_nothing(engineer, client_of, path):
    check = a_check(engineer)
    read_at(check, even(s3="0.40"))
    client = client_of("visitor")
    assert client.get(url(check)).status_code == 200
    assert client.get(url(check, path)).status_code == 403
    assert client.post(url(check, path)).status_code == 403
    assert client.post(url(check, "plan/template.pdf")).status_code == 403


def test_the_defaults_of_the_shop_are_what_a_plan_goes_by(engineer, client_of):
    client = client_of("lead")
    said = {
        "unit": "mm", "bite": "0.5", "floor": "0.2", "aim": "0.05", "max_move": "0",
        "max_turn": "0", "max_raise": "3", "max_tilt": "1", "max_trim": "3",
        "fairness": "", "wished": "90", "loosen": "4", "adjuster": "7.5", "motion": "9",
        "measure": "0.25", "look_again": "1", "cut": "30", "cut_per_m": "20",
    }  # fmt: skip
    page = client.post("/plan-defaults/", said | {"cut": "", "wished": "101"})
    assert set(page.context["form"].errors) == {"cut", "wished"}
    assert client.post("/plan-defaults/", said).status_code == 302
    row = PlanDefaults.objects.first()
    assert (row.wished_permille, row.measure_s, row.adjuster_s) == (900, 15, 450)
    form = client.get("/plan-defaults/").context["form"]
    assert all(form[name].value() == said[name] for name in ("wished", "measure"))
    assert PlanDefaults.objects.first().bite_permille == 500
    check = a_check(engineer)
    read_at(check, even(s3="0.40"))
    view = view_of(check)
    row = next(row for row in view.rows if row.label == "3")
    assert (row.trim, row.bite) == ("1.15", "0.57")  # to 1.55, and half of it
    assert client_of("builder").get("/plan-defaults/").status_code == 403


def test_older_defaults_stay_on_record(engineer):
    for permille in (600, 400):
        planning_defaults.set_plan_defaults(by=engineer, bite_permille=permille)
    assert [row.bite_permille for row in PlanDefaults.objects.all()] == [400, 600]


def test_the_pages_need_the_same_statements_for_8_and_for_40_stations(
    engineer, client_of
):
    client, counts = client_of("builder"), {}
    for count in (8, 40):
        check = a_check(engineer, a_joint(engineer, count))
        read_at(check, even(count, s3="0.40"))
        fit_up = check.fit_up
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url(check)).status_code == 200
        counts.setdefault("worked out", []).append(len(caught))
        take(engineer, check)
        for page in (
            url(check),
            url(check, "trim/"),
            f"/joints/{fit_up.joint_id}/on/{fit_up.airframe_id}/",
        ):
            with CaptureQueriesContext(connection) as caught:
                assert client.get(page).status_code == 200
            counts.setdefault(page.split("/")[-2][:4], []).append(len(caught))
    # Two of them ask whether a gauge was found off, lost or damaged.
    assert max(counts["worked out"]) <= 27, counts
    assert all(len(set(each)) == 1 for each in counts.values()), counts
    assert counts["plan"][0] == counts["plan"][1]
    assert counts["trim"][0] == counts["trim"][1]


def test_a_joint_never_fitted_says_what_to_do_first(engineer, client_of):
    from tests.qa.making import make_airframe

    joint = a_joint(engineer)
    airframe = make_airframe(engineer, type=joint.type)
    page = client_of("builder").get(f"/joints/{joint.pk}/on/{airframe.pk}/")
    assert "Never fitted on this airframe" in page.content.decode()
    other = make_airframe(engineer)
    where = f"/joints/{joint.pk}/on/{other.pk}/"
    assert client_of("builder").get(where).status_code == 404


def test_stations_are_told_in_runs():
    from qa.rules.history import Seam

    class Named:
        def __init__(self, label):
            self.label = label

    seam = Seam(None, [Named(str(n)) for n in range(1, 12)])
    assert plan_texts.run_words(seam, {"4", "5", "6", "11"}) == "stations 4–6, 11"
    assert plan_texts.run_words(seam, {"9"}) == "station 9"
