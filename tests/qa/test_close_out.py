"""Close-out: what still stands, with a link at each line; closed by who may; voided by
whatever changes after."""

from datetime import date

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.db.transaction import atomic, set_rollback
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from qa.actions import (
    close_outs,
    gauges,
    holes,
    instruments,
    offers,
    raising,
    temporary,
)
from qa.actions.holes import MeasuredHole, PatternHead
from qa.models import CloseOut, HolePattern, Instrument
from qa.queries import close_out as queries
from qa.rules import close_out, close_out_records, close_out_stands
from qa.rules.close_out_stands import Scope
from shop.actions import airframes, suspects, weights
from shop.forms.measures import parse_measure
from shop.ledger import Refused, perform
from shop.ledger.verify import verify
from shop.models import Airframe, EmptyPlace, Lineage, Origin
from shop.queries.signatures import signed_thing
from shop.rules import signing
from shop.rules.empty_places import empty_places
from tests.conftest import make_people
from tests.qa.making import (
    fresh,
    make_airframe,
    make_fit_up,
    make_instrument,
    make_joint,
    make_part,
    make_position,
    mm,
)
from tests.qa.test_characteristics import found, planned
from tests.qa.test_holes_pages import drafts
from tests.qa.test_item_life import led_to, more_people
from tests.qa.test_offers import accepted, inspect, measured, offered
from tests.qa.test_papers import text_of
from tests.qa.test_temporary import at_once, put, step
from tests.shop.making import make_placement
from tests.shop.test_signatures import give_pin, sign


def weighed(people, part, stage="trimmed", estimate=False) -> None:
    weights.weigh_part(
        by=people["builder"],
        part=part,
        stage=stage,
        mass=parse_measure("1.2", "mass", "kg"),
        weighed_on=timezone.localdate(),
        estimate=estimate,
        scale="" if estimate else "bench",
    )


class Ready:
    """A joint in whose way nothing stands: accepted, its parts placed and weighed."""

    def __init__(self, people):
        self.people = people
        self.row, self.check, self.placed = accepted(people)
        self.joint, self.airframe = self.row.joint, self.row.offer.airframe
        for placement in self.placed:
            weighed(people, placement.part)

    def scopes(self):
        return ({"joint": self.joint}, {"bay": self.joint.position}, {})

    def standings(self) -> list:
        """Where each scope stands, and last the other side of the joint."""
        gathered = close_out_stands.gather(close_out_records.load(self.airframe))
        return [
            close_out.standing_of(gathered, Scope(self.airframe, **of))
            for of in (*self.scopes(), {"bay": self.joint.surround})
        ]

    def view(self, **of):
        return queries.view_of(self.airframe, **of)

    def kinds(self, **of) -> set[str]:
        return {group.kind for group in self.view(**of).groups}

    def state(self, **of) -> str:
        return self.view(**of).standing.state

    def close(self, by="lead", shown="", **of) -> CloseOut:
        shown = shown or self.view(**of).standing.digest
        said = {"airframe": self.airframe, "shown": shown, **of}
        return close_outs.close(by=self.people[by], **said)

    def put(self, kind="film", count=1, **more):
        said = {"bay": self.joint.position, "why": "for the fit", **more}
        return temporary.put_in(
            by=self.people["builder"],
            airframe=self.airframe,
            kind=kind,
            count=count,
            **said,
        )

    def characteristic(self, quality="count", **required):
        required = required or {"low": "2", "high": "2"}
        of = {"bay": self.joint.position, "joint": self.joint}
        return planned(self.people, quality, **of, **required)


# ------------------------------------------------------------------- what stands: kinds


def unaccepted(ready):
    make_fit_up(
        ready.people["builder"],
        ready.joint,
        airframe=ready.airframe,
        part=ready.check.fit_up.part,
        reason="refit",
    )


def film(ready):
    ready.put("film", joint=ready.joint)


def mock_up(ready):
    ready.put("mock_up", joint=ready.joint, stands_for="latch")


def open_hole(ready):
    ready.put("hole", 2, joint=ready.joint)


def lost(ready):
    clamp = ready.put("clamp", 2, joint=ready.joint)
    step(ready.people, clamp, "take_out")
    step(ready.people, clamp, "miss")


def item(ready):
    raising.raise_by_hand(
        by=ready.people["builder"],
        airframe=ready.airframe,
        part=ready.check.fit_up.part,
        title="scratch beside the latch",
    )


