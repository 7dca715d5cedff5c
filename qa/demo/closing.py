"""What needs proof beside gap and flushness in the demo, in every verdict; a joint that
is closed, and a bay that was, until somebody put film on it."""

from qa.actions import characteristics, close_outs, nonconformances
from qa.actions.characteristics import Required
from qa.actions.instruments import save_instrument
from qa.actions.temporary import put_in
from qa.models import CloseOut, Joint
from qa.queries import close_out
from qa.rules.characteristics import Found
from shop.actions import weights
from shop.demo.times import day, grams
from shop.models import Part, Position
from shop.numeric.units import NM_PER_MM as MM

from . import items
from .signing import sign

PRACTICE = "common practice, no source"


def load(crew, glider, seams) -> None:
    first = glider.airframes["MG2-001"]
    joint = Joint.objects.select_related("position").get(number="J-170")
    _planned(crew, first, glider.positions, seams, joint)
    _settle(crew, joint)
    closed = _close(crew, first, joint=joint)
    sign(crew["lena"], "close_out", closed.pk, "released", "may be painted")
    _close(crew, first, bay=joint.position)
    put_in(
        by=crew["bea"],
        airframe=first,
        bay=joint.position,
        kind="film",
        count=1,
        why="against the tow rope",
    )


def _planned(crew, airframe, bays, seams, joint) -> None:
    gauge = _caliper(crew)
    flap: Position = joint.position
    rows = (
        ("C-101", "Stick to panel, full forward", "clearance", bays["FUS"], None,
         Required("25", "", "mm", photo=True), Found("31.5", "mm"), gauge),
        ("C-102", "Cowl exit over inlet, open", "ratio", bays["COWL-L"], None,
         Required("150", "", "cm²", "guarded", how="exit at its largest over the inlet",
                  source=PRACTICE),
         Found("306", "cm²", "200", "6", "4"), None),
        ("C-103", "Drain holes", "count", bays["DOOR-L"], None,
         Required("2", "2"), Found("2"), None),
        ("C-104", "Hinge bolts locked by wire", "attribute", bays["DOOR-L"],
         seams["J-101"], Required(photo=True), Found("no"), None),
        ("C-105", "Flap with its hinge", "weight", flap, None,
         Required("", "120", "g"), Found("118", "g", u="0.5"), None),
        ("C-106", "Hook to flap, in the middle", "dimension", flap, joint,
         Required("12.0", "12.5", "mm", "guarded"), Found("12.25", "mm"), gauge),
        ("C-107", "Pitot above the skin", "dimension", bays["FUS"], None,
         Required("80", "82", "mm"), Found("82.4", "mm"), gauge),
        ("C-108", "Vent area over drain area", "ratio", bays["FUS"], None,
         Required("100", "", "mm²"), None, None),
    )  # fmt: skip
    for number, name, quality, bay, at, required, measured, used in rows:
        row = characteristics.define(
            by=crew["emil"],
            number=number,
            name=name,
            quality=quality,
            bay=bay,
            joint=at,
            required=required,
        )
        if measured:
            result = characteristics.record(
                by=crew["tomas"],
                characteristic=row,
                airframe=airframe,
                found=measured,
                instrument=used,
            )
        if number == "C-103":
            _revised(crew, row)
        if number == "C-107":
            items.decide_result(crew, result)


def _caliper(crew):
    """A gauge for gaps does not reach so far."""
    return save_instrument(
        by=crew["lena"],
        code="CA-1",
        name="Caliper 0 to 150 mm",
        kind="caliper",
        due=day(-140),
        u_nm=round(0.02 * MM),
        resolution_nm=round(0.01 * MM),
        range_low_nm=0,
        range_high_nm=150 * MM,
    )


def _revised(crew, row) -> None:
    """The door got a third hole: what was found of it is to be found again."""
    required = Required("3", "3", how="one in each corner that is low on the ground")
    characteristics.revise(
        by=crew["emil"], characteristic=row, required=required, based_on=1
    )


def _settle(crew, joint: Joint) -> None:
    """The flap is weighed, and the inspector's remark is done with."""
    weights.weigh_part(
        by=crew["bea"],
        part=Part.objects.get(serial="MG-1550-001"),
        stage="finished",
        mass=grams("117"),
        weighed_on=day(0),
        scale="bench scale 2",
    )
    for item in joint.nonconformances.exclude(standing__state="closed"):
        nonconformances.explain(by=crew["ines"], item=item, cause="measuring")
        nonconformances.close(by=crew["ines"], item=item)


def _close(crew, airframe, **of) -> CloseOut:
    shown = close_out.view_of(airframe, **of).standing.digest
    return close_outs.close(by=crew["ines"], airframe=airframe, shown=shown, **of)
