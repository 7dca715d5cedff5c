"""Fit-ups: each refit, cut, move, shim or swap opens the next number."""

from qa.models import FitUp, FitUpReason, Joint, JointRevision
from shop import roles
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Airframe, Part, PartState

HOLDS = (
    "cleco",
    "hinge",
    "latch",
    "screw",
    "strap",
    "clamp",
    "shim",
    "tape",
    "prop",
    "weight",
    "other",
)


def open_fit_up(
    *,
    by,
    airframe: Airframe,
    joint: Joint,
    part: Part,
    surround_part: Part | None = None,
    revision: JointRevision | None = None,
    reason: str = FitUpReason.FIRST,
    held: list[dict] | None = None,
    motions: list | None = None,
    note: str = "",
    **envelope,
) -> FitUp:
    """Open the next fit-up of a joint on an airframe.

    revision: the requirement the tablet showed; the newest when not given.
    envelope: act, made_at, device, said of the tablet's act.
    """
    roles.require(by, "measure")
    revision = revision or joint.current
    _check(airframe, joint, part, surround_part, revision)
    fit_up = FitUp(
        airframe=airframe,
        joint=joint,
        revision=revision,
        part=part,
        surround_part=surround_part,
        reason=reason,
        held=_held(held or []),
        motions=motions,
        note=note,
    )
    envelope.setdefault("said", _said(fit_up))
    form = envelope.pop("form", "fitup/2")
    with perform(form, by=by, **envelope) as act:
        fit_up.number = next_number(f"fitup:{airframe.pk}:{joint.pk}")
        if fit_up.number > 1 and reason == FitUpReason.FIRST:
            # A tablet without a network cannot know of the first one.
            fit_up.reason = FitUpReason.REFIT
        fit_up.full_clean(exclude=["entry"])
        act.record(fit_up)
        act.result = {"fitup": str(act.id), "label": f"fit-up {fit_up.number}"}
    return fit_up


def _check(airframe, joint, part, surround_part, revision) -> None:
    if airframe.type_id != joint.type_id:
        raise Refused("This joint is on another airframe type.", field="airframe")
    if airframe.line_number < joint.first_line or (
        joint.last_line and airframe.line_number > joint.last_line
    ):
        raise Refused("This joint does not apply to this airframe.", field="airframe")
    if revision.joint_id != joint.pk:
        raise Refused("That revision belongs to another joint.", field="revision")
    if PartState.SCRAPPED in (part.state, surround_part and surround_part.state):
        raise Refused("A scrapped part cannot be fitted.", field="part")
    if surround_part and surround_part.pk == part.pk:
        raise Refused("A part cannot be its own surround.", field="surround_part")


def _held(held: list[dict]) -> list[dict]:
    clean = []
    for item in held:
        if item.get("kind") not in HOLDS:
            raise Refused(
                f"How it was held: use one of {', '.join(HOLDS)}.", field="held"
            )
        count = item.get("count") or 0
        if not isinstance(count, int) or not 0 <= count <= 999:
            raise Refused("A count is a whole number up to 999.", field="held")
        where = str(item.get("where", ""))[:120]
        clean.append({"kind": item["kind"], "where": where, "count": count})
    return clean


def _said(fit_up: FitUp) -> dict:
    return {
        "airframe": str(fit_up.airframe.uuid),
        "joint": str(fit_up.joint.uuid),
        "revision": str(fit_up.revision.uuid),
        "part": str(fit_up.part.uuid),
        "surround_part": fit_up.surround_part and str(fit_up.surround_part.uuid),
        "reason": fit_up.reason,
        "held": fit_up.held,
        "note": fit_up.note,
    }
