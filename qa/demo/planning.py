"""Rounds of fitting of the demo: a door trimmed, a hatch by an overtaken plan, shims in
the drawer, hinge holes."""

from qa.actions import (
    checks,
    fit_plans,
    fitups,
    moves,
    planning_defaults,
    shims,
    trimming,
)
from qa.actions.holes import (
    HoleDraft,
    MeasuredHole,
    PatternHead,
    define_pattern,
    record_holes,
)
from qa.actions.trimming import Taken
from qa.models import Check, HolePattern, Instrument
from qa.queries.plans import plan_pages as plans
from qa.rules import earlier_fits, plan_records, planning
from qa.rules.judging import Typed
from qa.rules.planning import Wish
from shop.actions import airframes, parts
from shop.numeric.units import NM_PER_MM as MM

from .fitting import HINGED

STOCK = (0.25, 0.5, 1.0)
# What the hinges let the door do, in the words of plan_fit's motions file.
SLIDES = [
    {"name": "slide fore and aft", "translation": [1, 0, 0], "min": -0.6, "max": 0.6},
    {"name": "slide up and down", "translation": [0, 1, 0], "min": -0.8, "max": 0.8},
]
SPRING_BACK = 0.78  # of what is taken off shows in the gap: the edge gives way


def load(crew, glider, seams) -> None:
    planning_defaults.set_plan_defaults(by=crew["emil"])
    for thick in STOCK:
        shims.save_stock(
            by=crew["lena"],
            thickness_nm=round(thick * MM),
            name="glass laminate",
            in_use=True,
        )
    _door(crew, glider, seams["J-102"])
    _hatch(crew, glider, seams["J-110"])
    _next_door(crew, glider, seams["J-102"])
    _holes(crew, glider, seams["J-101"])


def _door(crew, glider, joint) -> None:
    """The right door was left long at its rear edge; cut twice, and just moved."""
    bea, tomas = crew["bea"], crew["tomas"]
    fit_up = fitups.open_fit_up(
        by=bea,
        airframe=glider.airframes["MG2-001"],
        joint=joint,
        part=glider.parts["MG-1220-001"],
        held=HINGED,
        motions=SLIDES,
    )
    gaps = _first_gaps(joint)
    for who in (bea, tomas, bea):
        check = _measure(who, fit_up, gaps)
        loaded = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
        worked, draft = plan_records.draft(loaded)
        plan = fit_plans.take(by=who, plan=draft)
        taken = [
            Taken(loaded, station.label, station.side, f"{bite:.2f}", "mm")
            for _, _, station in worked.stations()
            if (bite := worked.bite(station).bite) > 0
        ]
        for cut in taken:
            gaps[cut.station] += float(cut.value) * SPRING_BACK
        if not taken:  # seating it is enough now
            moved = plans.moved(worked, "mm")
            moves.record_move(by=who, checks=[loaded], moved=moved, plan=plan)
            return
        fit_up = trimming.record_trim(by=who, checks=[loaded], taken=taken, plan=plan)[
            0
        ]


def _hatch(crew, glider, joint) -> None:
    """The hatch of the next airframe is long at one edge. Its plan was taken; then one
    station was read again, so that its cut is open by a plan that is overtaken."""
    bea, airframe = crew["bea"], glider.airframes["MG2-002"]
    hatch = parts.register_part(
        by=bea, design=glider.designs["MG-1510"], serial="MG-1510-002"
    )
    airframes.place_part(by=bea, airframe=airframe, position=joint.position, part=hatch)
    fit_up = fitups.open_fit_up(
        by=bea, airframe=airframe, joint=joint, part=hatch, held=HINGED
    )
    top = max(station.y_nm for station in joint.current.stations.all())
    gaps = {
        station.label: 0.3 if station.y_nm == top else 1.3
        for station in joint.current.stations.all()
    }
    check = _measure(bea, fit_up, gaps)
    loaded = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
    _worked, draft = plan_records.draft(loaded, Wish(way="trim"))
    fit_plans.take(by=bea, plan=draft)
    again = _start(crew["tomas"], fit_up)
    _read(crew["tomas"], again, next(iter(gaps)), "gap", 1.1)


