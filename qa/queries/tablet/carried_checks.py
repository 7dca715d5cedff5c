"""What a tablet carries: one check whole, so that it can work without a network."""

from itertools import pairwise

from django.db.models import F
from django.urls import reverse
from django.utils.translation import gettext as _

from qa.drawing.projection import view_from_outside
from qa.models import (
    Check,
    CheckState,
    CurrentReading,
    FitUp,
    Instrument,
    Kind,
    Nonconformance,
    PatternHole,
    Reading,
    State,
    Station,
)
from qa.queries.checks.photos import photographed
from qa.queries.joints import drawings, earlier_airframes
from qa.queries.plans.plan_records import for_tablet
from qa.queries.tablet import hints as tablet_hints
from qa.rules import gauges, judging, remeasure, requirements
from qa.rules.station_places import places_of
from shop.models import Person, Role
from shop.numeric.units import MILLI
from shop.queries.incarnations import database_id


def check_for_tablet(check: Check) -> dict:
    """Return everything the tablet page shows and judges by, as JSON can hold it."""
    fit_up = check.fit_up
    revision = fit_up.revision
    stations = _stations_of(revision)
    drawn = tablet_map(revision, stations)
    changed = remeasure.since([check]).get(check.pk)
    now = tablet_hints.now_of(check)
    name, label = _called(check)
    sent = {
        "database": database_id(),
        "check": str(check.entry_id),
        "label": label,
        "state": check.state.state,
        "airframe": {"label": fit_up.airframe.serial},
        "joint": {
            "label": fit_up.joint.number,
            "name": name,
            "revision": revision.number,
        },
        "fitup": {"uuid": str(fit_up.entry_id), "label": f"fit-up {fit_up.number}"},
        "part": {"serial": fit_up.part.serial, "design": str(fit_up.part.design)},
        "held": check.held_text,
        "finish": check.finish,
        "instrument": _instrument(check),
        "temperature_c": _celsius(check.temperature_mc),
        "units": revision.units,
        "rule": revision.rule,
        "closed": revision.closed,
        "stations": _stations(check, stations, drawn.pop("stations")),
        "map": drawn,
        "first": tablet_hints.first_to_measure(now),
        "beside": tablet_hints.fields(now, check),
        "earlier": _earlier(fit_up),
        "photos": photographed(check, [station.label for station in stations]),
        "since": changed.why if changed else "",
        "plan": for_tablet(fit_up.airframe, fit_up.part_id),
        "readings": _readings(
            check, {station.pk: station.label for station in stations}
        ),
        "holes": holes_to_show([fit_up.joint_id]).get(fit_up.joint_id, []),
        "defects": defects_to_show([fit_up.joint_id], [fit_up.airframe_id]).get(
            (fit_up.joint_id, fit_up.airframe_id), []
        ),
    }
    if check.state.state == CheckState.State.FINISHED:
        sent["proposal"] = judging.proposal(check)
        items = check.nonconformances.order_by("number")
        sent["nonconformances"] = [_nonconformance(item) for item in items]
    return sent


def _called(check: Check) -> tuple[str, str]:
    """What the joint and the check are called over the map and in the list; that
    nothing more is taken with its instrument stands first, for the line over the map is
    cut where it ends, and why beside the check, before somebody has measured."""
    name = check.fit_up.joint.name
    why = gauges.refusal(check.instrument)
    if not why or check.state.state != CheckState.State.OPEN:
        return name, check.label
    values = {"code": check.instrument, "check": check.label, "why": why}
    values["name"] = name or check.fit_up.joint.number
    label = _("%(check)s · no readings with %(code)s: %(why)s") % values
    return _("%(code)s refused · %(name)s") % values, label


def _stations_of(revision) -> list[Station]:
    stations = list(revision.stations.all())
    for station in stations:
        station.revision = revision
    return stations


def _earlier(fit_up: FitUp) -> dict | None:
    """What earlier airframes needed, at the first fit-up of a later one."""
    joint, airframe = fit_up.joint, fit_up.airframe
    page = earlier_airframes.earlier_page(joint, airframe, fit_up.revision.units)
    return page and earlier_airframes.for_tablet(page, joint, airframe)


def holes_to_show(joints) -> dict[int, list[dict]]:
    """Return by joint its hole patterns, for photos: {id, label, holes}."""
    rows = PatternHole.objects.filter(
        revision__pattern__joint__in=joints,
        revision=F("revision__pattern__current"),
    ).values_list(
        *("revision__pattern__joint", "revision__pattern", "label"),
        *("revision__pattern__number", "revision__pattern__name"),
    )
    patterns_of: dict = {}
    for joint, key, hole, number, name in rows.order_by("revision__pattern", "order"):
        patterns = patterns_of.setdefault(joint, {})
        label = f"{number} {name}"
        pattern = patterns.setdefault(key, {"id": key, "label": label, "holes": []})
        pattern["holes"].append(hole)
    return {joint: list(patterns.values()) for joint, patterns in patterns_of.items()}


def defects_to_show(joints, airframes) -> dict[tuple[int, int], list[dict]]:
    """Return by joint and airframe the nonconformances not closed yet, for photos."""
    rows = Nonconformance.objects.filter(joint__in=joints, airframe__in=airframes)
    defects: dict = {}
    for row in rows.exclude(standing__state=State.CLOSED).order_by("number"):
        defect = {"id": row.pk, "label": row.label, "title": row.title}
        defects.setdefault((row.joint_id, row.airframe_id), []).append(defect)
    return defects


def _instrument(check: Check) -> dict | None:
    if not check.instrument:
        return None
    return {
        "code": check.instrument.code,
        "name": check.instrument.name,
        "u_nm": check.u_nm,
        **reach_of(check.instrument, check.reach),
    }


