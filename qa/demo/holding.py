"""What holds the parts of the demo: a hinged door, a hatch in clecos, cowl, canopy."""

from qa.actions.adjusters import (
    AdjusterDraft,
    DirectionDraft,
    HoldingDraft,
    PointDraft,
    define_holding,
)
from qa.models import Joint, StepKind
from qa.queries.joints import drawings
from qa.rules.adjusters import TYPICAL
from qa.rules.station_places import places_of
from shop.numeric.units import NM_PER_MM as MM

# How well hands set a length and a shim here; invented.
SET_U = {StepKind.LENGTH: 50_000, StepKind.SHIM: 20_000, StepKind.TURN: 30_000}


def load(crew, glider, seams) -> None:
    for number, typical in (
        ("J-101", "hinged"),
        ("J-110", "corners"),
        ("J-130", "cowl"),
        ("J-120", "canopy"),
    ):
        state(crew, seams[number], typical)


def state(crew, joint: Joint, typical: str):
    """State how the part at a joint is held, as such parts usually are."""
    flow = drawings.flow(joint.current) or (1.0, 0.0)
    at, _gap, _face = places_of(list(joint.current.stations.all()))
    usual = TYPICAL[typical](at.tolist(), front_is_left=flow[0] >= 0)
    directions = (
        DirectionDraft("aft", "fore", (*flow, 0.0)),
        DirectionDraft("up", "down", (0.0, 1.0, 0.0)),
        DirectionDraft("out", "in", (0.0, 0.0, 1.0)),
    )
    number = {direction.plus: row for row, direction in enumerate(directions)}
    draft = HoldingDraft(
        directions,
        tuple(
            PointDraft(
                point.name, point.kind, tuple(round(mm * MM) for mm in point.place_mm)
            )
            for point in usual.points
        ),
        tuple(
            AdjusterDraft(
                point=adjuster.point,
                direction=number[adjuster.word],
                min_nm=round(-adjuster.back_mm * MM),
                max_nm=round(adjuster.far_mm * MM),
                step_nm=round(adjuster.step_mm * MM),
                step_kind=adjuster.step_kind,
                turn_e3=250 if adjuster.step_kind == StepKind.TURN else None,
                set_u_nm=SET_U[adjuster.step_kind],
            )
            for adjuster in usual.adjusters
        ),
        note="As the drawing has it.",
    )
    return define_holding(by=crew["emil"], position=joint.position, draft=draft)
