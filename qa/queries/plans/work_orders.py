"""The work order of a plan on record: one page to carry to the airframe."""

from dataclasses import dataclass, replace
from datetime import datetime

from qa.drawing.plan_map import PlanMap
from qa.models import FitPlan
from qa.queries.issue import GENERAL_CAUTIONS, Signature, boxes_of, local
from qa.queries.plans import plan_texts
from qa.queries.plans.plan_pages import PlanView
from qa.rules.planning import WorkedPlan
from shop.queries.identity import the_shop
from shop.queries.signatures import signed_thing


@dataclass(frozen=True)
class WorkRow:
    """One station as text: as measured, what to take off, what is expected after."""

    station: str
    gap_now: str = ""
    flush_now: str = ""
    trim: str = ""
    bite: str = ""
    gap_after: str = ""
    flush_after: str = ""
    state_after: str = ""


@dataclass(frozen=True)
class WorkOrder:
    """A plan to carry out. `steps` are sentences in the order of the work; `state` and
    `outcome` what is expected after it; `release` who let primary structure be cut."""

    shop: str
    number: str
    joint_number: str
    joint_name: str
    joint_revision: str
    part: str
    plan: PlanMap
    steps: tuple[str, ...]
    rows: tuple[WorkRow, ...]
    outcome: str
    state: str
    issued_at: datetime
    issued_text: str = ""
    identity: tuple[tuple[str, str], ...] = ()
    unit: str = "mm"
    release: str = ""
    remains: tuple[str, ...] = ()
    cautions: tuple[str, ...] = GENERAL_CAUTIONS[1:]
    signatures: tuple[Signature, ...] = ()
    creator: str = ""
    url: str = ""
    digest: str = ""
    ledger_head: str = ""
    banner: str = ""
    across: str = ""


def work_order_of(view: PlanView, url: str) -> WorkOrder:
    """One page to carry to the airframe, of a plan on record."""
    worked, check, plan = view.worked, view.worked.check, view.record
    issued_at = plan.entry.received_at
    fit_up = check.fit_up
    drawing = view.drawings[0]
    released = [
        f"{part.serial} released by {plan.label}"
        for part, plan, done in worked.to_release()
        if done
    ]
    rows = tuple(
        WorkRow(
            station=row.name,
            gap_now=row.gap_now,
            flush_now=row.flush_now,
            trim=f"{row.trim} {row.trim_known}".rstrip(),
            bite=f"{row.bite} {row.bite_known}".rstrip(),
            gap_after=row.gap_after,
            flush_after=row.flush_after,
            state_after=_worse(row.gap_state_after, row.flush_state_after),
        )
        for row in view.rows
    )
    return WorkOrder(
        shop=the_shop().name,
        number=plan.label,
        joint_number=fit_up.joint.number,
        joint_name=fit_up.joint.name,
        joint_revision=str(fit_up.revision.number),
        part=f"{fit_up.part.serial} ({fit_up.part.design})",
        plan=replace(drawing.map, move_text=""),
        steps=(*view.steps, *_chance(view)),
        rows=rows,
        outcome=view.outcome,
        state=view.state,
        issued_at=issued_at,
        issued_text=local(issued_at),
        identity=(
            ("Check", check.label),
            ("Airframe", f"{fit_up.airframe.serial}, fit-up {fit_up.number}"),
            (
                "Held",
                f"{check.held_text or 'not stated'}, {check.get_finish_display()}",
            ),
            *_together(worked),
        ),
        unit=view.unit,
        release=", ".join(released),
        remains=tuple(view.impossible),
        cautions=(
            *plan_texts.doubts(worked, view.unit),
            *filter(None, [view.known]),
            *GENERAL_CAUTIONS[1:],
        ),
        creator=plan.entry.author,
        url=url,
        digest=plan.digest,
        signatures=_boxes(plan, rows),
        banner="Cut not released yet" if view.waits_for_release else "",
        across=across(plan, view.overtaken),
    )


def _together(worked: WorkedPlan) -> list[tuple[str, str]]:
    """The plans that were taken with this one, and its place in the order of work."""
    if not worked.shared:
        return []
    names = ", ".join(f"{sister} ({sister.part.serial})" for sister in worked.sisters)
    place = f"number {worked.shared.order} of {worked.shared.count}"
    return [("Together", f"{place}; with {names}" if names else place)]


def _boxes(plan: FitPlan, rows: tuple[WorkRow, ...]) -> tuple[Signature, ...]:
    """Nobody signs for a cut that is not there."""
    signed = signed_thing("plan", plan.pk)
    if not any(row.trim or row.bite for row in rows):
        return boxes_of(signed, performed=Signature("Done and recorded by"))
    return boxes_of(
        signed,
        performed=Signature("Cut and recorded by"),
        released=Signature(
            "Cut released by", note="needed where primary structure is cut"
        ),
    )


def across(plan: FitPlan, overtaken: str) -> str:
    """What is said across a paper of a plan, "" while it can be worked by."""
    ended = getattr(plan, "end", None)
    if ended:
        return f"{ended.get_how_display().capitalize()}: do not work by this"
    return "Overtaken: do not work by this" if overtaken else ""


def _chance(view: PlanView) -> list[str]:
    """How sure the plan is: one page has no room for a box of its own."""
    if not view.probability:
        return []
    return [f"All then conform with a probability of {view.probability}."]


def _worse(gap: str, flush: str) -> str:
    return next((s for s in (gap, flush) if s not in ("conforms", "")), gap or flush)
