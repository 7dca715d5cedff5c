"""The mold of the inspection cover of the demo: its covers came long at one edge and
proud at a corner, it was corrected, and the next one shows it."""

import math

from qa.actions import chart_notes, checks, fitups, tool_corrections
from qa.models import Instrument
from qa.numeric.geometry import layout
from qa.queries.molds import corrections
from qa.rules import mold_assessment, mold_corrections, mold_fits, mold_kin
from qa.rules.judging import Typed
from shop.actions import pulls, release, tooling
from shop.demo.times import ago
from shop.models import Laminate, ReleaseProduct
from shop.numeric.units import E9

from .joints import in_the_fuselage, stations

LONG = {4: -0.9, 5: -1.1, 6: -0.9}  # the gap is less there, mm
TIGHT = {8: -0.35}  # in the second opening, by what hinders it there
PROUD = {1: 0.4, 2: 0.45}
WHY = "tried in both openings"


def load(crew, glider) -> None:
    joint, design, mold = _made(crew, glider)
    covers = [_cover(crew, mold, design, n, days) for n, days in ((1, 14), (2, 12))]
    for number, cover in enumerate(covers, 1):
        for line, airframe in enumerate(glider.airframes.values(), 1):
            long = LONG if line == 1 else LONG | TIGHT
            _read(crew, joint, airframe, cover, 10 * number + line, long, PROUD)
    first = tool_corrections.take(
        by=crew["lena"], correction=drafted(mold, joint, design), note="Too early?"
    )
    tool_corrections.withdraw(
        by=crew["lena"], correction=first, note="to be done together with the wax"
    )
    taken = tool_corrections.take(
        by=crew["emil"], correction=drafted(mold, joint, design)
    )
    page = corrections.correction_page(loaded(taken), "mm")
    tool_corrections.record_done(
        by=crew["bea"],
        correction=taken,
        what=page.what,
        place=page.places,
        note="scribed anew by the template; corner filled, sanded, sealed",
    )
    third = _cover(crew, mold, design, 3, 4)
    left = {4: -0.05, 5: 0.06}
    last = _read(crew, joint, glider.airframes["MG2-002"], third, 31, left, {})
    _write(crew, joint, last)


def _write(crew, joint, check) -> None:
    """What people wrote on the points of its charts: one note, one put right, one that
    was taken back."""
    station = check.fit_up.revision.stations.order_by("order")[3]
    on = {"check": check, "station": station, "of": "gap"}
    words = "first after the mold was scribed anew"
    note = chart_notes.write_note(by=crew["bea"], words=words, **on)
    words += ", with the new wax"
    chart_notes.replace_note(by=crew["bea"], note=note, words=words)
    chart_notes.write_note(by=crew["emil"], check=check, words="held by two straps")
    wrong = chart_notes.write_note(by=crew["lena"], check=check, words="other resin")
    chart_notes.replace_note(
        by=crew["lena"], note=wrong, words="it was the same lot", taken_back=True
    )


def _made(crew, glider):
    drawn = layout.rounded_rectangle_by_side(240, 160, 25, (3, 2, 3, 2), per_corner=1)
    drafts = stations(
        drawn.places, drawn.gap_directions, gap=(0.8, 2.0), trim_max_nm=2_000_000
    )
    _place, design, joint = in_the_fuselage(
        crew["emil"],
        glider,
        ("COVER", "Inspection cover"),
        "MG-1540",
        "J-160",
        drafts,
    )
    return joint, design, _mold(crew, design)


def _mold(crew, design):
    lena = crew["lena"]
    plug = tooling.add_tool(
        by=lena,
        kind="plug",
        code="PLUG-COVER",
        name="Inspection cover plug",
        surface_revision="A",
        place="plug bay",
        made_at=ago(40),
    )
    mold = tooling.add_tool(
        by=lena,
        kind="mold",
        code="M-COVER",
        name="Inspection cover mold",
        plug=plug,
        design=design,
        place="mold rack",
        made_at=ago(30),
    )
    release.apply_coat(
        by=crew["bea"],
        tool=mold,
        product=ReleaseProduct.objects.order_by("pk").first(),
        applied_at=ago(20),
        reason="one coat for a trial",
    )
    return mold


def _cover(crew, mold, design, number: int, days: float):
    return pulled(crew, mold, design, f"MG-1540-{number:03d}", days)


def pulled(crew, mold, design, serial: str, days: float):
    """A part from the next pull, laid up so many days ago."""
    mold.refresh_from_db()
    laminate = Laminate.objects.get(code="L-HATCH")
    pull = pulls.start_pull(
        by=crew["bea"],
        tool=mold,
        laminate=laminate,
        started_at=ago(days),
        reason="trial, laid up like the hatch",
    )
    pulls.close_layup(
        by=crew["bea"], pull=pull, closed_at=ago(days - 0.1), reason="a trial"
    )
    pulls.demold(
        by=crew["bea"],
        pull=pull,
        release="clean",
        demolded_at=ago(days - 2),
        reason="hard by the clock",
    )
    pull.refresh_from_db()
    return pulls.yield_part(by=crew["bea"], pull=pull, design=design, serial=serial)


def _read(crew, joint, airframe, cover, seed: int, long: dict, proud: dict):
    """The first fit of a cover: it sits a little off, and is read all round."""
    who = crew["bea" if seed % 2 else "tomas"]
    fit_up = fitups.open_fit_up(
        by=who, airframe=airframe, joint=joint, part=cover, why=WHY
    )
    check = checks.start_check(
        by=who,
        fit_up=fit_up,
        finish="bare",
        instrument=Instrument.objects.get(code="SG-1"),
    )
    revision = fit_up.revision
    for row, station in enumerate(revision.stations.all()):
        station.revision = revision
        nx, ny = station.gap_x_e9 / E9, station.gap_y_e9 / E9
        off = 0.2 * math.sin(seed) * nx + 0.15 * math.cos(2 * seed) * ny
        values = {
            "gap": 1.4 + long.get(row, 0.0) - off + _noise(seed, row),
            "flush": proud.get(row, 0.0) + 0.1 * math.sin(seed) + _noise(seed + 5, row),
        }
        for kind, value in values.items():
            text = f"{round(value, 2) + 0.0:.2f}".replace("-0.00", "0.00")
            checks.record_reading(
                by=who,
                check=check,
                station=station,
                kind=kind,
                typed=Typed("value", text, "mm"),
            )
    checks.finish_check(by=who, check=check)
    return check


def _noise(seed: int, row: int) -> float:
    """Repeatable unevenness of about 0.04 mm, from no random source."""
    return 0.04 * math.sin(37.719 * row + 78.233 * seed + 3.1 * row * seed)


def drafted(mold, joint, design):
    """The correction that its fits ask for."""
    others = mold_kin.relatives(mold)
    loaded = mold_fits.load([mold, *others])
    assessment = mold_assessment.assess(
        loaded[mold.pk, joint.pk, design.pk], mold_assessment.Choice()
    )
    corrected = mold_kin.corrected_of(mold, others)
    kin = mold_kin.kin_of(assessment, loaded, others, corrected)
    return mold_corrections.draft(assessment, kin)


def loaded(row):
    """With what its page takes."""
    return type(row).objects.select_related(*corrections.RELATED).get(pk=row.pk)