def item_from_elsewhere(ready):
    """Raised while the part was on another airframe, at a joint that both have."""
    other = make_airframe(ready.people["engineer"], type=ready.joint.type)
    raising.raise_by_hand(
        by=ready.people["builder"],
        airframe=other,
        part=ready.check.fit_up.part,
        title="crack beside the hinge",
    )


def item_of_what_it_was_bonded_from(ready):
    """Raised on another airframe, before that went into what sits here."""
    other = make_airframe(ready.people["engineer"], type=ready.joint.type)
    skin = make_part(ready.people["engineer"])
    raising.raise_by_hand(
        by=ready.people["builder"], airframe=other, part=skin, title="dry spot"
    )
    whole = ready.check.fit_up.part
    with perform("part/1", by=ready.people["builder"], said={}) as act:
        act.record(Lineage(part=whole, kind=Origin.BONDED, source=skin))


def unweighed(ready):
    weighed(ready.people, ready.placed[0].part, "finished", estimate=True)


def overdue(ready):
    gauge = Instrument.objects.get(pk=ready.check.instrument_id)
    day = date(2020, 1, 1)
    instruments.save_instrument(by=ready.people["engineer"], instrument=gauge, due=day)


def found_off(ready):
    gauges.record_calibration(
        by=ready.people["engineer"],
        instrument=Instrument.objects.get(pk=ready.check.instrument_id),
        done_on=timezone.localdate(),
        laboratory="calibration room",
        result="off",
    )


def found_beyond_its_range(ready):
    gauge = make_instrument(ready.people["engineer"], range_high_nm=mm(5))
    row = ready.characteristic("dimension", low="12", unit="mm")
    said = {"unit": "mm", "instrument": gauge}
    found(ready.people, row, ready.airframe, "12.5", **said)


def unproven(ready):
    ready.characteristic()


def failing(ready):
    found(ready.people, ready.characteristic(), ready.airframe, "3")


def without_photo(ready):
    row = ready.characteristic("attribute", photo=True)
    found(ready.people, row, ready.airframe, "yes")


def unmeasured_holes(ready):
    holes.define_pattern(
        by=ready.people["engineer"],
        number=fresh("HP"),
        name="Hinge",
        joint=ready.joint,
        holes=drafts(),
        says=PatternHead(),
    )


def holes_of_a_design(ready):
    holes.define_pattern(
        by=ready.people["engineer"],
        number=fresh("HP"),
        name="Latch",
        design=ready.check.fit_up.part.design,
        holes=drafts(),
        says=PatternHead(),
    )


def suspect(ready):
    suspects.put_on_hold(
        by=ready.people["lead"],
        kind="part",
        key=ready.placed[0].part_id,
        reason="dropped",
    )


def missing_part(ready):
    airframes.change_position(
        by=ready.people["engineer"],
        position=ready.joint.position,
        code=ready.joint.position.code,
        name=ready.joint.position.name,
        parent=None,
        part_number=ready.placed[0].part.design.number,
    )
    airframes.remove_part(
        by=ready.people["builder"], placement=ready.placed[0], reason="paint"
    )


WAYS = {
    unaccepted: {"acceptance", "stations"},
    film: {"temporary"},
    mock_up: {"mock_up"},
    open_hole: {"temporary"},
    lost: {"missing"},
    item: {"item"},
    item_from_elsewhere: {"item"},
    item_of_what_it_was_bonded_from: {"item"},
    unweighed: {"part"},
    overdue: {"instrument"},
    found_off: {"instrument"},
    found_beyond_its_range: {"instrument"},
    unproven: {"characteristic"},
    failing: {"characteristic"},
    without_photo: {"photo"},
    unmeasured_holes: {"holes"},
    holes_of_a_design: {"holes"},
    suspect: {"part", "acceptance"},
    missing_part: {"part", "acceptance"},
}


@pytest.mark.either_database
@pytest.mark.django_db
def test_each_thing_stands_in_the_way_and_voids_what_was_closed(people):
    ready = Ready(people)
    for of in ready.scopes():
        assert (ready.kinds(**of), ready.state(**of)) == (set(), "ready")
        ready.close(**of)
        assert ready.state(**of) == "closed"
    assert verify().fault == ""
    for way, kinds in WAYS.items():
        with atomic():
            way(ready)
            *standings, other = ready.standings()
            for standing in standings:
                told = {stand.kind for stand in standing.stands}
                assert told >= kinds, (way, standing.scope)
                assert standing.state == "close_out_void", (way, standing.scope)
            with pytest.raises(Refused) as no:
                ready.close(shown=standings[0].digest, joint=ready.joint)
            assert no.value.code == "stands", way
            # The other side of the airframe is not concerned.
            assert other.stands == [], way
            set_rollback(True)
    assert ready.state() == "closed"


