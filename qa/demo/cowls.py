"""Upper and lower cowl of the demo: against each other and the fuselage, planned and
taken together, nothing done yet."""

from qa.actions import checks, fit_plans, fitups
from qa.models import Instrument
from qa.rules import plan_records
from qa.rules.judging import Typed
from qa.rules.shared_plans import FREE
from qa.rules.station_places import places_of

HELD = [{"kind": "cleco", "where": "every third hole of the rear edge", "count": 5}]
# How far each half sits off (x forward, y up, z to the left), mm.
OFF = {"MG-1410-001": (0.7, 0.4, 0.15), "MG-1420-001": (-0.4, 0.9, 0.1)}
SEAMS = (
    ("J-133", "MG-1420-001", None),
    ("J-130", "MG-1410-001", None),
    ("J-131", "MG-1410-001", "MG-1420-001"),
    ("J-132", "MG-1410-001", "MG-1420-001"),
)
# The left edge of the upper half was left long in its middle.
LONG = {("J-131", "3"): 1.3, ("J-131", "4"): 1.4}


def load(crew, glider, seams) -> None:
    airframe = glider.airframes["MG2-001"]
    for number, part, around in SEAMS:
        fit_up = fitups.open_fit_up(
            by=crew["bea"],
            airframe=airframe,
            joint=seams[number],
            part=glider.parts[part],
            surround_part=glider.parts.get(around),
            held=HELD,
        )
        _measure(crew["bea"], fit_up, OFF[part], OFF.get(around, (0.0, 0.0, 0.0)))
    hows = {glider.positions[code].pk: FREE for code in ("COWL-U", "COWL-L")}
    together, drafts = plan_records.draft_together(airframe, hows)
    if not drafts:
        raise RuntimeError(together.problem)
    fit_plans.take_together(by=crew["bea"], plans=drafts)


def _measure(by, fit_up, part, around) -> None:
    check = checks.start_check(
        by=by,
        fit_up=fit_up,
        finish="bare",
        instrument=Instrument.objects.get(code="SG-1"),
        temperature_mc=21_000,
    )
    apart = [p - q for p, q in zip(part, around, strict=True)]
    stations = list(fit_up.revision.stations.all())
    _places, gaps, faces = places_of(stations)
    for row, station in enumerate(stations):
        station.revision = fit_up.revision
        middle = (station.gap_min_nm + station.gap_max_nm) / 2e6
        uneven = 0.04 * ((row * 7) % 5 - 2) / 2
        gap = middle - float(gaps[row] @ apart) + uneven
        gap -= LONG.get((fit_up.joint.number, station.label), 0.0)
        flush = float(faces[row] @ apart) + uneven / 2
        for kind, value in (("gap", gap), ("flush", flush)):
            checks.record_reading(
                by=by,
                check=check,
                station=station,
                kind=kind,
                typed=Typed("value", f"{value:z.2f}", "mm"),
            )
    checks.finish_check(by=by, check=check)
