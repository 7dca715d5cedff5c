"""The map of a joint in a pack, and what was seen at its stations."""

import hashlib
import json
from dataclasses import asdict, replace

from qa.drawing.joint_map import JointMap
from qa.drawing.profile import Profile
from qa.models import Nonconformance, State
from qa.queries.joints import drawings
from qa.queries.packs.scope import Scope
from qa.rules.offering import Draft
from qa.wording.findings import places


def seen_at(scope: Scope, draft: Draft) -> list[Nonconformance]:
    """What was seen at stations of a joint, not measured, and is not closed."""
    joint = draft.state.joint.pk
    return [
        item
        for item in scope.items
        if item.joint_id == joint
        and item.stations
        and item.fit_check_id is None
        and item.standing.state != State.CLOSED
    ]


def marked(scope: Scope, item: Nonconformance) -> str:
    return f"{scope.name_of(item)} {item.title}: {places(item.stations)}"


def map_of(scope: Scope, draft: Draft, lines, seen: list[Nonconformance]) -> JointMap:
    """What stands at each station, and a mark where something was seen."""
    at = {label for item in seen for label in item.stations}
    state = draft.state
    shown: dict[str, dict] = {}
    for row in lines:
        kind = "gap" if row.designator == "gap" else "flush"
        shown.setdefault(row.location, {})[kind] = row
    drawn = drawings.map_of(
        state.revision,
        state.seam.stations,
        unit=scope.unit,
        title=f"{state.joint.number} {state.joint.name}",
        bare=True,
    )
    stations = []
    for station in drawn.stations:
        lines_there = shown.get(station.label, {})
        values = {}
        for kind in ("gap", "flush"):
            line = lines_there.get(kind)
            values[f"{kind}_text"] = line.result if line else ""
            values[f"{kind}_state"] = line.state if line else ""
        stations.append(replace(station, active=station.label in at, **values))
    return replace(drawn, stations=tuple(stations), limits_text="")


# What a drawing shows of the lines, which tell it themselves.
OF_THE_LINES = {
    *("title", "bar_text", "active", "url", "value", "state", "spread", "after"),
    *("gap_text", "flush_text", "gap_state", "flush_state"),
}


def as_drawn(drawn: JointMap, profile: Profile) -> dict[str, str]:
    """Digests of what both drawings show beside the lines (where each station lies, the
    outline, the limits): what differs there is told as a fact of the joint."""
    return {
        "map_as_drawn": _digest(asdict(drawn)),
        "profile_as_drawn": _digest(asdict(profile)),
    }


def _digest(shown: dict) -> str:
    text = json.dumps(_bare(shown), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _bare(shown):
    if isinstance(shown, dict):
        kept = {name for name in shown if name not in OF_THE_LINES}
        return {name: _bare(shown[name]) for name in kept}
    return [_bare(x) for x in shown] if isinstance(shown, list | tuple) else shown