@pytest.mark.either_database
@pytest.mark.django_db
def test_it_opens_again_what_was_put_right_voids_too_and_says_what_changed(people):
    ready = Ready(people)
    ready.close(bay=ready.joint.position)
    tape = ready.put("tape", 3)
    step(people, tape, "take_out", 3)
    standing = ready.view(bay=ready.joint.position).standing
    assert (standing.state, standing.stands) == ("close_out_void", [])
    assert standing.changed == (f"temporary item {tape.label}",)
    ready.close(bay=ready.joint.position)
    assert ready.state(bay=ready.joint.position) == "closed"
    assert CloseOut.objects.count() == 2


@pytest.mark.django_db
def test_a_station_that_was_accepted_with_a_remark_stands_until_the_remark_is_closed(
    people,
):
    check = measured(people, skip=(4,))
    row = offered(people, check)
    inspect(people, row, "with_remarks", [("4", "measure it at the next fit")])
    view = queries.view_of(row.offer.airframe, joint=row.joint)
    assert [group.kind for group in view.groups] == ["item"]


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_remark_on_the_joint_whole_hides_no_doubt_that_came_after_it(people):
    joint = make_joint(people["engineer"], acceptance_condition="latched")
    check = measured(people, make_fit_up(people["engineer"], joint))
    row = offered(people, check)
    inspect(people, row, "with_remarks", [("", "measured while it was not latched")])

    def told():
        view = queries.view_of(row.offer.airframe, joint=row.joint)
        return [group.kind for group in view.groups]

    assert (row.content["short"], told()) == (["condition"], ["item"])
    gauges.record_calibration(
        by=people["engineer"],
        instrument=check.instrument,
        done_on=timezone.localdate(),
        laboratory="calibration room",
        result="off",
    )
    assert told() == ["acceptance", "stations", "instrument", "item"]


def read_holes(ready, pattern, part, by="builder", **at) -> None:
    """Holes of a pattern, by their names, as far along as is said."""
    holes.record_holes(
        by=ready.people[by],
        revision=pattern.current,
        part=part,
        measured=[
            MeasuredHole(label.strip("h"), x, "0", "4.10") for label, x in at.items()
        ],
    )


WHOLE = {"h1": "0", "h2": "20", "h3": "40"}


def patterned(ready, **of) -> HolePattern:
    row = holes.define_pattern(
        by=ready.people["engineer"],
        number=fresh("HP"),
        name="Hinge",
        holes=drafts(),
        says=PatternHead(),
        **of,
    )
    return HolePattern.objects.select_related("current").get(pk=row.pk)


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_hole_that_fails_stands_until_it_is_read_again_and_a_new_part_is_read(
    people,
):
    ready = Ready(people)
    door, shell = (placement.part for placement in ready.placed)
    pattern = patterned(ready, joint=ready.joint)

    def told():
        view = ready.view(joint=ready.joint)
        return [
            line.why
            for group in view.groups
            if group.kind == "holes"
            for line in group.lines
        ]

    read_holes(ready, pattern, shell, **{**WHOLE, "h3": "40.5"})
    assert [why.split(": ")[1] for why in told()] == ["hole 3 does not conform"]
    read_holes(ready, pattern, shell, h1="0")
    assert [why.split(": ")[1] for why in told()] == ["hole 3 does not conform"]
    read_holes(ready, pattern, shell, h3="40")
    assert told() == []
    # Its holes were never read: those of what it meets were, through another.
    airframes.remove_part(
        by=people["builder"], placement=ready.placed[0], reason="cracked"
    )
    of = {"airframe": ready.airframe, "part": make_part(people["engineer"])}
    reason = {"reason": "another door"}
    make_placement(people["engineer"], position=ready.joint.position, **of, **reason)
    make_fit_up(people["engineer"], ready.joint, **of, reason="refit")
    both = f"{of['part'].serial}, {shell.serial}"
    assert told() == [f"{both}: not every hole was measured"]
    read_holes(ready, pattern, of["part"], **WHOLE)
    assert told() == []


