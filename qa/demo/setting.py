"""A door of the demo that was set again and again: how well settings come there."""

from qa.actions import checks, fit_plans, fitups, settings
from qa.actions.joints import RequirementDraft, define_joint
from qa.actions.settings import Set, Settings
from qa.models import FitUp, Instrument, Joint
from qa.numeric.geometry import layout
from qa.rules import plan_records, planning, rigs
from qa.rules.judging import Typed
from shop.actions import airframes, parts
from shop.numeric.units import format_length, to_mm, to_nm

from . import holding
from .fitting import HINGED, _noise
from .joints import stations

UPPER, LOWER = "upper hinge: aft/fore", "lower hinge: aft/fore"
LATCH = "latch: out/in"
# What was set each time, mm, and how much further it went; invented.
ROUNDS = (
    ({UPPER: 0.4, LOWER: -0.3, LATCH: 0.3}, {UPPER: 0.06, LOWER: -0.09, LATCH: 0.04}),
    ({UPPER: -0.2, LOWER: 0.2, LATCH: -0.2}, {UPPER: -0.08, LOWER: 0.05, LATCH: 0.02}),
    ({UPPER: 0.1, LOWER: 0.1, LATCH: 0.1}, {UPPER: 0.03, LOWER: 0.07, LATCH: -0.05}),
    ({UPPER: -0.2, LOWER: 0.1, LATCH: 0.1}, {UPPER: 0.05, LOWER: -0.04, LATCH: 0.01}),
    ({UPPER: 0.1, LOWER: -0.1, LATCH: -0.2}, {UPPER: -0.04, LOWER: 0.06, LATCH: 0.03}),
)


def load(crew, glider) -> None:
    joint = _joint(crew, glider)
    holding.state(crew, joint, "hinged")
    fitups.open_fit_up(
        by=crew["tomas"],
        airframe=glider.airframes["MG2-001"],
        joint=joint,
        part=joint.position.placements.get().part,
        held=HINGED,
    )
    place = {station.label: [to_nm(1.4), 0] for station in joint.current.stations.all()}
    for number, (asked, further) in enumerate(ROUNDS):
        _measure(crew, joint, place, number)
        _set(crew, joint, place, asked, further)
    _measure(crew, joint, place, len(ROUNDS))
    _next_door(crew, glider, joint)


def _next_door(crew, glider, joint: Joint) -> None:
    """The door of the next airframe hangs too far forward: its plan is taken and
    stands, to be gone through at the tablet."""
    door = parts.register_part(
        by=crew["bea"], design=_design(joint), serial="MG-1560-002"
    )
    airframe = glider.airframes["MG2-002"]
    airframes.place_part(
        by=crew["bea"], airframe=airframe, position=joint.position, part=door
    )
    fit_up = fitups.open_fit_up(
        by=crew["tomas"], airframe=airframe, joint=joint, part=door, held=HINGED
    )
    place = {
        station.label: [to_nm(1.4) + round(station.gap_x_e9 * 0.8e-3), 0]
        for station in joint.current.stations.all()
    }
    check = _measure(crew, joint, place, len(ROUNDS) + 1, fit_up)
    rows = type(check).objects.select_related(*planning.RELATED)
    _worked, draft = plan_records.draft(rows.get(pk=check.pk))
    fit_plans.take(by=crew["tomas"], plan=draft)


def _design(joint: Joint):
    return joint.position.placements.order_by("pk").first().part.design


def _joint(crew, glider) -> Joint:
    emil, bea = crew["emil"], crew["bea"]
    position = airframes.add_position(
        by=emil,
        type=glider.type,
        code="BAG-L",
        name="Baggage door",
        parent=glider.positions["FUS"],
    )
    design = parts.define_design(
        by=emil, number="MG-1560", name="Baggage door", hand="none"
    )
    door = parts.register_part(by=bea, design=design, serial="MG-1560-001")
    airframes.place_part(
        by=bea, airframe=glider.airframes["MG2-001"], position=position, part=door
    )
    drawn = layout.rounded_rectangle(420, 300, 60, 12)
    joint = define_joint(
        by=emil,
        position=position,
        surround=glider.positions["FUS"],
        number="J-180",
        name="Baggage door to fuselage",
        requirement=RequirementDraft(
            note="First release.", source="MG-0001", acceptance_condition="hinged"
        ),
        stations=stations(drawn.places, drawn.gap_directions, gap=(0.8, 2.0)),
    )
    return Joint.objects.select_related("current", "position").get(pk=joint.pk)


def _measure(crew, joint: Joint, place, number: int, fit_up=None):
    check = checks.start_check(
        by=crew["tomas"],
        fit_up=fit_up or joint.fit_ups.order_by("-number").first(),
        finish="bare",
        instrument=Instrument.objects.get(code="SG-1"),
        temperature_mc=21_000,
    )
    for row, station in enumerate(joint.current.stations.all()):
        for side, kind in enumerate(("gap", "flush")):
            mm = to_mm(place[station.label][side])
            shown = format_length(
                to_nm(mm + _noise(number + 20 + 7 * side, row) / 3), "mm", 2
            )
            checks.record_reading(
                by=crew["tomas"],
                check=check,
                station=station,
                kind=kind,
                typed=Typed("value", shown, "mm"),
            )
    checks.finish_check(by=crew["tomas"], check=check)
    return check


def _set(crew, joint: Joint, place, wanted, further) -> None:
    """Record what was asked, and move the door by what came."""
    fit_up: FitUp = joint.fit_ups.order_by("-number").first()
    check = fit_up.checks.get()
    worked = planning.gathered(
        type(check).objects.select_related(*planning.RELATED).get(pk=check.pk)
    )
    present = rigs.present_at(worked.check.fit_up)

    def moved(errors):
        changes = [
            to_nm(wanted.get(adjuster.name, 0) + errors.get(adjuster.name, 0))
            for adjuster in present
        ]
        return rigs.made(present, changes, worked.joints).changes

    settings.record_settings(
        by=crew["tomas"],
        checks=[check],
        made=Settings(
            [
                Set(adjuster.name, adjuster.now_nm + to_nm(wanted[adjuster.name]))
                for adjuster in present
                if adjuster.name in wanted
            ],
            moved({}),
        ),
        **_at_the_tablet(check, present, wanted),
    )
    _came(place, moved(further)[fit_up.pk])


def _at_the_tablet(check, present, wanted) -> dict:
    """How a tablet says what was set."""
    items = []
    for adjuster in present:
        if adjuster.name in wanted:
            steps = to_nm(wanted[adjuster.name]) // adjuster.step_nm
            was = {"name": adjuster.name, "was_nm": adjuster.now_nm}
            items.append({**was, "asked": steps, "done": steps})
    more = {"plan": None, "note": "", "moved": False, "more": False}
    content = {"check": str(check.entry_id), "items": items, **more}
    return {"form": "set/1", "said": content, "device": "tablet-1"}


def _came(place, changes) -> None:
    for label, change in changes.items():
        place[label] = [a + b for a, b in zip(place[label], change, strict=True)]
