"""A lid of the demo of which twelve were made: enough for the capability of its joint,
of each place and of a dimension of it."""

from qa.actions import characteristics, checks, fitups
from qa.actions.characteristics import Required
from qa.actions.joints import RequirementDraft, define_joint
from qa.models import Instrument
from qa.numeric.geometry import layout
from qa.rules.characteristics import Found
from qa.rules.judging import Typed
from shop.actions import airframes, parts
from shop.models import Hand

from .joints import stations

# Hundredths of a mm from 1.50, lid by lid, at each of the four corners.
GAPS = (
    (-8, 3, 11, -2, 6, -14, 1, 9, -5, 4, -11, 7),
    (22, 31, 18, 27, 35, 12, 24, 40, 16, 29, 20, 33),
    (2, -6, 5, 13, -9, 0, -3, 8, -16, 6, 10, -1),
    (-21, -12, -17, -30, -9, -24, -14, -5, -19, -26, -11, -16),
)
HEIGHTS = (4, -3, 9, 1, -7, 6, -2, 12, 0, -5, 3, 8)  # hundredths of a mm from 12.30


def load(crew, glider) -> None:
    joint, design, row = _planned(crew, glider)
    airframe = glider.airframes["MG2-002"]
    station_gauge, caliper = (
        Instrument.objects.filter(code=code).first() for code in ("SG-1", "CA-1")
    )
    placed = None
    for number, height in enumerate(HEIGHTS, 1):
        lid = parts.register_part(
            by=crew["bea"], design=design, serial=f"MG-1595-{number:03d}"
        )
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
            found=Found(f"{12.3 + height / 100:.2f}", "mm"),
            instrument=caliper,
        )


def _planned(crew, glider):
    emil = crew["emil"]
    place = airframes.add_position(
        by=emil,
        type=glider.type,
        code="LID",
        name="Battery lid",
        parent=glider.positions["FUS"],
        hand=Hand.NONE,
    )
    design = parts.define_design(
        by=emil,
        number="MG-1595",
        name="Battery lid",
        structural_class="non_structural",
    )
    drawn = layout.rounded_rectangle_by_side(200, 140, 20, (1, 1, 1, 1), per_corner=0)
    joint = define_joint(
        by=emil,
        position=place,
        surround=glider.positions["FUS"],
        number="J-165",
        name="Battery lid to fuselage",
        requirement=RequirementDraft(note="First release.", source="MG-0001"),
        stations=stations(drawn.places, drawn.gap_directions, gap=(1.0, 2.0)),
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
        off = GAPS[row][number]
        values = {"gap": 1.5 + off / 100, "flush": GAPS[row][-1 - number] / 200}
        for kind, value in values.items():
            text = f"{value:.2f}".replace("-0.00", "0.00")
            checks.record_reading(
                by=who,
                check=check,
                station=station,
                kind=kind,
                typed=Typed("value", text, "mm"),
            )
    checks.finish_check(by=who, check=check)