@pytest.mark.either_database
@pytest.mark.django_db
def test_each_place_of_a_design_has_its_holes_read(people):
    ready = Ready(people)
    engineer, first = people["engineer"], ready.placed[0].part
    pattern = patterned(ready, design=first.design)
    bay = make_position(engineer, type=ready.joint.type)
    second = make_part(engineer, design=first.design)
    at = {"airframe": ready.airframe, "position": bay, "reason": "made for a test"}
    make_placement(engineer, part=second, **at)
    weighed(people, second)

    def told():
        places = {"bay": ready.joint.position}, {"bay": bay}
        return ["holes" in ready.kinds(**of) for of in places]

    assert told() == [True, True]
    read_holes(ready, pattern, first, **WHOLE)
    assert told() == [False, True]
    read_holes(ready, pattern, second, **WHOLE)
    assert told() == [False, False]


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_bay_that_holds_nothing_is_not_ready_and_the_airframe_names_it(people):
    ready = Ready(people)
    bare = make_position(people["engineer"], type=ready.joint.type)
    for of in ({"bay": bare}, {}):
        standing = ready.view(**of).standing
        assert [(x.what, x.why) for x in standing.stands] == [
            (bare.path, "holds no part")
        ]
        assert standing.state == "in_work"
    with pytest.raises(Refused):
        ready.close(bay=bare)
    part = make_part(people["engineer"])
    here = {"airframe": ready.airframe, "reason": "it belongs there"}
    make_placement(people["engineer"], position=bare, part=part, **here)
    weighed(people, part)
    assert ready.state(bay=bare) == "ready"


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_place_that_is_meant_to_stay_empty_says_so_until_a_part_is_placed(
    people, client_of
):
    ready = Ready(people)
    bare = make_position(people["engineer"], type=ready.joint.type)
    at = {"airframe": ready.airframe, "position": bare}
    address = reverse("leave_empty", args=[ready.airframe.pk, bare.pk])
    assert client_of("builder").get(address).status_code == 403
    lead = client_of("lead")
    empty = lead.post(address, {"stays": "True", "reason": " "})
    assert empty.status_code == 200 and not EmptyPlace.objects.exists()
    lead.post(address, {"stays": "True", "reason": "no radio in this one"})
    again = lead.post(address, {"stays": "True", "reason": "the same"})
    assert "That is said already." in again.content.decode()
    # It stands in no way, and closes with what it relies on.
    told = f"no radio in this one ({people['lead'].name}, "
    for of in ({"bay": bare}, {}):
        assert ready.state(**of) == "ready"
        assert [line.what for line in ready.view(**of).empty] == [bare.path]
        ready.close(by="inspector" if of else "lead", **of)
    assert ready.view(bay=ready.joint.position).empty == []
    for page in ("close_out_airframe", "airframe"):
        answer = lead.get(reverse(page, args=[ready.airframe.pk]))
        assert "no radio in this one" in answer.content.decode()
    paper = " ".join(text_of(lead.get(ready.view(bay=bare).paper)).split())
    assert "Meant to stay empty" in paper and told in paper
    # Taken back it is not closed any more; said again it would be another reason.
    lead.post(address, {"stays": "", "reason": "a radio after all"})
    assert ready.kinds(bay=bare) == {"part"}
    assert ready.state(bay=bare) == "close_out_void"
    changed = ready.view(bay=bare).standing.changed
    assert changed == (f"what stays empty: {bare.path}",)
    with pytest.raises(Refused, match="Nobody says that now"):
        airframes.leave_empty(by=people["lead"], **at, stays=False, reason="again")
    airframes.leave_empty(by=people["lead"], **at, stays=True, reason="too heavy")
    assert ready.state() == "close_out_void" and ready.kinds() == set()
    part = make_part(people["engineer"])
    sits = make_placement(people["engineer"], part=part, reason="trial", **at)
    with pytest.raises(Refused, match="A part sits here"):
        airframes.leave_empty(by=people["lead"], **at, stays=True, reason="x")
    airframes.remove_part(by=people["builder"], placement=sits, reason="trial over")
    assert ready.kinds(bay=bare) == {"part"}
    assert verify().fault == ""


def test_of_who_places_a_part_and_who_says_it_stays_empty_both_never_hold(
    committed_db,
):
    people = make_people()
    here = make_airframe(people["engineer"])
    bay = make_position(people["engineer"], type=here.type)
    part = make_part(people["engineer"])
    at = {"airframe": here, "position": bay}

    def place():
        make_placement(people["builder"], part=part, reason="it belongs", **at)

    def leave():
        airframes.leave_empty(by=people["lead"], **at, stays=True, reason="unused")

    assert at_once(place, leave) in (["conflict", "won"], ["won", "won"])
    assert empty_places([here])[here] == {}


