"""Fit checks of the demo: a door that does not fit yet, a hatch that does."""

import math

from qa.actions import checks, fitups, nonconformances, raising
from qa.models import Check, Instrument
from qa.rules.judging import Typed
from shop.numeric.units import E9, to_mm

CLECOS = [
    {"kind": "cleco", "where": "holes 1, 4, 7, 10, 13, 16", "count": 6},
    {"kind": "prop", "where": "lower edge", "count": 1},
]
HINGED = [
    {"kind": "hinge", "where": "both hinges pinned", "count": 2},
    {"kind": "latch", "where": "handle closed", "count": 1},
]


def _noise(seed: int, row: int) -> float:
    """A repeatable unevenness of about 0.05 mm, from no random source."""
    return 0.05 * math.sin(12.9898 * row + 78.233 * seed)


def load(crew, glider, seams) -> None:
    first = glider.airframes["MG2-001"]
    second = glider.airframes["MG2-002"]
    gauge = Instrument.objects.get(code="SG-1")
    door = seams["J-101"]
    door_1 = glider.parts["MG-1210-001"]

    start = _check(crew["bea"], first, door, door_1, CLECOS, gauge, 21_500)
    # The door sits 0.7 mm forward and low at its front; its rear edge is long.
    _fill(start, crew["bea"], 1, shift=(0.7, -0.25), turn=0.0009, raise_by=-0.3)
    checks.finish_check(by=crew["bea"], check=start)
    items = raising.raise_findings(by=crew["bea"], check=start)
    if items:
        nonconformances.dispose(
            by=crew["lena"],
            item=items[0],
            disposition="rework",
            note="Move, then trim.",
        )

    hatch = seams["J-110"]
    fits = _check(
        crew["tomas"], first, hatch, glider.parts["MG-1510-001"], HINGED, gauge, 22_000
    )
    _fill(fits, crew["tomas"], 2)
    checks.finish_check(by=crew["tomas"], check=fits)

    glass = seams["J-120"]
    tight = _check(
        crew["bea"], second, glass, glider.parts["MG-1300-002"], CLECOS, gauge, 17_000
    )
    _fill(tight, crew["bea"], 3, shift=(0.0, -0.9), every=2)

    door_2 = glider.parts["MG-1210-002"]
    again = _check(crew["tomas"], second, door, door_2, CLECOS, gauge, 21_000)
    _fill(again, crew["tomas"], 4, shift=(0.1, 0.1), until=18)


def _check(by, airframe, joint, part, held, gauge, temperature) -> Check:
    fit_up = fitups.open_fit_up(
        by=by, airframe=airframe, joint=joint, part=part, held=held
    )
    return checks.start_check(
        by=by,
        fit_up=fit_up,
        finish="bare",
        instrument=gauge,
        temperature_mc=temperature,
    )


def _fill(
    check, by, seed, *, shift=(0.0, 0.0), turn=0.0, raise_by=0.0, every=1, until=None
) -> None:
    """Read every station as a part would read that sits off by a known move."""
    for row, station in enumerate(check.fit_up.revision.stations.all()):
        if row % every or (until is not None and row >= until):
            continue
        station.revision = check.fit_up.revision
        x, y = to_mm(station.x_nm), to_mm(station.y_nm)
        nx, ny = station.gap_x_e9 / E9, station.gap_y_e9 / E9
        moved = nx * (shift[0] - turn * y) + ny * (shift[1] + turn * x)
        middle = (station.gap_min_nm + station.gap_max_nm) / 2e6
        finish = to_mm(check.fit_up.revision.finish_part_nm)
        gap = middle + 2 * finish - moved + _noise(seed, row)
        if seed == 1 and 8 <= row <= 11:
            gap -= 0.9  # the rear edge was left long when the part was trimmed
        flush = raise_by * (1 + x / 800) + _noise(seed + 7, row)
        for kind, value in (("gap", max(gap, 0.0)), ("flush", flush)):
            checks.record_reading(
                by=by,
                check=check,
                station=station,
                kind=kind,
                typed=Typed(
                    "value", f"{value + 0.0:.2f}".replace("-0.00", "0.00"), "mm"
                ),
            )
