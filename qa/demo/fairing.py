"""The root fairing of the demo: a joint in inches that went through everything.

Measured in every way a station can be, cut on the wing's side, shimmed, taken off, held
otherwise, swapped; what was found was used as is, repaired, scrapped, sent back, closed
and opened again. So every outcome, reason, state and disposition is there to be seen.
"""

from dataclasses import replace

from qa.actions import (
    checks,
    claims,
    fit_plans,
    fitups,
    instruments,
    late_readings,
    settings,
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
from qa.actions.joints import RequirementDraft, StationDraft, define_joint
from qa.actions.trimming import Taken
from qa.models import Check, HolePattern, Instrument, Side
from qa.rules import plan_records, planning
from qa.rules.judging import Typed
from qa.rules.planning import Wish
from shop.actions import airframes, parts
from shop.models import Placement
from shop.numeric.units import MM_PER_IN
from shop.numeric.units import NM_PER_MM as MM

from . import holding, items

SCREWS = [{"kind": "screw", "where": "all along", "count": 10}]
CLECOS = [{"kind": "cleco", "where": "every other hole", "count": 5}]
FAIRNESS = "Shop drawing MG-0001, fairings"


def load(crew, glider) -> None:
    first = glider.airframes["MG2-001"]
    design, serials = _parts(crew, glider, first)
    joint = _joint(crew, glider)

    def sit(reason, part=serials[0], held=SCREWS):
        return fitups.open_fit_up(
            by=crew["bea"],
            airframe=first,
            joint=joint,
            part=part,
            surround_part=glider.parts["MG-2100-001"],
            reason=reason,
            held=held,
        )

    check = _measured_in_every_way(crew, sit("first"))
    items.load(crew, glider, check)
    cut = _cut(crew, check)
    again = _start(crew["tomas"], cut, finish="finished", accept=True)
    _fill(again, crew["tomas"], "0.040 in")
    checks.finish_check(by=crew["tomas"], check=again)
    shims.record_shims(
        by=crew["tomas"],
        check=again,
        stacks={"root front": [500_000], "root rear": [250_000]},
        changes={},
    )
    _set(crew, joint)
    sit("held", held=CLECOS)
    sit("refit")
    _place(crew, glider, first, serials[1])
    last = _start(crew["bea"], sit("swap", part=serials[1]), finish="bare")
    _two_values(crew, last, choose=False)
    _come_late_and_claimed(crew, again, last)
    _holes(crew, design, joint, serials)
    instruments.save_instrument(
        by=crew["lena"],
        code="TG-0",
        name="Taper gauge, worn",
        kind="taper gauge",
        u_nm=150_000,
        status="out",
    )


def _set(crew, joint) -> None:
    """The shims were not all: its rear screw was slid in its slot, and that held."""
    holding.state(crew, joint, "cowl")
    fit_up = joint.fit_ups.order_by("-number").first()
    check = _start(crew["tomas"], fit_up, finish="finished", accept=True)
    _fill(check, crew["tomas"], "0.040 in")
    checks.finish_check(by=crew["tomas"], check=check)
    settings.record_settings(
        by=crew["tomas"],
        checks=[check],
        made=settings.Settings(
            [
                settings.Set("fastener 2: aft/fore", 300_000, "0.3", "mm"),
                settings.Set("fastener 2: up/down", 254_000, "0.01", "in"),
            ],
            {},
        ),
    )


def _parts(crew, glider, airframe):
    design = parts.define_design(
        by=crew["emil"],
        number="MG-2110",
        name="Root fairing left",
        hand="left",
        structural_class="non_structural",
    )
    serials = [
        parts.register_part(by=crew["bea"], design=design, serial=f"MG-2110-{n:03d}")
        for n in (1, 2)
    ]
    _place(crew, glider, airframe, serials[0])
    return design, serials


def _place(crew, glider, airframe, part) -> None:
    """On its position; what sat there comes off."""
    position = glider.positions["FAIR-L"]
    for placed in Placement.objects.filter(position=position, removed_at=None):
        airframes.remove_part(by=crew["bea"], placement=placed, reason="to be painted")
    airframes.place_part(
        by=crew["bea"], airframe=airframe, position=position, part=part
    )


def _joint(crew, glider):
    stations = [
        StationDraft(
            label=str(n),
            place_nm=(100 * n * MM, 0, 0),
            gap_e9=(0, -1_000_000_000, 0),
            gap_min_nm=round(0.5 * MM),
            gap_max_nm=round(1.5 * MM),
            flush_min_nm=round(-0.4 * MM),
            flush_max_nm=round(0.4 * MM),
            trim_side="both",
            trim_max_nm=2 * MM,
            trim_max_surround_nm=2 * MM,
        )
        for n in range(1, 11)
    ]
    # Nobody reads the tip: it is laid up to fit.
    stations[-1] = replace(stations[-1], flush_min_nm=None, flush_max_nm=None)
    return define_joint(
        by=crew["emil"],
        position=glider.positions["FAIR-L"],
        surround=glider.positions["WING-L"],
        number="J-150",
        name="Root fairing left to wing",
        requirement=RequirementDraft(
            note="First release for the prototype.",
            source=FAIRNESS,
            closed=False,
            units="in",
            acceptance_condition="screwed, filler not applied",
            acceptance_finish="bare",
            attach_points=[
                {"name": "root front", "x_nm": 150 * MM, "y_nm": 60 * MM},
                {"name": "root middle", "x_nm": 550 * MM, "y_nm": 60 * MM},
                {"name": "root rear", "x_nm": 950 * MM, "y_nm": 60 * MM},
            ],
        ),
        stations=stations,
    )


def _start(by, fit_up, *, finish, accept=False) -> Check:
    return checks.start_check(
        by=by,
        fit_up=fit_up,
        finish=finish,
        instrument=Instrument.objects.get(code="FL-1"),
        temperature_mc=20_500,
        in_acceptance_condition=accept,
    )


def _read(check, by, station: str, kind: str, value="", unit="mm", **more):
    revision = check.fit_up.revision
    spot = revision.stations.get(label=station)
    spot.revision = revision
    names = ("outcome", "goes", "does_not_go")
    typed = {name: more.pop(name) for name in names if name in more}
    return checks.record_reading(
        by=by,
        check=check,
        station=spot,
        kind=kind,
        typed=Typed(**{"outcome": "value", "value": value, "unit": unit, **typed}),
        **more,
    )


def _fill(check, by, gap: str) -> None:
    value, unit = gap.split()
    for station in check.fit_up.revision.stations.all():
        _read(check, by, station.label, "gap", value, unit)


def _measured_in_every_way(crew, fit_up) -> Check:
    bea = crew["bea"]
    check = _start(bea, fit_up, finish="bare")
    for station, value, unit in (
        ("1", "0.20", "mm"), ("2", "0.22", "mm"), ("5", "1.00", "mm"),
        ("6", "0.040", "in"), ("7", "1.90", "mm"),
    ):  # fmt: skip
        _read(check, bea, station, "gap", value, unit)
    _read(check, bea, "3", "gap", outcome="feeler", goes="0.95", does_not_go="1.00")
    _read(check, bea, "4", "gap", outcome="skipped", reason="the strut is in the way")
    for station, value in (("1", "0.10"), ("2", "0.75"), ("8", "-0.80"), ("9", "0.0")):
        _read(check, bea, station, "flush", value)
    wrong = _read(check, bea, "8", "gap", "1.20")
    _read(
        check, bea, "8", "gap", outcome="cleared", supersedes=wrong,
        reason="read at the wrong station",
    )  # fmt: skip
    slip = _read(check, bea, "9", "gap", "9.10")
    _read(check, bea, "9", "gap", "0.91", supersedes=slip, reason="the point was lost")
    _two_values(crew, check, choose=True)
    checks.finish_check(by=bea, check=check)
    return check


def _two_values(crew, check, *, choose: bool) -> None:
    """Two people read one station; a person chooses, or has not yet."""
    station = check.fit_up.revision.stations.get(label="10" if choose else "1")
    station.revision = check.fit_up.revision
    for kind, mine, other in (("gap", "0.98", "1.06"), ("flush", "0.05", "0.15")):
        first = _read(check, crew["bea"], station.label, kind, mine)
        _read(check, crew["tomas"], station.label, kind, other)
        if choose:
            checks.choose_reading(
                by=crew["bea"],
                check=check,
                station=station,
                kind=kind,
                reading=first,
                reason="the other gauge stood on the tape",
            )


def _cut(crew, check):
    """The wing's edge is primary structure: the engineer cuts it, and says why."""
    loaded = Check.objects.select_related(*planning.RELATED).get(pk=check.pk)
    for side in (Side.PART, Side.SURROUND):  # the second replaces the first
        _worked, draft = plan_records.draft(loaded, Wish(side=side))
        plan = fit_plans.take(by=crew["bea"], plan=draft)
    fit_plans.withdraw(
        by=crew["lena"], plan=plan, reason="cut by hand: too little for a plan"
    )
    taken = [Taken(loaded, n, "surround", "0.015", "in") for n in ("1", "2")]
    taken.append(Taken(loaded, "10", "part", "0.005", "in"))
    (opened,) = trimming.record_trim(
        by=crew["emil"], checks=[loaded], taken=taken, reason="too tight to be screwed"
    )
    return opened


def _come_late_and_claimed(crew, finished, running) -> None:
    """A tablet was out of the net: its reading comes after the finish; two readings
    were only said to be Bea's, and one she says is not hers."""
    tomas, bea = crew["tomas"], crew["bea"]
    come = _read(finished, tomas, "5", "flush", "0.30", keep_late=True)
    late_readings.decide_late(
        by=tomas, check=finished, reading=come, counted=True, reason="read in time"
    )
    _read(finished, tomas, "6", "flush", "0.90", keep_late=True)
    for station, verdict, reason in (
        ("2", "confirmed", ""),
        ("3", "disowned", "I was at the oven then"),
        ("4", "", ""),
    ):
        reading = _read(running, bea, station, "gap", "1.00", claimed=True)
        if verdict:
            claims.answer_claim(
                by=bea, entry=reading.entry, verdict=verdict, reason=reason
            )


def _holes(crew, design, joint, serials) -> None:
    """Screw holes of the fairing, drawn and read in inches, in two serials; one is not
    where it belongs."""
    places = [(MM_PER_IN * n, 0) for n in range(4)]
    pattern = define_pattern(
        by=crew["emil"],
        number="HP-150",
        name="Screws of the root fairing",
        joint=joint,
        design=design,
        mate=None,
        says=PatternHead(note="First release.", source=FAIRNESS, units="in"),
        holes=[
            HoleDraft(
                str(n), round(x * MM), y * MM, 500_000, 4_100_000, 4_300_000, 4_000_000,
                12 * MM,
            )
            for n, (x, y) in enumerate(places, start=1)
        ],
    )  # fmt: skip
    pattern = HolePattern.objects.select_related("current").get(pk=pattern.pk)
    _right, off_place = (
        record_holes(
            by=crew["bea"],
            revision=pattern.current,
            part=part,
            measured=[
                MeasuredHole(
                    str(n + 1),
                    f"{n + (off if n == 2 else 0.002):.3f}",
                    "0.001",
                    "0.164",
                    unit="in",
                )
                for n in range(4)
            ],
        )
        for part, off in zip(serials, (0.002, 0.014), strict=False)
    )
    items.decide_holes(crew, off_place)