@pytest.mark.either_database
@pytest.mark.django_db
def test_an_item_of_a_joint_also_stands_where_its_part_went_moved_bonded_or_cut(people):
    ready = Ready(people)
    engineer, builder = people["engineer"], people["builder"]
    panel, left = ready.check.fit_up.part, ready.joint.position
    right, third = (make_position(engineer, type=left.type) for _bay in range(2))
    here = {"airframe": ready.airframe, "reason": "moved"}

    def found_on(part, title, **at):
        said = {"airframe": ready.airframe, "part": part, "title": title, **at}
        return raising.raise_by_hand(by=builder, **said)

    def told() -> list[set[str]]:
        """What stands as an item in the left, the right and the third bay."""
        gathered = close_out_stands.gather(close_out_records.load(ready.airframe))
        return [
            {
                stand.what.split()[-1]
                for stand in gathered.of(Scope(ready.airframe, bay=bay))
                if stand.kind == "item"
            }
            for bay in (left, right, third)
        ]

    def made(origin, *sources):
        return make_part(engineer, origin=origin, sources=sources)

    early = made("cut", panel)
    item = found_on(panel, "delamination", joint=ready.joint)
    cut = close_out_records.Sits(None, Lineage.objects.get(part=early).entry.pk)
    assert not cut.may_have(item)
    item.fit_check = ready.check  # read before the cut, raised after it
    assert cut.may_have(item)
    assert told() == [{"delamination"}, set(), set()]
    airframes.remove_part(by=builder, placement=ready.placed[0], reason="moved")
    assert told() == [{"delamination"}, set(), set()]
    sits = make_placement(engineer, position=right, part=panel, **here)
    assert told() == [{"delamination"}, {"delamination"}, set()]
    airframes.remove_part(by=builder, placement=sits, reason="bonded")
    whole = made("bonded", panel)
    sits = make_placement(engineer, position=third, part=whole, **here)
    assert told() == [{"delamination"}, set(), {"delamination"}]
    # Cut: what was found before it may be in either piece, what was found on what was
    # left of it is in neither; what was cut off before is not concerned.
    airframes.remove_part(by=builder, placement=sits, reason="cut")
    found_on(whole, "scratch")
    piece = made("cut", whole)
    found_on(whole, "dent")
    make_placement(engineer, position=right, part=piece, **here)
    sits = make_placement(engineer, position=third, part=early, **here)
    assert told() == [{"delamination"}, {"delamination", "scratch"}, set()]
    airframes.remove_part(by=builder, placement=sits, reason="the rest goes in")
    make_placement(engineer, position=third, part=whole, **here)
    both = {"delamination", "scratch"}
    assert told() == [{"delamination"}, both, {*both, "dent"}]
    assert verify().fault == ""


@pytest.mark.either_database
@pytest.mark.django_db
def test_what_is_open_on_the_surround_is_named_and_bars_only_the_joint_it_names(
    people, client_of
):
    ready = Ready(people)
    shell = ready.placed[1].part
    elsewhere = make_airframe(people["engineer"], type=ready.joint.type)

    def raised(title, **more):
        said = {"airframe": ready.airframe, "part": shell, "title": title, **more}
        return raising.raise_by_hand(by=people["builder"], **said)

    number = ready.joint.number
    dent, longer = raised("dent in the roof"), raised("void", place=f"at {number}9")
    away = raised("dry spot", airframe=elsewhere)
    beside = ready.view(joint=ready.joint).beside
    assert {line.what for line in beside} == {
        f"{dent.label} {dent.title}",
        f"{longer.label} {longer.title}",
        f"{elsewhere.serial} {away.label} {away.title}",
    }
    assert {line.why for line in beside} == {f"on {shell.serial}, found"}
    assert ready.state(joint=ready.joint) == "ready"
    assert ready.kinds(bay=ready.joint.surround) == {"item"}
    client = client_of("inspector")
    page = reverse("joint_on_airframe", args=[ready.joint.pk, ready.airframe.pk])
    close = reverse("close_out_joint", args=[ready.airframe.pk, ready.joint.pk])
    for address in (page, close):
        assert "dent in the roof" in client.get(address).content.decode(), address
    assert "dent in the roof" in text_of(client.get(close.rstrip("/") + ".pdf"))
    named = raised("edge crushed", place=f"opposite station 3 of {number.lower()}")
    (stand,) = ready.view(joint=ready.joint).standing.stands
    assert (stand.kind, stand.link) == ("item", ("nonconformance", named.pk))
    assert named.title not in {x.what for x in ready.view(joint=ready.joint).beside}
    assert "stands in its way" in client.get(page).content.decode()


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_characteristic_is_asked_for_where_its_joint_is(people):
    ready = Ready(people)
    line = ready.airframe.line_number
    at = {"position": ready.joint.position, "surround": ready.joint.surround}
    later = make_joint(people["engineer"], first_line=line + 1, **at)
    planned(people, "count", bay=later.position, joint=later, low="1")
    assert ready.state(bay=later.position) == "ready"
    elsewhere = make_position(people["engineer"], type=later.type)
    with pytest.raises(Refused, match="another bay"):
        planned(people, "count", bay=elsewhere, joint=later, low="1")


