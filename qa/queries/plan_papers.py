"""The papers of a plan: the work order, and the trim template as it is recorded."""

from dataclasses import asdict, replace
from datetime import datetime

from qa.models import Check, FitPlan, TemplatePrint
from qa.numeric.plan.result import Plan
from qa.paper import plan_template, trim_template
from qa.paper.trim_layout import TrimPoint, TrimTemplate
from qa.paper.work_order import WorkOrder, WorkRow
from qa.rules import overtaking, requirements
from shop.queries.identity import the_shop

from .plans import PlanView
from .sheets import local


def work_order(view: PlanView, url: str) -> WorkOrder:
    """One page to carry to the airframe, of a plan on record."""
    worked, check, plan = view.worked, view.worked.check, view.record
    issued_at = plan.entry.received_at
    fit_up = check.fit_up
    drawing = view.drawings[0]
    released = [
        f"{part.serial} released by {one.label}"
        for part, one, done in worked.to_release()
        if done
    ]
    rows = tuple(
        WorkRow(
            station=row.name,
            gap_now=row.gap_now,
            flush_now=row.flush_now,
            trim=row.trim,
            bite=row.bite,
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
        ),
        unit=view.unit,
        release=", ".join(released),
        remains=tuple(view.impossible),
        creator=plan.entry.author,
        url=url,
        digest=plan.digest,
        banner="Cut not released yet" if view.waits_for_release else "",
        across=across(plan, view.overtaken),
    )


def across(plan: FitPlan, overtaken: str) -> str:
    """What is said across a paper of a plan, "" while it can be worked by."""
    ended = getattr(plan, "end", None)
    if ended:
        return f"{ended.get_how_display().capitalize()}: do not cut by this"
    return "Overtaken: do not cut by this" if overtaken else ""


def _chance(view: PlanView) -> list[str]:
    """How sure the plan is: one page has no room for a box of its own."""
    if not view.probability:
        return []
    return [f"All then conform with a probability of {view.probability}."]


def _worse(gap: str, flush: str) -> str:
    return next((s for s in (gap, flush) if s not in ("conforms", "")), gap or flush)


def edges_of(view: PlanView, url: str) -> list[dict]:
    """What a template shows, edge by edge, as it is kept; [] when nothing is cut."""
    worked = view.worked
    found = []
    for number, joint in enumerate(worked.joints):
        check, fit_up = joint.check, joint.check.fit_up
        surround = fit_up.surround_part
        geometry = requirements.joint_to_plan(
            joint.state.revision,
            joint.state.seam.stations,
            finish=check.finish,
            lost_mm={},
        )
        drawn = plan_template.templates(
            geometry,
            _bites(worked, number),
            shop=the_shop().name,
            number=f"{view.record.label} {check.label}",
            joint_number=fit_up.joint.number,
            joint_name=fit_up.joint.name,
            names={
                "part": fit_up.part.serial,
                "surround": surround.serial if surround else fit_up.joint.surround.name,
            },
            issued_at=check.entry.received_at,
            release=_released(view, check),
            url=url,
        )
        for one in drawn:
            kept = asdict(one)
            kept.pop("issued_at")
            kept["points"] = [
                [round(p.s, 6), p.label, round(p.trim, 6), round(p.bite, 6)]
                for p in one.points
            ]
            kept["length"] = round(one.length, 6)
            kept["bends"] = [
                [round(length, 9), round(curvature, 12), round(turn, 12)]
                for length, curvature, turn in one.bends
            ]
            kept["notes"] = list(one.notes)
            found.append(kept)
    return found


def _released(view: PlanView, check: Check) -> str:
    """Which primary structure the engineer let be cut, as it is printed."""
    parts = [
        part.serial
        for part, _one, done in view.worked.to_release()
        if done and part.pk in (check.fit_up.part_id, check.fit_up.surround_part_id)
    ]
    return f"cut released: {', '.join(parts)}" if parts else ""


def _bites(worked, number: int) -> Plan:
    """The stations of one joint, with the bites that are asked for."""
    stations = []
    for _, _, one in worked.stations():
        if one.joint == number:
            bite = worked.bite(one)
            stations.append(replace(one, trim=bite.trim, next_bite=bite.bite))
    return replace(worked.plan, stations=tuple(stations))


def templates_of(edges: list[dict], issued_at: datetime) -> tuple[TrimTemplate, ...]:
    """The templates that were kept: the same record draws the same paper."""
    return tuple(
        TrimTemplate(
            **{
                **edge,
                "points": tuple(TrimPoint(*point) for point in edge["points"]),
                "notes": tuple(edge["notes"]),
                # Templates printed before an edge had its shape are straight strips.
                "bends": tuple(map(tuple, edge.get("bends", ()))),
                "issued_at": issued_at,
                "issued_text": local(issued_at),
            }
        )
        for edge in edges
    )


def template_pdf(
    edges: list[dict], issued_at: datetime, paper: str, words: str = ""
) -> bytes:
    """PDF bytes of a template, with a warning across it where its plan does not hold.
    Raises ValueError as qa.paper.trim_template does."""
    return trim_template.render(templates_of(edges, issued_at), paper, across=words)


def printed(row: TemplatePrint) -> bytes:
    """What was printed, drawn again from its record: the same bytes as long as its plan
    can be worked by."""
    words = ""
    if row.plan:
        overtaken = overtaking.in_words(overtaking.changes_of(row.plan))
        words = across(row.plan, overtaken)
    return template_pdf(row.edges, row.issued_at, row.paper, words)
