"""A joint as its drawing wants it: from the records, the same for screen and paper."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from qa.drawing import joint_map, profile, svg
from qa.drawing.joint_map import JointMap, MapStation
from qa.drawing.profile import Profile, ProfilePoint
from qa.drawing.projection import view_from_outside
from qa.models import JointRevision, Kind, Outcome, Reading, Rule, Station
from qa.rules import requirements
from qa.rules.station_places import along_seam, places_of, point_mm
from qa.wording import lengths
from shop.numeric.units import MILLI
from shop.wording import states


def state_of(reading: Reading | None, wanted: requirements.Requirement) -> str:
    """Return the state a reading is drawn with ("" where nothing is required)."""
    if reading is None or reading.outcome == Outcome.CLEARED:
        return "" if wanted.empty else "not_measured"
    if reading.outcome == Outcome.SKIPPED:
        return "skipped"
    return states.key_of(reading.verdict, reading.deviation_nm)


Standing = Mapping[tuple[int, str], Reading]


def map_of(
    revision: JointRevision,
    stations: Sequence[Station],
    standing: Standing | None = None,
    *,
    finish: str = "finished",
    u_nm: int | None = None,
    title: str = "",
    url: str = "",
    unit: str = "",
    bare: bool = False,
) -> JointMap:
    """Return the map of a revision, with the readings that stand, if any.

    standing: by (station key, kind). u_nm: of the check, for what is accepted. url:
    where a station leads, its label appended. bare: only the stations, for a
    requirement or a blank sheet.
    """
    standing, unit = standing or {}, unit or revision.units
    at, gap, face = places_of(stations)
    view = view_from_outside(at, face)
    seen, normal = view.points(at), view.directions(gap)
    drawn = []
    for row, station in enumerate(stations):
        station.revision = revision
        shown = _shown(station, standing, finish, unit, bare)
        drawn.append(
            MapStation(
                label=station.label,
                x=float(seen[row, 0]),
                y=float(seen[row, 1]),
                nx=float(normal[row, 0]),
                ny=float(normal[row, 1]),
                url=f"{url}{station.label}" if url else "",
                **shown,
            )
        )
    return JointMap(
        title=title or revision.joint.name,
        stations=tuple(drawn),
        closed=revision.closed,
        part_inside=revision.part_inside,
        flow=flow(revision),
        part_name=revision.joint.position.name,
        limits_text=limits_hint(stations, unit, finish, u_nm),
        attach=_attach(revision, view, at),
    )


def _shown(station: Station, standing: Standing, finish, unit, bare: bool) -> dict:
    """State and value of both characteristics of a station, as MapStation has them."""
    shown = {}
    for kind in Kind.values:
        reading = standing.get((station.pk, kind))
        wanted = requirements.requirement(station, kind, finish)
        shown[f"{kind}_state"] = "" if bare else state_of(reading, wanted)
        shown[f"{kind}_text"] = lengths.on_map(
            reading.value_nm if reading else None,
            unit,
            signed=kind == Kind.FLUSH,
            beyond=reading.deviation_nm if reading else None,
        )
    return shown


def _attach(revision, view, at) -> tuple[tuple[str, float, float], ...]:
    """What holds the part, as the picture sees it."""
    points = revision.attach_points or []
    if not points:
        return ()
    height = float(at[:, 2].mean())
    seen = view.points(np.array([[*point_mm(point), height] for point in points]))
    return tuple(
        (point["name"], float(x), float(y))
        for point, (x, y) in zip(points, seen, strict=True)
    )


def flow(revision: JointRevision) -> tuple[float, float] | None:
    """Return the direction of the flow in the picture."""
    if revision.flow_mdeg is None:
        return None
    angle = math.radians(revision.flow_mdeg / MILLI)
    return round(math.cos(angle), 6), round(math.sin(angle), 6)


def limits_hint(
    stations: Sequence[Station],
    unit: str,
    finish: str = "finished",
    u_nm: int | None = None,
) -> str:
    """Return the limits in one line when all stations share them: those that govern
    where the uncertainty is known (there is no room for both)."""
    hints = []
    for kind, word in ((Kind.GAP, "gap"), (Kind.FLUSH, "flush")):
        wanted = {
            requirements.requirement(station, kind, finish) for station in stations
        }
        if len(wanted) > 1:
            hints.append(f"{word} limits differ by station")
            continue
        (limits,) = wanted
        if limits.empty:
            continue
        revision = stations[0].revision
        text = lengths.limits(*limits.limits, unit)
        if u_nm and revision.rule == Rule.GUARDED:
            inside = requirements.acceptance(
                limits, u_nm, revision.rule, revision.edition
            ).inside
            drawn_in = lengths.accepted(limits.limits, inside, unit)
            text = f"accepted {drawn_in}" if drawn_in else text
        hints.append(f"{word} {text}")
    return ", ".join(hints)


def profile_of(
    revision: JointRevision,
    stations: Sequence[Station],
    standing: Standing,
    *,
    finish: str,
    u_nm: int | None,
    unit: str,
) -> Profile:
    """Return gap and flushness along the seam with their limits, in the unit shown."""
    per = 1e6 if unit == "mm" else 25.4e6
    s, length = along_seam(stations, revision.closed)
    points = {kind: [] for kind in Kind.values}
    for row, station in enumerate(stations):
        station.revision = revision
        for kind in Kind.values:
            reading = standing.get((station.pk, kind))
            wanted = requirements.requirement(station, kind, finish)
            u = reading.u_nm if reading and reading.u_nm else u_nm
            inside = None
            if u or revision.rule != Rule.GUARDED:
                inside = requirements.acceptance(
                    wanted, u, revision.rule, revision.edition
                )
            points[kind].append(
                ProfilePoint(
                    label=station.label,
                    s=s[row],
                    value=_in(reading and reading.value_nm, per),
                    low=_in(wanted.low_nm, per),
                    high=_in(wanted.high_nm, per),
                    low_in=_in(inside and inside.low_in, per),
                    high_in=_in(inside and inside.high_in, per),
                    state=state_of(reading, wanted),
                    spread=2 * (u or 0) / per,
                )
            )
    return Profile(
        title=revision.joint.name,
        unit=unit,
        length=length,
        gap=tuple(points[Kind.GAP]),
        flush=tuple(points[Kind.FLUSH]),
        bar_text="bars: expanded uncertainty, k = 2" if u_nm else "",
    )


def _in(nm: int | None, per: float) -> float | None:
    return None if nm is None else nm / per


def map_svg(joint: JointMap, prefix: str = "map", layout=None) -> str:
    return svg.render(joint_map.build(joint, layout), prefix=prefix)


def profile_svg(drawn: Profile, prefix: str = "profile") -> str:
    return svg.render(profile.build(drawn), prefix=prefix)