@pytest.mark.django_db
def test_what_was_put_on_a_part_elsewhere_stands_where_the_part_sits_now(people):
    engineer, builder = people["engineer"], people["builder"]
    here = make_airframe(engineer)
    there = make_airframe(engineer, type=here.type)
    bay = make_position(engineer, type=here.type)
    part, reason = make_part(engineer), "made for a test"
    at = {"part": part, "position": bay, "reason": reason}

    def put():
        of = {"airframe": there, "bay": bay, "kind": "film", "count": 1}
        return temporary.put_in(by=builder, why="against scratches", **of)

    placement = make_placement(engineer, airframe=there, **at)
    film = put()
    airframes.remove_part(by=builder, placement=placement, reason="to the other one")
    put()
    weighed(people, part)
    make_placement(engineer, airframe=here, **at)

    def told():
        groups = queries.view_of(here, bay=bay).groups
        return [line.what for group in groups for line in group.lines]

    assert told() == [f"{there.serial} {film.label} {film.what}"]
    step(people, film, "take_out")
    assert told() == []
    done = queries.view_of(here, bay=bay).standing.body["temporary"]
    assert done == {f"{there.serial} {film.label}": [1, 0]}


@pytest.mark.django_db
def test_what_was_never_fitted_or_never_offered_stands(people):
    engineer = people["engineer"]
    check = measured(people, tight=(3,), skip=(5,))
    frame, joint = check.fit_up.airframe, check.fit_up.joint
    other = make_joint(engineer, type=joint.type)
    told = {
        (line.what.split()[0], group.kind): line.why
        for group in queries.view_of(frame).groups
        for line in group.lines
    }
    assert told[joint.number, "acceptance"] == "never offered for inspection"
    assert told[other.number, "acceptance"] == "never fitted on this airframe"
    lines = [
        line.why
        for group in queries.view_of(frame, joint=joint).groups
        for line in group.lines
    ]
    assert "1 does not conform: 3 gap" in lines
    assert "2 not measured: 5 gap, 5 flush" in lines


# --------------------------------------------------------------------------- who, once


@pytest.mark.either_database
@pytest.mark.django_db
def test_it_is_closed_by_somebody_who_may_and_did_none_of_the_work(people, client_of):
    ready = Ready(people)
    with pytest.raises(PermissionDenied):
        ready.close("builder")
    clamp = ready.put("clamp")
    step(people, clamp, "take_out", by="inspector")
    with pytest.raises(Refused, match="some of this work"):
        ready.close("inspector", bay=ready.joint.position)
    place = [ready.airframe.pk, ready.joint.position_id]
    page = reverse("close_out_bay", args=place)
    told = {who: client_of(who).get(page).content.decode() for who in people}
    offered = {who for who, text in told.items() if "Close it" in text}
    assert {"lead"} <= offered and not offered & {"inspector", "builder"}
    assert "You did some of this work" in told["inspector"]
    with pytest.raises(Refused, match="while you looked"):
        close_outs.close(by=people["lead"], airframe=ready.airframe, shown="0" * 64)
    ready.close("lead")
    with pytest.raises(Refused, match="closed already"):
        ready.close("lead")


@pytest.mark.either_database
@pytest.mark.django_db
def test_who_found_a_result_read_a_hole_or_worked_on_an_item_does_not_close(people):
    people = more_people(people)
    ready = Ready(people)
    found(people, ready.characteristic(), ready.airframe, "2", by="inspector")
    with pytest.raises(Refused, match="some of this work"):
        ready.close("inspector", joint=ready.joint)
    door = ready.placed[0].part
    read_holes(ready, patterned(ready, design=door.design), door, "engineer", **WHOLE)
    of = {"airframe": ready.airframe, "part": door, "title": "scratch"}
    led_to(people, "worked", raising.raise_by_hand(by=people["builder"], **of))
    gathered = close_out_stands.gather(close_out_records.load(ready.airframe))
    doers = close_out.doers(gathered, Scope(ready.airframe))
    did = {people[name].pk for name in ("inspector", "engineer", "doer")}
    assert did <= doers


