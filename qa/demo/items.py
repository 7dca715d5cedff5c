"""Nonconformances of the demo: each found another way, in another state, for another
cause, and decided otherwise."""

from qa.actions import defects, nonconformances, raising
from qa.models import Check, DefectKind, Joint
from shop.actions import parts
from shop.demo.times import day
from shop.models import Part, Tool


def load(crew, glider, check: Check) -> None:
    defects.add_usual(by=crew["lena"])
    defects.save_kind(by=crew["lena"], name="paint run", in_use=False)
    _decided(crew, check)
    _others(crew, glider)


def _decided(crew, check) -> None:
    """Each thing found goes another way, to another state."""
    raised = raising.raise_findings(by=crew["bea"], check=check)
    spare = parts.register_part(
        by=crew["bea"], design=check.fit_up.part.design, serial="MG-2110-003"
    )
    fitted = check.fit_up.part
    decisions = (
        ("tomas", fitted, "wrong part", "", "wrong screws delivered", ""),
        ("tomas", spare, "edge delamination", "9, 10", "dropped on its tip", ""),
        ("ines", fitted, "hole", "3", "hole 3 drilled twice", "12 mm below the edge"),
    )
    screws, dropped, hole = (
        raising.raise_by_hand(
            by=crew[who],
            airframe=check.fit_up.airframe,
            joint=check.fit_up.joint,
            part=part,
            defect=DefectKind.objects.get(name=defect),
            stations=stations,
            title=title,
            place=place,
        )
        for who, part, defect, stations, title, place in decisions
    )
    repaired, used, reworked = raised[0], raised[1], raised[2]
    _dispose(crew, repaired, "repair", "fill the step with flox, glass over it")
    nonconformances.explain(by=crew["emil"], item=repaired, cause="trim", note="seen")
    nonconformances.assign(
        by=crew["lena"], item=repaired, holder=crew["tomas"], severity="major",
        blocking=True, due=day(-7), note="before the wing comes off",
    )  # fmt: skip
    _dispose(crew, used, "use_as_is", "sealed by the fillet; no load there")
    nonconformances.verify(
        by=crew["ines"], item=used, note="looked at, with the drawing"
    )
    nonconformances.explain(by=crew["ines"], item=used, cause="measuring")
    nonconformances.close(by=crew["ines"], item=used)
    _dispose(crew, reworked, "rework", "sand the step down")
    nonconformances.work(by=crew["bea"], item=reworked, note="sanded, 180 then 320")
    _gone(crew, screws, dropped)
    nonconformances.contain(
        by=crew["bea"], item=hole, note="red tape on it; nobody drills on"
    )


def _dispose(crew, item, way: str, note: str, concession="") -> None:
    if way in ("use_as_is", "repair"):
        concession = "Design office of the shop, concession MG-C-04"
    nonconformances.dispose(
        by=crew["emil"], item=item, disposition=way, note=note, concession=concession
    )


def _gone(crew, screws, dropped) -> None:
    """What is sent back, and what lies in the bin."""
    lena, ines = crew["lena"], crew["ines"]
    _dispose(crew, screws, "return", "the supplier takes them back")
    nonconformances.work(by=crew["tomas"], item=screws, note="sent, parcel 2")
    nonconformances.verify(by=ines, item=screws, note="the receipt was seen")
    nonconformances.assign(by=ines, item=screws, holder=lena, severity="minor")
    nonconformances.contain(
        by=lena,
        item=dropped,
        note="tagged, on the quarantine shelf",
        holds=[f"part:{dropped.part_id}"],
        spreads=True,
    )
    nonconformances.explain(
        by=lena,
        item=dropped,
        cause="handling",
        origin=f"part:{dropped.part_id}",
        note="it slipped off the trestle",
    )
    _dispose(crew, dropped, "rework", "bond the tip again")
    nonconformances.reopen(
        by=ines, item=dropped, note="the skin is crushed: a bond will not do"
    )
    nonconformances.remark(by=crew["bea"], item=dropped, note="it lies on the bench")
    _dispose(crew, dropped, "scrap", "beyond repair")
    nonconformances.work(by=crew["bea"], item=dropped, note="sawn in two, in the bin")


def decide_holes(crew, check) -> None:
    """A hole that is not where it belongs stays: decided, and seen by another."""
    item = raising.raise_holes(by=crew["bea"], check=check)
    nonconformances.explain(
        by=crew["lena"], item=item, cause="trim", note="the drill guide had slipped"
    )
    _dispose(crew, item, "use_as_is", "edge distance is kept; the screw goes in freely")
    nonconformances.verify(by=crew["ines"], item=item, note="the screw was tried")


def decide_result(crew, result) -> None:
    """A characteristic out of its limits, on its way: found, decided, not yet done."""
    item = raising.raise_result(by=crew["tomas"], result=result)
    _dispose(crew, item, "rework", "shorten the pitot stand, then measure again")


def _others(crew, glider) -> None:
    """Every other cause, once, on something small of each kind."""
    first = glider.airframes["MG2-001"]
    shell = glider.parts["MG-1100-001"]
    items = (
        ("dry spot", "dry spot, 30 mm, inside at frame 4", "layup", "major"),
        ("bridging", "bridging in the corner of the sill", "mold", "critical"),
        ("wrinkle", "wrinkle along the keel", "plug", "minor"),
        ("uncured spot", "soft spot beside the firewall", "cure", "critical"),
        ("wrong part", "bushing of the drawing is too long", "design", "minor"),
        ("void", "void, 8 mm, under the step", "material", "minor"),
    )
    for defect, title, cause, severity in items:
        item = raising.raise_by_hand(
            by=crew["tomas"],
            airframe=first,
            part=shell,
            defect=DefectKind.objects.get(name=defect),
            title=title,
            place="fuselage, left side",
        )
        nonconformances.explain(by=crew["lena"], item=item, cause=cause)
        nonconformances.assign(
            by=crew["lena"], item=item, holder=crew["bea"], severity=severity
        )


def repeat(crew, glider) -> None:
    """The covers out of one mold have the same fault at the same corner."""
    bridging = DefectKind.objects.get(name="bridging")
    joint = Joint.objects.select_related("current").get(number="J-160")
    mold = Tool.objects.get(code="M-COVER")
    for serial, stations in (("MG-1540-001", "3, 4"), ("MG-1540-002", "4, 5")):
        item = raising.raise_by_hand(
            by=crew["tomas"],
            airframe=glider.airframes["MG2-002"],
            joint=joint,
            part=Part.objects.get(serial=serial),
            defect=bridging,
            stations=stations,
            title="bridging in the corner radius",
        )
        nonconformances.explain(
            by=crew["lena"], item=item, cause="mold", origin=f"tool:{mold.pk}"
        )
