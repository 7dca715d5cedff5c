"""Airframes, parts, tools and pulls, as a script reads them."""

from qa.queries.scripts.formats import Rows, grams, listed, moment, thousandths
from shop.models import Airframe, Part, Pull, Tool


def airframes(after: int | None, most: int) -> Rows:
    return listed(Airframe.objects.select_related("type"), after, most, _airframe)


def airframe(uuid) -> dict | None:
    row = Airframe.objects.select_related("type").filter(uuid=uuid).first()
    return row and _airframe(row)


def _airframe(row: Airframe) -> dict:
    return {
        "airframe": row.uuid,
        "serial": row.serial,
        "name": row.name,
        "type": row.type.code,
        "line_number": row.line_number,
    }


def parts(after: int | None, most: int, design: str = "", state: str = "") -> Rows:
    """Return parts, those of one part number, those in one state."""
    rows = Part.objects.select_related("design")
    if design:
        rows = rows.filter(design__number=design)
    if state:
        rows = rows.filter(state=state)
    return listed(rows, after, most, _part)


def part(uuid) -> dict | None:
    row = Part.objects.select_related("design").filter(uuid=uuid).first()
    return row and _part(row)


def _part(row: Part) -> dict:
    return {
        "part": row.uuid,
        "serial": row.serial,
        "design": row.design.number,
        "revision": row.design.revision,
        "name": row.design.name,
        "state": row.state,
        "mass_g": grams(row.mass_mg),
        "mass_is_estimate": row.mass_is_estimate,
    }


def tools(after: int | None, most: int, kind: str = "") -> Rows:
    rows = Tool.objects.select_related("design")
    if kind:
        rows = rows.filter(kind=kind)
    return listed(rows, after, most, _tool)


def tool(code: str) -> dict | None:
    row = Tool.objects.select_related("design").filter(code=code).first()
    return row and _tool(row)


def _tool(row: Tool) -> dict:
    return {
        "code": row.code,
        "name": row.name,
        "kind": row.kind,
        "design": row.design.number if row.design else None,
        "state": row.state,
        "state_reason": row.state_reason,
        "place": row.place,
        "last_pull": row.last_pull,
        "pulls_since_wax": row.pulls_since_wax,
        "pulls_since_service": row.pulls_since_service,
        "service_interval": row.service_interval,
        "due_back": row.due_back,
        "calibration_due": row.calibration_due,
    }


def pulls(after: int | None, most: int, tool: str = "") -> Rows:
    rows = Pull.objects.select_related("tool", "laminate")
    if tool:
        rows = rows.filter(tool__code=tool)
    return listed(rows, after, most, _pull)


def _pull(row: Pull) -> dict:
    return {
        "tool": row.tool.code,
        "number": row.number,
        "laminate": f"{row.laminate.code} {row.laminate.revision}",
        "state": row.state,
        "cure": row.cure or None,
        "temperature_c": thousandths(row.temperature),
        "started_at": moment(row.started_at),
        "closed_at": moment(row.closed_at),
        "release_from": moment(row.release_from),
        "demolded_at": moment(row.demolded_at),
    }