@pytest.mark.either_database
@pytest.mark.django_db
def test_the_paper_says_what_stands_then_what_was_closed_then_what_changed(
    people, client_of
):
    ready, inspector = Ready(people), give_pin(people["inspector"])
    client, bay = client_of("inspector"), ready.joint.position

    def paper(**of):
        told = text_of(client.get(ready.view(**of).paper))
        return " ".join(told.split())

    film = ready.put("film")
    told = paper(bay=bay)
    assert (
        "1 of 1 in the way" in told
        and f"{film.label} {film.what} 1 is still in" in told
    )
    assert "Nothing stands" not in told
    step(people, film, "take_out")
    closed = ready.close(bay=bay)
    sign(inspector, "close_out", closed.pk, "released")
    told = paper(bay=bay)
    for said in (
        *("Nothing stands in its way", closed.label, closed.digest[:16], "1 out"),
        *(people["lead"].name, inspector.name, ready.joint.number),
    ):
        assert said in told, said
    assert "It does not hold any more" not in told
    ready.put("strap")
    told = paper(bay=bay)
    assert "It does not hold any more" in told and "temporary item TI-002" in told
    assert "Released for the next step: no longer holds" in told
    assert ready.airframe.serial in paper(joint=ready.joint) and "Bays" in paper()


@pytest.mark.either_database
@pytest.mark.django_db
def test_a_signature_under_a_close_out_says_what_changed_after(people):
    ready = Ready(people)
    closed = ready.close(joint=ready.joint)
    inspector = give_pin(people["inspector"])
    sign(inspector, "close_out", closed.pk, "released")
    (signed,) = signed_thing("close_out", closed.pk).rows
    assert signed.holds
    tape = ready.put("tape", joint=ready.joint)
    (signed,) = signed_thing("close_out", closed.pk).rows
    assert not signed.holds
    assert f"temporary item {tape.label}" in signed.changed
    with pytest.raises(Refused, match="changed since"):
        sign(inspector, "close_out", closed.pk, "inspected")


def test_of_two_who_close_at_once_one_wins(committed_db):
    people = make_people()
    ready = Ready(people)
    shown = ready.view().standing.digest

    def close():
        close_outs.close(by=people["lead"], airframe=ready.airframe, shown=shown)

    assert at_once(close, close) == ["stale", "won"]
    assert CloseOut.objects.count() == 1


# -------------------------------------------------------------------------------- pages


def fill(people, ready, count):
    """So many joints fitted and offered, with what stands at each."""
    for _ in range(count):
        engineer = people["engineer"]
        joint = make_joint(engineer, type=ready.joint.type)
        part = make_part(engineer)
        make_placement(
            engineer,
            airframe=ready.airframe,
            position=joint.position,
            part=part,
            reason="made for a test",
        )
        fit_up = make_fit_up(engineer, joint, airframe=ready.airframe, part=part)
        check = measured(people, fit_up, skip=(2, 3, 4, 5, 6, 7, 8))
        offers.offer(by=people["builder"], airframe=ready.airframe, joint=joint)
        of = {"bay": joint.position, "joint": joint, "why": "fit"}
        temporary.put_in(
            by=engineer, airframe=ready.airframe, kind="clamp", count=2, **of
        )
        row = planned(people, "count", bay=joint.position, joint=joint, low="1")
        found(people, row, ready.airframe, "1")
        holes.define_pattern(
            by=engineer,
            number=fresh("HP"),
            name="Hinge",
            joint=joint,
            holes=drafts(),
            says=PatternHead(),
        )
        raising.raise_findings(by=people["builder"], check=check)


@pytest.mark.either_database
@pytest.mark.django_db
def test_pages_ask_the_same_number_of_questions_for_1_and_for_30_lines(
    people, client_of
):
    ready = Ready(people)
    client = client_of("engineer")
    pages = [
        reverse("close_out_airframe", args=[ready.airframe.pk]),
        reverse("close_out_bay", args=[ready.airframe.pk, ready.joint.position_id]),
        reverse("close_out_joint", args=[ready.airframe.pk, ready.joint.pk]),
        reverse("characteristics"),
    ]
    asked = []
    for more in (0, 28):
        fill(people, ready, 1)
        for _ in range(more):
            ready.put("tape", joint=ready.joint)
            ready.characteristic()
        counted = []
        for page in pages:
            client.get(page)
            with CaptureQueriesContext(connection) as captured:
                assert client.get(page).status_code == 200
            counted.append(len(captured))
        asked.append(counted)
    # What nothing stands in the way of asks also who did the work.
    assert all(many <= few for few, many in zip(*asked, strict=True))


