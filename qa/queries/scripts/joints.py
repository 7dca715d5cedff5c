"""Joints with their stations and limits, and how they stand, as a script reads them."""

from django.db.models import Max

from qa.models import Check, FitUp, Joint
from qa.queries.scripts.checks import CHECK, check_row
from qa.queries.scripts.formats import Rows, length, limits, listed
from qa.rules import remeasure


def joints(after: int | None, most: int) -> Rows:
    rows = Joint.objects.select_related("type", "position", "surround", "current")
    return listed(rows, after, most, _joint)


def joint(uuid) -> dict | None:
    """Return a joint with the stations and limits of its newest revision."""
    rows = Joint.objects.select_related("type", "position", "surround", "current")
    row = rows.filter(uuid=uuid).first()
    if row is None:
        return None
    stations = row.current.stations.order_by("order") if row.current else ()
    return {**_joint(row), "stations": [_station(station) for station in stations]}


def _joint(row: Joint) -> dict:
    revision = row.current
    return {
        "joint": row.uuid,
        "number": row.number,
        "name": row.name,
        "type": row.type.code,
        "part_position": row.position.code,
        "surround_position": row.surround.code,
        "revision": revision.number if revision else None,
        "closed": revision.closed if revision else None,
        "rule": revision.rule if revision else None,
        "source": revision.source if revision else "",
    }


def _station(row) -> dict:
    return {
        "station": row.label,
        "x": length(row.x_nm),
        "y": length(row.y_nm),
        "z": length(row.z_nm),
        "unit": "mm",
        "gap": limits(row.gap_min_nm, row.gap_max_nm),
        "flush": limits(row.flush_min_nm, row.flush_max_nm),
    }


def standing(joint: Joint) -> list[dict]:
    """Return, for each airframe, the newest fit-up of a joint and the newest check of
    it that stands; and what happened since that check began."""
    here = FitUp.objects.filter(joint=joint).order_by().values("airframe")
    newest = here.annotate(newest=Max("pk")).values("newest")
    fit_ups = FitUp.objects.filter(pk__in=newest).select_related("airframe", "part")
    begun = Check.objects.filter(fit_up__joint=joint, state__void=False).order_by()
    newest = begun.values("fit_up__airframe").annotate(newest=Max("pk"))
    related = [f"fit_up__{name}" for name in remeasure.FIT_UP]
    # Asked first: within the other statement PostgreSQL joined every check there is.
    keys = list(newest.values_list("newest", flat=True))
    rows = Check.objects.filter(pk__in=keys)
    checks = list(rows.select_related("entry", *CHECK, *related))
    changed = remeasure.since(checks) if checks else {}
    by_airframe = {check.fit_up.airframe_id: check for check in checks}
    records = []
    for fit_up in sorted(fit_ups, key=lambda fit_up: fit_up.airframe.serial):
        check = by_airframe.get(fit_up.airframe_id)
        since = changed.get(check.pk) if check else None
        records.append(
            {
                "airframe": fit_up.airframe.uuid,
                "serial": fit_up.airframe.serial,
                "fit_up": fit_up.entry_id,
                "part": fit_up.part.serial,
                "check": check and check_row(check),
                "changed_since": list(since.words) if since else [],
            }
        )
    return records


def fit_ups(after: int | None, most: int, joint=None, airframe=None) -> Rows:
    """Return fit-ups: what a check is started in."""
    rows = FitUp.objects.select_related("airframe", "joint", "part", "surround_part")
    if joint:
        rows = rows.filter(joint__uuid=joint)
    if airframe:
        rows = rows.filter(airframe__uuid=airframe)
    return listed(rows, after, most, _fit_up)


def _fit_up(row: FitUp) -> dict:
    return {
        "fit_up": row.entry_id,
        "number": row.number,
        "joint": row.joint.uuid,
        "airframe": row.airframe.uuid,
        "part": row.part.serial,
        "surround_part": row.surround_part and row.surround_part.serial,
        "reason": row.reason,
        "held": row.held_text,
    }
