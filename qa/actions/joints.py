"""Joints and their requirements: made whole, revised whole, never edited."""

import math
from dataclasses import asdict, dataclass, field

from django.db import IntegrityError
from django.utils.translation import gettext as _

from qa.models import Joint, JointRevision, Station
from shop import roles
from shop.actions.locks import hold_row
from shop.ledger import Refused, perform
from shop.models import Hand, Placement, Position
from shop.numeric.units import MILLI
from shop.rules.reasons import ask_why


@dataclass(frozen=True)
class StationDraft:
    """One station of a requirement to be. Lengths in nm, directions in 1e-9."""

    label: str
    place_nm: tuple[int, int, int]
    gap_e9: tuple[int, int, int]
    face_e9: tuple[int, int, int] = (0, 0, 1_000_000_000)
    corner: bool = False
    gap_min_nm: int | None = None
    gap_max_nm: int | None = None
    flush_min_nm: int | None = None
    flush_max_nm: int | None = None
    typed: dict = field(default_factory=dict)
    radius_nm: int | None = None
    laminar: bool = False
    edge: str = ""
    trim_side: str = "part"
    trim_max_nm: int | None = None
    trim_max_surround_nm: int | None = None
    land_nm: int | None = None
    surround_id: int | None = None


@dataclass(frozen=True)
class RequirementDraft:
    """Everything a revision says beside its stations."""

    note: str = ""
    source: str = ""
    part_inside: bool = True
    closed: bool = True
    marks_on: str = "surround"
    acceptance_condition: str = ""
    acceptance_finish: str = "any"
    finish_part_nm: int = 0
    finish_surround_nm: int = 0
    rule: str = "simple"
    edition: str = "2017"
    units: str = "mm"
    aim_nm: int | None = None
    repeatability_nm: int | None = None
    flow_mdeg: int | None = None
    part_expansion_e9: int | None = None
    surround_expansion_e9: int | None = None
    expanding_length_nm: int | None = None
    motions: list | None = None
    attach_points: list | None = None


# Seen from outside, as every joint is drawn, the nose of an airframe is on the left of
# its left side and on the right of its right side.
ALONG = {Hand.LEFT: 1, Hand.RIGHT: -1}


def flow_doubt(position: Position, flow_mdeg: int | None) -> str:
    """Say that a flow runs from tail to nose at a place of this hand; "" when not."""
    hand = _hand_of(position)
    if flow_mdeg is None or hand not in ALONG:
        return ""
    if ALONG[hand] * math.cos(math.radians(flow_mdeg / MILLI)) >= -1e-9:
        return ""
    if hand == Hand.LEFT:
        return _(
            "The flow runs to the left. Seen from outside the nose of the left side is "
            "on the left, so that air runs to the right, about 0 degrees."
        )
    return _(
        "The flow runs to the right. Seen from outside the nose of the right side is "
        "on the right, so that air runs to the left, about 180 degrees."
    )


def _hand_of(position: Position) -> str:
    """The hand stated for a place, else that of a part that sits there."""
    if position.hand != Hand.NONE or position.pk is None:
        return position.hand
    sits = Placement.objects.filter(position=position)
    return sits.values_list("part__design__hand", flat=True).first() or Hand.NONE


def define_joint(
    *,
    by,
    position: Position,
    surround: Position,
    number: str,
    name: str,
    requirement: RequirementDraft,
    stations: list[StationDraft],
    first_line: int = 1,
    last_line: int | None = None,
    mirror: Joint | None = None,
    reason: str = "",
) -> Joint:
    """Make a joint with its first revision. Refused when the number is taken.

    mirror: the joint of the other hand, whose stations map to these by label; it is
    linked from both sides. reason: why the flow contradicts the hand, where it does.
    """
    roles.require(by, "define joints")
    if position.type_id != surround.type_id:
        raise Refused(
            _("Both positions must be of one airframe type."), field="surround"
        )
    lines = {"first_line": first_line, "last_line": last_line}
    identity = {"number": number, "name": name, **lines}
    joint = Joint(
        type_id=position.type_id, position=position, surround=surround, **identity
    )
    joint.full_clean(exclude=["current", "mirror"])
    ask_why([flow_doubt(position, requirement.flow_mdeg)], reason)
    content = {
        **identity,
        "position": position.pk,
        "surround": surround.pk,
        "mirror": mirror and mirror.pk,
        "requirement": asdict(requirement),
        "stations": [asdict(station) for station in stations],
        **({"reason": reason} if reason else {}),
    }
    with perform("joint/1", by=by, said=content) as act:
        joint.save(force_insert=True)
        if mirror:
            _link(joint, mirror)
        revision = _release(act, joint, 1, requirement, stations)
        act.result = {"joint": joint.pk, "revision": str(revision.uuid)}
    return joint