@pytest.mark.either_database
@pytest.mark.django_db
def test_every_line_of_the_page_leads_somewhere_and_closing_it_is_one_press(
    people, client_of
):
    ready = Ready(people)
    page = reverse("close_out_airframe", args=[ready.airframe.pk])
    fill(people, ready, 1)
    lead = client_of("lead")
    view = ready.view()
    assert view.count >= 5
    text = lead.get(page).content.decode()
    for group in view.groups:
        for line in group.lines:
            assert line.url in text
            assert lead.get(line.url).status_code == 200
    joint = reverse("close_out_joint", args=[ready.airframe.pk, ready.joint.pk])
    shown = ready.view(joint=ready.joint).standing.digest
    assert f'value="{shown}"' in lead.get(joint).content.decode()
    assert "Close it" not in client_of("builder").get(joint).content.decode()
    assert client_of("builder").post(joint, {"shown": shown}).status_code == 403
    assert lead.post(joint, {"shown": shown, "note": "seen"}).status_code == 302
    assert "CO-001" in lead.get(joint).content.decode()
    airframes.remove_part(
        by=people["builder"], placement=ready.placed[0], reason="paint"
    )
    told = lead.get(joint).content.decode()
    assert "does not hold any more" in told and "acceptance of" in told


def closed_at_once(people, bay, airframes) -> list[CloseOut]:
    """A bay of each with a part, closed as the action does it but in one act."""
    for airframe in airframes:
        part = make_part(people["engineer"])
        here = {"airframe": airframe, "reason": "it belongs there"}
        make_placement(people["engineer"], position=bay, part=part, **here)
        weighed(people, part)
    records = close_out_records.load_all(airframes)
    with perform("close_out/1", by=people["lead"], said={}) as act:
        for airframe in airframes:
            gathered = close_out_stands.gather(records[airframe])
            standing = close_out.standing_of(gathered, Scope(airframe, bay))
            assert standing.closable
            body, digest = close_out.digest_of(standing.body)
            of = {"airframe": airframe, "number": 1, "bay": bay}
            act.record(CloseOut(**of, body=body, digest=digest))
    return list(CloseOut.objects.filter(airframe__in=airframes).order_by("pk"))


@pytest.mark.either_database
@pytest.mark.django_db
def test_close_outs_of_1_and_of_30_airframes_are_read_in_the_same_statements(
    people, client_of
):
    ready = Ready(people)
    inspector = give_pin(people["inspector"])
    bay = make_position(people["engineer"])
    client, page, asked = client_of("lead"), reverse("signatures"), []
    for more in (0, 29):
        closed = [] if more else [ready.close()]
        of = [make_airframe(people["engineer"], type=bay.type) for _ in range(more)]
        closed += closed_at_once(people, bay, of)
        for row in closed:
            sign(inspector, "close_out", row.pk, "released")
        client.get(page)
        with CaptureQueriesContext(connection) as captured:
            told = client.get(page).content.decode()
        asked.append(len(captured))
        assert "no longer holds" not in told
    assert told.count("CO-001") >= 30
    assert asked[1] <= asked[0], asked
    # One of them does not hold any more: that one, and no other.
    put(people, "film", 1, of[-1], bay=bay)
    found = signing.SIGNABLES["close_out"].contents(
        CloseOut.objects.values_list("pk", flat=True)
    )
    assert [bool(content.since) for content in found.values()].count(True) == 1
    assert found[row.pk].since


def test_airframes_read_at_once_stand_as_each_does_alone(demo_db):
    airframes = list(Airframe.objects.select_related("type"))
    together = close_out_records.load_all(airframes)
    told = 0
    for airframe in airframes:
        found, alone = (
            close_out_stands.gather(records)
            for records in (together[airframe], close_out_records.load(airframe))
        )
        assert found.stands == alone.stands
        told += len(alone.stands)
        bays = alone.records.bays
        scopes = [Scope(airframe), *(Scope(airframe, bay=bay) for bay in bays)]
        scopes += [Scope(airframe, joint=joint) for joint in alone.records.joints]
        for scope in scopes:
            ours, theirs = (
                close_out.standing_of(rows, scope) for rows in (found, alone)
            )
            assert (ours.digest, ours.state, ours.changed) == (
                theirs.digest,
                theirs.state,
                theirs.changed,
            )
            assert close_out.doers(found, scope) == close_out.doers(alone, scope)
    assert len(airframes) >= 2 and told > 20