def _next_door(crew, glider, joint) -> None:
    """The right door of the next airframe, before anything is read: what the first one
    lost is taken ahead."""
    airframe = glider.airframes["MG2-002"]
    door = parts.register_part(
        by=crew["bea"], design=glider.designs["MG-1220"], serial="MG-1220-002"
    )
    airframes.place_part(
        by=crew["bea"], airframe=airframe, position=joint.position, part=door
    )
    fit_up = fitups.open_fit_up(
        by=crew["bea"], airframe=airframe, joint=joint, part=door, held=HINGED
    )
    check = _start(crew["bea"], fit_up)
    check = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
    _worked, plan = earlier_fits.pre_trim(check)
    fit_plans.take_pre_trim(by=crew["bea"], check=check, shown=plan.digest)


def _first_gaps(joint) -> dict[str, float]:
    """As the door hung first: even all round, but for a long rear edge."""
    gaps = {}
    rear = min(station.x_nm for station in joint.current.stations.all())
    if joint.current.flow_mdeg == 0:  # the nose is on the left of this drawing
        rear = max(station.x_nm for station in joint.current.stations.all())
    for station in joint.current.stations.all():
        long = abs(station.x_nm - rear) < 20 * MM
        gaps[station.label] = 0.45 if long else 1.95
    return gaps


def _measure(by, fit_up, gaps) -> Check:
    check = _start(by, fit_up)
    for label, gap in gaps.items():
        _read(by, check, label, "gap", gap)
        _read(by, check, label, "flush", 0.05)
    checks.finish_check(by=by, check=check)
    return check


def _start(by, fit_up) -> Check:
    return checks.start_check(
        by=by,
        fit_up=fit_up,
        finish="bare",
        instrument=Instrument.objects.get(code="SG-1"),
        temperature_mc=21_000,
    )


def _read(by, check, label: str, kind: str, mm: float) -> None:
    revision = check.fit_up.revision
    station = revision.stations.get(label=label)
    station.revision = revision
    checks.record_reading(
        by=by,
        check=check,
        station=station,
        kind=kind,
        typed=Typed("value", f"{mm:.2f}", "mm"),
    )


def _holes(crew, glider, joint) -> None:
    """The hinge of the left door: eight holes, drilled in two doors."""
    places = [(0, 0), (25, 0), (50, 0), (75, 0), (0, 20), (25, 20), (50, 20), (75, 20)]
    pattern = define_pattern(
        by=crew["emil"],
        number="HP-101",
        name="Upper hinge of the left door",
        joint=joint,
        design=glider.designs["MG-1210"],
        mate=glider.designs["MG-1100"],
        says=PatternHead(
            note="First release.",
            source="Shop drawing MG-0001, hinges",
            spacing_rule="composite_advisory",
        ),
        holes=[
            HoleDraft(
                str(n), x * MM, y * MM, 300_000, 4_100_000, 4_200_000, 4_000_000,
                12 * MM,
            )
            for n, (x, y) in enumerate(places, start=1)
        ],
    )  # fmt: skip
    pattern = HolePattern.objects.select_related("current").get(pk=pattern.pk)
    for serial, shift in (("MG-1210-001", 0.06), ("MG-1210-002", -0.03)):
        record_holes(
            by=crew["bea"],
            revision=pattern.current,
            part=glider.parts[serial],
            measured=[
                MeasuredHole(
                    str(n),
                    f"{x + shift + 0.01 * (n % 3):.2f}",
                    f"{y - shift + 0.12 * (n == 6):.2f}",
                    f"{4.10 + 0.02 * (n % 4):.2f}",
                )
                for n, (x, y) in enumerate(places, start=1)
            ],
        )
