"""Trim templates as they are recorded, and drawn again from their record."""

from dataclasses import asdict, replace
from datetime import datetime

from qa.models import Check, PlanDefaults, TemplatePrint
from qa.numeric.plan.result import Plan
from qa.queries.issue import local
from qa.queries.plans.edge_templates import TrimPoint, TrimTemplate, templates
from qa.queries.plans.plan_pages import PlanView
from qa.queries.plans.work_orders import across
from qa.rules import overtaking, requirements
from shop.numeric.units import to_mm
from shop.queries.identity import the_shop


def edges_of(view: PlanView, url: str) -> list[dict]:
    """What a template shows, edge by edge, as it is kept; [] when nothing is cut."""
    worked = view.worked
    defaults = PlanDefaults.objects.first() or PlanDefaults()
    edges = []
    for number, joint in enumerate(worked.joints):
        check, fit_up = joint.check, joint.check.fit_up
        surround = fit_up.surround_part
        geometry = requirements.joint_to_plan(
            joint.state.revision,
            joint.state.seam.stations,
            finish=check.finish,
            lost_mm={},
        )
        drawn = templates(
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
            halves=_halves(worked, number),
            line_from=to_mm(defaults.template_line_nm),
            unit=view.unit,
        )
        for template in drawn:
            edge = asdict(template)
            edge.pop("issued_at")
            edge["points"] = [
                [
                    *(round(p.s, 6), p.label, round(p.trim, 6), round(p.bite, 6)),
                    *(p.trim_half, p.bite_half),
                ]
                for p in template.points
            ]
            edge["length"] = round(template.length, 6)
            edge["bends"] = [
                [round(length, 9), round(curvature, 12), round(turn, 12)]
                for length, curvature, turn in template.bends
            ]
            edge["notes"] = list(template.notes)
            edges.append(edge)
    return edges


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
    for _, _, station in worked.stations():
        if station.joint == number:
            bite = worked.bite(station)
            stations.append(replace(station, trim=bite.trim, next_bite=bite.bite))
    return replace(worked.plan, stations=tuple(stations))


def _halves(worked, number: int) -> dict[str, tuple]:
    """What is known of the full trim and of the bite at the stations of one joint."""
    stations = (
        station for _, _, station in worked.stations() if station.joint == number
    )
    bites = {station.label: worked.bite(station) for station in stations}
    return {label: (bite.trim_half, bite.half) for label, bite in bites.items()}


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


def warning_of(row: TemplatePrint) -> str:
    """What is said across a template now, "" while its plan can be worked by: printed
    again it is then the same bytes."""
    if not row.plan:
        return ""
    return across(row.plan, overtaking.in_words(overtaking.changes_of(row.plan)))
