"""A lid of the demo of which twelve were made, of two molds from one plug: enough for
the capability of its joint, of each place and of a dimension of it, and for what
drifts. One corner comes prouder from pull to pull of the first mold, also after that
was repaired; all gaps come tight from both, so that it is the plug's."""

from qa.actions import characteristics, checks, fitups, tool_corrections
from qa.actions.characteristics import Required
from qa.models import Instrument
from qa.numeric.geometry import layout
from qa.queries.molds import plugs
from qa.rules.characteristics import Found
from qa.rules.judging import Typed
from shop.actions import airframes, tooling
from shop.demo.times import ago

from .joints import in_the_fuselage, stations
from .molds import drafted, loaded, pulled

# mm, lid by lid: the gap at each of the four corners, and the height.
GAPS = (
    "1.42 1.53 1.61 1.48 1.56 1.36 1.51 1.59 1.45 1.54 1.39 1.57",
    "1.72 1.81 1.68 1.77 1.85 1.62 1.74 1.90 1.66 1.79 1.70 1.83",
    "1.52 1.44 1.55 1.63 1.41 1.50 1.47 1.58 1.34 1.56 1.60 1.49",
    "1.29 1.38 1.33 1.20 1.41 1.26 1.36 1.45 1.31 1.24 1.39 1.34",
)
# Flushness at the first corner, where the first mold drifts; the others are even.
PROUD = "0.08 0.13 0.19 0.23 0.04 0.10 0.14 0.20"
REPAIRED_BEFORE = 5
HEIGHTS = "12.34 12.27 12.39 12.31 12.23 12.36 12.28 12.42 12.30 12.25 12.33 12.38"


def load(crew, glider) -> None:
    joint, design, row = _planned(crew, glider)
    airframe = glider.airframes["MG2-002"]
    station_gauge, caliper = (
        Instrument.objects.filter(code=code).first() for code in ("SG-1", "CA-1")
    )
    placed, molds = None, _molds(crew, design)
    for number, height in enumerate(HEIGHTS.split(), 1):
        mold = molds[number > len(PROUD.split())]
        if number == REPAIRED_BEFORE:
            _repair(crew, mold)
        serial = f"MG-1595-{number:03d}"
        lid = pulled(crew, mold, design, serial, 30 - 2 * number)
        if placed:
            why = "the next lid is tried"
            airframes.remove_part(by=crew["bea"], placement=placed, reason=why)
        placed = airframes.place_part(
            by=crew["bea"], airframe=airframe, position=joint.position, part=lid
        )
        _read(crew, joint, airframe, lid, number - 1, station_gauge)
        characteristics.record(
            by=crew["tomas"],
            characteristic=row,
            airframe=airframe,
            found=Found(height, "mm"),
            instrument=caliper,
        )
    _correct_the_plug(crew, molds[0], joint, design)


def _molds(crew, design):
    """Two molds from one plug."""
    made = {"by": crew["lena"], "made_at": ago(60)}
    plug = tooling.add_tool(
        kind="plug", code="PLUG-LID", name="Battery lid plug", **made
    )
    of_plug = {"kind": "mold", "plug": plug, "design": design, "place": "mold rack"}
    return [
        tooling.add_tool(
            code=f"M-LID-{letter}", name=f"Battery lid mold {letter}", **of_plug, **made
        )
        for letter in "AB"
    ]


def _repair(crew, mold) -> None:
    defect = tooling.note_defect(
        by=crew["bea"],
        tool=mold,
        what="surface worn",
        place="at station 1",
    )
    tooling.repair_defect(by=crew["bea"], defect=defect, note="filled and polished")


def _correct_the_plug(crew, mold, joint, design) -> None:
    """Both molds show it: a third is to be right."""
    draft = drafted(mold, joint, design)
    taken = tool_corrections.take(by=crew["emil"], correction=draft)
    correction = plugs.of_plug(loaded(taken), "mm")
    tool_corrections.record_on_plug(
        by=crew["bea"],
        correction=taken,
        what=correction.what,
        place=correction.places,
        note="trim line scribed anew, all round",
    )


def _planned(crew, glider):
    emil = crew["emil"]
    drawn = layout.rounded_rectangle_by_side(200, 140, 20, (1, 1, 1, 1), per_corner=0)
    drafts = stations(drawn.places, drawn.gap_directions, gap=(1.0, 2.4))
    place, design, joint = in_the_fuselage(
        emil, glider, ("LID", "Battery lid"), "MG-1595", "J-165", drafts
    )
    row = characteristics.define(
        by=emil,
        number="C-109",
        name="Lid over the battery terminals",
        quality="dimension",
        bay=place,
        joint=None,
        required=Required("12.0", "12.8", "mm", how="in the middle, lid closed"),
    )
    return joint, design, row


def _read(crew, joint, airframe, lid, number: int, gauge) -> None:
    who = crew["bea"]
    fit_up = fitups.open_fit_up(by=who, airframe=airframe, joint=joint, part=lid)
    check = checks.start_check(by=who, fit_up=fit_up, finish="bare", instrument=gauge)
    revision = fit_up.revision
    for row, station in enumerate(revision.stations.all()):
        station.revision = revision
        gaps = GAPS[row].split()
        flush = f"{(float(gaps[-1 - number]) - 1.5) / 2 + 0.0:z.2f}"
        if row == 0 and number < len(PROUD.split()):
            flush = PROUD.split()[number]
        for kind, text in (("gap", gaps[number]), ("flush", flush)):
            checks.record_reading(
                by=who,
                check=check,
                station=station,
                kind=kind,
                typed=Typed("value", text, "mm"),
            )
    checks.finish_check(by=who, check=check)
