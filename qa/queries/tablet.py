"""What a tablet carries: one check whole, so that it can work without a network."""

from qa import rules
from qa.models import Check, CurrentReading, Kind, Reading
from qa.sync import database_id
from shop.models import Person, Role


def check_for_tablet(check: Check) -> dict:
    """Return everything the tablet page shows and judges by, as JSON can hold it."""
    fit_up = check.fit_up
    revision = fit_up.revision
    stations = list(revision.stations.all())
    for station in stations:
        station.revision = revision
    return {
        "database": database_id(),
        "check": str(check.entry_id),
        "label": check.label,
        "state": check.state.state,
        "airframe": {"label": fit_up.airframe.serial},
        "joint": {
            "label": fit_up.joint.number,
            "name": fit_up.joint.name,
            "revision": revision.number,
        },
        "fitup": {
            "uuid": str(fit_up.entry_id),
            "label": f"fit-up {fit_up.number}",
        },
        "part": {"serial": fit_up.part.serial, "design": str(fit_up.part.design)},
        "held": fit_up.held_text,
        "finish": check.finish,
        "instrument": _instrument(check),
        "temperature_c": _celsius(check.temperature_mc),
        "units": revision.units,
        "rule": revision.rule,
        "closed": revision.closed,
        "map": tablet_map(revision, stations),
        "stations": _stations(check, stations),
        "readings": _readings(check, {one.pk: one.label for one in stations}),
    }


def _instrument(check: Check) -> dict | None:
    if not check.instrument:
        return None
    return {
        "code": check.instrument.code,
        "name": check.instrument.name,
        "u_nm": check.u_nm,
    }


def _celsius(milli: int | None) -> str | None:
    if milli is None:
        return None
    return f"{milli / 1000:.1f}"


def _limits(station, kind, check) -> dict | None:
    revision = station.revision
    wanted = rules.requirement(station, kind, check.finish)
    inside = rules.acceptance(wanted, check.u_nm, revision.rule, revision.edition)
    if inside is None:
        return None
    return {
        "low_nm": wanted.low_nm,
        "high_nm": wanted.high_nm,
        "accept_low_nm": inside.low_in,
        "accept_high_nm": inside.high_in,
        "reject_low_nm": inside.low_out,
        "reject_high_nm": inside.high_out,
    }


WIDTH, HEIGHT, MARGIN = 1000, 700, 90


def tablet_map(revision, stations) -> dict:
    """Return the joint as a drawing 1000 wide: y down, stations and where values go."""
    xs = [one.x_nm for one in stations]
    ys = [one.y_nm for one in stations]
    wide, high = max(max(xs) - min(xs), 1), max(max(ys) - min(ys), 1)
    scale = min((WIDTH - 2 * MARGIN) / wide, (HEIGHT - 2 * MARGIN) / high)
    left = (WIDTH - wide * scale) / 2 - min(xs) * scale
    top = (HEIGHT - high * scale) / 2 + max(ys) * scale
    at = [
        (round(left + one.x_nm * scale, 1), round(top - one.y_nm * scale, 1))
        for one in stations
    ]
    path = "M" + " L".join(f"{x} {y}" for x, y in at) + " Z" * revision.closed
    return {"width": WIDTH, "height": HEIGHT, "outline": path, "at": at}


def _stations(check: Check, stations) -> list[dict]:
    drawn = tablet_map(check.fit_up.revision, stations)["at"]
    told = []
    for station, (x, y) in zip(stations, drawn, strict=True):
        # The drawing has y down.
        nx, ny = station.gap_x_e9 / 1e9, -station.gap_y_e9 / 1e9
        told.append(
            {
                "label": station.label,
                "order": station.order,
                "at": [x, y],
                "normal": [round(nx, 4), round(ny, 4)],
                "value_at": [round(x + 52 * nx, 1), round(y + 52 * ny, 1)],
                "gap": _limits(station, Kind.GAP, check),
                "flush": _limits(station, Kind.FLUSH, check),
                "edge": station.edge,
                "laminar": station.laminar,
            }
        )
    return told


def _readings(check: Check, labels: dict[int, str]) -> list[dict]:
    standing = {
        one.reading_id: one.clash
        for one in CurrentReading.objects.filter(fit_check=check)
    }
    rows = (
        Reading.objects.filter(fit_check=check)
        .select_related("entry__by", "supersedes")
        .order_by("id")
    )
    return [
        {
            "act": str(row.entry_id),
            "station": labels[row.station_id],
            "kind": row.kind,
            "outcome": row.outcome,
            "value": row.value,
            "unit": row.unit,
            "goes": row.goes,
            "does_not_go": row.does_not_go,
            "value_nm": row.value_nm,
            "verdict": row.verdict or None,
            "deviation_nm": row.deviation_nm,
            "probability": row.probability,
            "correction_nm": row.correction_nm,
            "by": row.entry.by.username if row.entry.by else "",
            "made_at": row.entry.made_at,
            "supersedes": row.supersedes and str(row.supersedes.entry_id),
            "reason": row.reason,
            "current": row.pk in standing,
            "clash": row.clash or standing.get(row.pk, False),
        }
        for row in rows
    ]


def people_for_tablet() -> list[dict]:
    """Return who may be measuring: the people a tablet can be switched to."""
    rows = Person.objects.filter(is_active=True).exclude(role=Role.VISITOR)
    return [
        {"username": one.username, "name": one.name, "role": one.role} for one in rows
    ]