def reach_of(instrument: Instrument, reach: tuple[int | None, int | None]) -> dict:
    """What an instrument reads from and to, as the tablet holds a value against it; in
    words too."""
    words = gauges.reach_words(instrument, reach, "mm")
    return {"range_nm": list(reach), "reads": words} if words else {}


def _celsius(milli: int | None) -> str | None:
    if milli is None:
        return None
    return f"{milli / MILLI:z.1f}"


def _limits(station, kind, check) -> dict | None:
    return limits(station, kind, check.finish, check.u_nm)


def limits(station, kind, finish, u_nm) -> dict | None:
    """Return the integers a tablet judges by; errors as rules.acceptance."""
    wanted = requirements.requirement(station, kind, finish)
    return judged_by(wanted, u_nm, station.revision)


def judged_by(wanted: requirements.Requirement, u_nm, revision) -> dict | None:
    """The same of a requirement that several stations may have in common."""
    inside = requirements.acceptance(wanted, u_nm, revision.rule, revision.edition)
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
# Sizes of the values beside the stations, and what one needs in that unit: across,
# with its sign and five wide figures; down, gap and flushness under each other.
LARGEST, SMALLEST, ACROSS, DOWN = 22, 13, 4.1, 2.4
# The sine from which a seam counts as running along an axis.
STEEP = 0.7


def tablet_map(revision, stations) -> dict:
    """Return the joint as a drawing 1000 wide: y down, and how each station lies."""
    at, gap, face = places_of(stations)
    view = view_from_outside(at, face)
    seen, normals = view.points(at), view.directions(gap)
    low, high = seen.min(axis=0), seen.max(axis=0)
    span = [max(float(size), 1.0) for size in high - low]
    scale = min((WIDTH - 2 * MARGIN) / span[0], (HEIGHT - 2 * MARGIN) / span[1])
    middle = (low + high) / 2
    places = [
        (
            round(WIDTH / 2 + scale * float(x - middle[0]), 1),
            round(HEIGHT / 2 - scale * float(y - middle[1]), 1),
        )
        for x, y in seen
    ]
    path = "M" + " L".join(f"{x} {y}" for x, y in places) + " Z" * revision.closed
    placed = [
        _placed(station, place, normal)
        for station, place, normal in zip(stations, places, normals, strict=True)
    ]
    return {
        "width": WIDTH,
        "height": HEIGHT,
        "outline": path,
        "surround": "",
        "flow": _flow(revision),
        "text": _text_size(placed),
        "stations": placed,
    }


def _text_size(placed: list[dict]) -> float:
    """Return how high values may be so that those of neighbors stand apart.

    Above and below the seam they stand side by side, left and right of it in a column.
    """
    size = LARGEST
    for station, other in pairwise([*placed, placed[0]]):
        for axis, needs in enumerate((ACROSS, DOWN)):
            # The part of the normal across the axis along which they stand in a row.
            sides = station["normal"][1 - axis], other["normal"][1 - axis]
            if min(sides) > STEEP or max(sides) < -STEEP:
                apart = abs(station["at"][axis] - other["at"][axis])
                size = min(size, apart / needs) if apart else size
    return round(max(size, SMALLEST), 1)


def _placed(station, place, normal) -> dict:
    x, y = place
    # The drawing has y down.
    nx, ny = float(normal[0]), -float(normal[1])
    return {
        "label": station.label,
        "order": station.order,
        "at": [x, y],
        "normal": [round(nx, 4), round(ny, 4)],
        "edge": station.edge,
        "laminar": station.laminar,
    }


def _flow(revision) -> dict | None:
    """Return the arrow of the flow: from x, y along dx, dy."""
    direction = drawings.flow(revision)
    if direction is None:
        return None
    dx, dy = direction
    return {"x": WIDTH / 2, "y": HEIGHT / 2, "dx": dx, "dy": -dy}


def _stations(check: Check, stations, drawn: list[dict]) -> list[dict]:
    return [
        {
            **placed,
            "gap": _limits(station, Kind.GAP, check),
            "flush": _limits(station, Kind.FLUSH, check),
        }
        for station, placed in zip(stations, drawn, strict=True)
    ]


def _readings(check: Check, labels: dict[int, str]) -> list[dict]:
    current = list(CurrentReading.objects.filter(fit_check=check))
    standing = {current_reading.reading_id for current_reading in current}
    # A reading keeps the mark that it once clashed; a choice settles the place.
    unsettled = {
        (current_reading.station_id, current_reading.kind)
        for current_reading in current
        if current_reading.clash
    }
    rows = (
        Reading.objects.filter(fit_check=check)
        .select_related("entry__by", "entry__confirmation", "supersedes")
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
            "authorship": row.entry.authorship,
            "late": row.late,
            "supersedes": row.supersedes and str(row.supersedes.entry_id),
            "reason": row.reason,
            "current": row.pk in standing,
            "clash": (row.station_id, row.kind) in unsettled
            and (row.clash or row.pk in standing),
        }
        for row in rows
    ]


def people_for_tablet() -> list[dict]:
    """Return who may be measuring: the people a tablet can be switched to."""
    rows = Person.objects.filter(is_active=True).exclude(role=Role.VISITOR)
    return [
        {"username": row.username, "name": row.name, "role": row.role} for row in rows
    ]


def _nonconformance(item) -> dict:
    return {
        "id": item.pk,
        "label": item.label,
        "url": reverse("nonconformance", args=[item.pk]),
        "kind": item.kind,
        "stations": item.stations,
    }
