"""What is offered in the demo: waiting, rejected, accepted with remarks until it was
measured again, and accepted."""

from qa.actions import checks, fitups, inspections, nonconformances, offers
from qa.actions.inspections import Remark
from qa.actions.joints import RequirementDraft, define_joint
from qa.models import FitUp, Instrument, Joint, OfferedJoint
from qa.numeric.geometry import layout
from qa.rules.judging import Typed
from shop.actions import airframes, parts

from .fitting import HINGED
from .joints import stations
from .signing import sign


def load(crew, glider, seams) -> None:
    first = glider.airframes["MG2-001"]
    door = seams["J-101"]
    _rejected(crew, _offer(crew["bea"], first, joint=door, note="as far as it goes"))
    joint = _flap(crew, glider, first)
    _read(crew, joint, finish="bare", gap="1.60")
    _with_remarks(crew, _offer(crew["tomas"], first, joint=joint))
    _read(crew, joint, finish="finished", gap="1.40")
    _accepted(crew, _offer(crew["tomas"], first, bay=joint.position))
    # Its core is of a lot in doubt: the inspector cannot accept that.
    offers.offer(by=crew["bea"], airframe=first, part=glider.parts["MG-1510-001"])


def _flap(crew, glider, airframe) -> Joint:
    """A small joint that fits: the flap over the tow hook."""
    emil, bea = crew["emil"], crew["bea"]
    place = airframes.add_position(
        by=emil,
        type=glider.type,
        code="FLAP-T",
        name="Tow hook flap",
        parent=glider.positions["FUS"],
    )
    design = parts.define_design(
        by=emil, number="MG-1550", name="Tow hook flap", hand="none"
    )
    flap = parts.register_part(by=bea, design=design, serial="MG-1550-001")
    airframes.place_part(by=bea, airframe=airframe, position=place, part=flap)
    drawn = layout.rounded_rectangle(180, 120, 20, 8)
    joint = define_joint(
        by=emil,
        position=place,
        surround=glider.positions["FUS"],
        number="J-170",
        name="Tow hook flap to fuselage",
        requirement=RequirementDraft(
            note="First release.",
            source="MG-0001",
            acceptance_condition="hinged, painted",
            acceptance_finish="finished",
        ),
        stations=stations(drawn.places, drawn.gap_directions, gap=(0.8, 2.0)),
    )
    joint = Joint.objects.select_related("current", "position").get(pk=joint.pk)
    fitups.open_fit_up(
        by=crew["tomas"], airframe=airframe, joint=joint, part=flap, held=HINGED
    )
    return joint


def _offer(by, airframe, **what) -> OfferedJoint:
    made = offers.offer(by=by, airframe=airframe, **what)
    return OfferedJoint.objects.get(offer=made)


def _rejected(crew, row: OfferedJoint) -> None:
    inspections.inspect(
        by=crew["ines"],
        offered=row,
        outcome="rejected",
        shown=row.digest,
        remarks=[Remark("9", "too tight to turn a feeler in; trim it first")],
    )


def _with_remarks(crew, row: OfferedJoint) -> None:
    inspection = inspections.inspect(
        by=crew["ines"],
        offered=row,
        outcome="with_remarks",
        shown=row.digest,
        remarks=[Remark("", "read it again when it is painted")],
    )
    sign(crew["ines"], "inspection", inspection.pk, "inspected")
    item = inspection.remarks.get().item
    nonconformances.dispose(
        by=crew["lena"], item=item, disposition="rework", note="after paint"
    )
    nonconformances.work(by=crew["tomas"], item=item, note="painted and read")
    nonconformances.verify(by=crew["ines"], item=item, note="the paint is dry")


def _read(crew, joint: Joint, *, finish: str, gap: str) -> None:
    """Every station, bare or in paint."""
    fit_up = FitUp.objects.filter(joint=joint).latest("number")
    check = checks.start_check(
        by=crew["tomas"],
        fit_up=fit_up,
        finish=finish,
        instrument=Instrument.objects.get(code="SG-1"),
        temperature_mc=21_000,
        in_acceptance_condition=finish == "finished",
    )
    for station in fit_up.revision.stations.all():
        station.revision = fit_up.revision
        for kind, value in (("gap", gap), ("flush", "0.05")):
            checks.record_reading(
                by=crew["tomas"],
                check=check,
                station=station,
                kind=kind,
                typed=Typed("value", value, "mm"),
            )
    checks.finish_check(by=crew["tomas"], check=check)


def _accepted(crew, row: OfferedJoint) -> None:
    gauge = Instrument.objects.get(code="SG-1")
    for station, kind, value in (("1", "gap", "1.42"), ("1", "flush", "0.10")):
        inspections.read_again(
            by=crew["ines"],
            offered=row,
            station=station,
            kind=kind,
            value=value,
            unit="mm",
            instrument=gauge,
        )
    inspections.inspect(
        by=crew["ines"], offered=row, outcome="accepted", shown=row.digest
    )
