"""Fit-ups: each refit, cut, move, shim or swap opens the next number."""

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from qa.models import Check, FitPlan, FitUp, FitUpReason, Joint, JointRevision
from qa.rules import fit_placement
from shop import roles
from shop.actions.locks import hold_row
from shop.actions.numbers import next_number
from shop.ledger import Refused, perform
from shop.models import Airframe, Part, PartState
from shop.rules.reasons import ask_why

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
    why: str = "",
    plan: FitPlan | None = None,
    **envelope,
) -> FitUp:
    """Open the next fit-up of a joint on an airframe.

    revision: the requirement the tablet showed; the newest when not given.
    surround_part: what sits in the surround's position when not given.
    why: the reason for what is unusual (`seating`), kept; asked for once a serial.
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
        held=clean_held(held or []),
        motions=motions,
        note=note,
        why=why,
        plan=plan,
    )
    envelope.setdefault("said", _content(fit_up))
    form = envelope.pop("form", "fitup/2")
    with perform(form, by=by, **envelope) as act:
        _lock(part, surround_part)
        fit_up.number = next_number(f"fitup:{airframe.pk}:{joint.pk}")
        _seat(fit_up, _last(airframe, joint), why)
        fit_up.full_clean(exclude=["entry"])
        act.record(fit_up)
        act.result = {"fitup": str(act.id), "label": f"fit-up {fit_up.number}"}
    return fit_up


def _lock(*parts: Part | None) -> None:
    """Hold the serials still while it is decided whether they can be fitted."""
    for key in sorted(part.pk for part in parts if part):
        hold_row(Part, key)


def _last(airframe: Airframe, joint: Joint) -> FitUp | None:
    measured = Exists(Check.objects.filter(fit_up=OuterRef("pk")))
    rows = FitUp.objects.filter(airframe=airframe, joint=joint)
    return rows.annotate(measured=measured).order_by("-number").first()


def _reason(fit_up: FitUp, last: FitUp | None) -> str:
    """What opened the fit-up, as far as the sender could know.

    A tablet without a network cannot know of the fit-ups before: "first time on" is a
    swap where another serial was on; what the newest says where nothing was measured in
    it (it was moved, and this is the first look at it); else taken off and refitted.
    """
    if last is None:
        return fit_up.reason
    if last.part_id != fit_up.part_id:
        return FitUpReason.SWAP
    if fit_up.reason != FitUpReason.FIRST:
        return fit_up.reason
    known = not last.measured and last.reason != FitUpReason.FIRST
    return last.reason if known else FitUpReason.REFIT


def _check(airframe, joint, part, surround_part, revision) -> None:
    if airframe.type_id != joint.type_id:
        raise Refused(_("This joint is on another airframe type."), field="airframe")
    if airframe.line_number < joint.first_line or (
        joint.last_line and airframe.line_number > joint.last_line
    ):
        raise Refused(
            _("This joint does not apply to this airframe."), field="airframe"
        )
    if revision.joint_id != joint.pk:
        raise Refused(_("That revision belongs to another joint."), field="revision")
    if PartState.SCRAPPED in (part.state, surround_part and surround_part.state):
        raise Refused(_("A scrapped part cannot be fitted."), field="part")
    if surround_part and surround_part.pk == part.pk:
        raise Refused(_("A part cannot be its own surround."), field="surround_part")


def clean_held(held: list[dict]) -> list[dict]:
    clean = []
    for item in held:
        if item.get("kind") not in HOLDS:
            raise Refused(
                _("How it was held: use one of %(holds)s.")
                % {"holds": ", ".join(HOLDS)},
                field="held",
            )
        count = item.get("count") or 0
        if not isinstance(count, int) or not 0 <= count <= 999:
            raise Refused(_("A count is a whole number up to 999."), field="held")
        where = str(item.get("where", ""))[:120]
        clean.append({"kind": item["kind"], "where": where, "count": count})
    return clean


def _content(fit_up: FitUp) -> dict:
    return {
        "airframe": str(fit_up.airframe.uuid),
        "joint": str(fit_up.joint.uuid),
        "revision": str(fit_up.revision.uuid),
        "part": str(fit_up.part.uuid),
        "surround_part": fit_up.surround_part and str(fit_up.surround_part.uuid),
        "reason": fit_up.reason,
        "held": fit_up.held,
        "note": fit_up.note,
        **({"why": fit_up.why} if fit_up.why else {}),
    }


def _seat(fit_up: FitUp, last: FitUp | None, why: str) -> None:
    """Say beside what the part sits, after which fit-up; the unusual wants a why."""
    fit_up.reason = _reason(fit_up, last)
    fit_up.surround_part, asked = fit_placement.seat(
        fit_up.airframe, fit_up.joint, fit_up.part, fit_up.surround_part
    )
    if last and last.part_id == fit_up.part_id:
        why = why or last.why
    ask_why(asked.values(), why)
    fit_up.questions = ",".join(asked)
    fit_up.why = why.strip() if asked else ""