def _link(joint: Joint, mirror: Joint) -> None:
    """Set two joints as each other's mirror."""
    other = hold_row(Joint, mirror.pk)
    if other.type_id != joint.type_id:
        raise Refused(
            _("The mirror must be on the same airframe type."), field="mirror"
        )
    if other.mirror_id:
        raise Refused(
            _("%(joint)s mirrors another joint already.") % {"joint": other.number},
            field="mirror",
        )
    joint.mirror, other.mirror = other, joint
    joint.save(update_fields=["mirror"])
    other.save(update_fields=["mirror"])


def revise_joint(
    *,
    by,
    joint: Joint,
    requirement: RequirementDraft,
    stations: list[StationDraft],
    based_on: int,
    reason: str = "",
) -> JointRevision:
    """Release the next revision. Refused when somebody revised it in between, and where
    nothing is changed.

    reason: why the flow contradicts the hand, where it does.
    """
    roles.require(by, "define joints")
    ask_why([flow_doubt(joint.position, requirement.flow_mdeg)], reason)
    content = {
        "joint": joint.pk,
        "based_on": based_on,
        "requirement": asdict(requirement),
        "stations": [asdict(station) for station in stations],
        **({"reason": reason} if reason else {}),
    }
    with perform("joint_revision/1", by=by, said=content) as act:
        joint = hold_row(Joint, joint.pk)
        newest = joint.revisions.order_by("-number").values_list("number", flat=True)
        if newest[0] != based_on:
            raise Refused(
                _("Revision %(number)s was released in the meantime; look at it first.")
                % {"number": newest[0]},
                code="stale",
            )
        if _is_as_it_was(joint.current, requirement, stations):
            raise Refused(_("Nothing was changed."), code="same")
        revision = _release(act, joint, based_on + 1, requirement, stations)
        act.result = {"joint": joint.pk, "revision": str(revision.uuid)}
    return revision


def _is_as_it_was(revision: JointRevision, requirement, stations) -> bool:
    """Whether a revision requires all of this already, however it was typed."""
    names = [
        field.attname
        for field in Station._meta.concrete_fields
        if field.name not in ("id", "entry", "revision", "typed")
    ]
    drafts = [station_of(revision, *pair) for pair in enumerate(stations)]
    values = [[getattr(row, name) for name in names] for row in drafts]
    kept = [
        list(row) for row in revision.stations.order_by("order").values_list(*names)
    ]
    wanted = asdict(requirement)
    return values == kept and wanted == {
        name: getattr(revision, name) for name in wanted
    }


def _release(act, joint, number, requirement, stations) -> JointRevision:
    revision = JointRevision(joint=joint, number=number, **asdict(requirement))
    revision.full_clean(exclude=["entry"])
    act.record(revision)
    for order, draft in enumerate(stations):
        station = station_of(revision, order, draft)
        try:
            act.record(station)
        except IntegrityError as error:  # named by the constraint that refused it
            raise Refused(
                _("Station %(station)s: %(why)s")
                % {"station": draft.label, "why": error},
                field="stations",
            ) from None
    joint.current = revision
    joint.save(update_fields=["current"])
    return revision


def station_of(revision: JointRevision, order: int, draft: StationDraft) -> Station:
    """The station a draft describes, not saved."""
    values = asdict(draft)
    places = zip("xyz", values.pop("place_nm"), strict=True)
    gaps = zip("xyz", values.pop("gap_e9"), strict=True)
    faces = zip("xyz", values.pop("face_e9"), strict=True)
    return Station(
        revision=revision,
        order=order,
        **{f"{axis}_nm": value for axis, value in places},
        **{f"gap_{axis}_e9": value for axis, value in gaps},
        **{f"face_{axis}_e9": value for axis, value in faces},
        **values,
    )
