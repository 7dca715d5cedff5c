"""Everything that a close-out of an airframe asks, loaded at once: a constant number of
statements, whatever the number of joints, items, parts and characteristics."""

from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import Exists, Max, OuterRef, Q
from django.utils.translation import gettext as _

from qa.models import (
    Characteristic,
    CharacteristicResult,
    CloseOut,
    HoleCheck,
    HolePattern,
    HoleReading,
    Joint,
    Nonconformance,
    OfferedJoint,
    State,
    TrimCut,
)
from qa.rules import acceptance, gauges, history, offering, staleness
from qa.rules.acceptance import Standing
from qa.rules.history import History
from qa.rules.staleness import JointState
from shop.models import (
    Airframe,
    PhotoPin,
    Placement,
    PlacementAct,
    Position,
    TemporaryItem,
)


@dataclass(frozen=True)
class PatternThere:
    """A hole pattern, where it counts, and the newest check of each of its serials with
    what was read in it."""

    pattern: HolePattern
    path: str
    joints: frozenset[int]
    parts: frozenset[int]
    checks: list[tuple[HoleCheck, list[HoleReading]]] = field(default_factory=list)


@dataclass
class Records:
    """Rows of one airframe, by what they hang on."""

    airframe: Airframe
    bays: list[Position]
    joints: list[Joint]
    states: dict[int, JointState]
    standings: dict[int, Standing]
    # Stations with a remark of the acceptance that stands: that remark is an item.
    remarked: dict[int, set[str]]
    items: list[Nonconformance]
    temporary: list[TemporaryItem]
    placements: list[Placement]
    characteristics: list[Characteristic]
    results: dict[int, CharacteristicResult]
    stale: dict[int, str]
    photographed: set[str]
    patterns: list[PatternThere]
    # Keys of the checks, hole checks and results whose instrument was found off since.
    doubted: dict[str, set[int]]
    # The newest of each thing that was ever closed.
    close_outs: list[CloseOut]


def load(airframe: Airframe) -> Records:
    rows = Joint.objects.filter(type=airframe.type_id).exclude(current=None)
    line = airframe.line_number
    related = ("position", "surround", "current", "type")
    joints = [
        row
        for row in rows.select_related(*related).order_by("number")
        if row.first_line <= line <= (row.last_line or line)
    ]
    past = history.load(airframe, joints)
    states = staleness.states(past)
    standings = _standings(airframe, joints)
    placements = list(
        Placement.objects.filter(airframe=airframe, removed_at=None)
        .select_related("part__design", "position", "placed_by_entry")
        .order_by("position__path")
    )
    planned, results = _characteristics(airframe)
    patterns = _patterns(states, placements)
    used = {
        "check": [
            check for state in states.values() for check in offering.checks_of(state)
        ],
        "result": list(results.values()),
        "hole_check": [check for there in patterns for check, _read in there.checks],
    }
    return Records(
        airframe=airframe,
        bays=list(Position.objects.filter(type=airframe.type_id)),
        joints=joints,
        states=states,
        standings=standings,
        remarked=_remarked(standings),
        items=_items(airframe),
        temporary=_temporary(airframe),
        placements=placements,
        characteristics=planned,
        results=results,
        stale=_stale(airframe, past, planned, results),
        photographed=_photographed(results),
        patterns=patterns,
        doubted={kind: set(gauges.found_off(rows)) for kind, rows in used.items()},
        close_outs=_close_outs(airframe),
    )


def _standings(airframe: Airframe, joints: list[Joint]) -> dict[int, Standing]:
    rows = acceptance.newest().filter(offer__airframe=airframe, joint__in=joints)
    rows = list(rows)
    found = acceptance.standings(rows)
    return {row.joint_id: found[row.pk] for row in rows}


def _remarked(standings: dict[int, Standing]) -> dict[int, set[str]]:
    holding = [
        standing.inspection.pk for standing in standings.values() if standing.holds
    ]
    rows = OfferedJoint.objects.filter(inspection__in=holding).values_list(
        "joint", "inspection__remarks__station"
    )
    found = defaultdict(set)
    for joint, station in rows:
        if station is not None:
            found[joint].add(station)
    return found


def _items(airframe: Airframe) -> list[Nonconformance]:
    rows = Nonconformance.objects.filter(airframe=airframe)
    related = ("standing", "fit_check__fit_up", "part", "joint__position")
    return list(rows.select_related(*related).order_by("number"))


def open_items(items: list[Nonconformance]) -> list[Nonconformance]:
    return [item for item in items if item.standing.state != State.CLOSED]


def _temporary(airframe: Airframe) -> list[TemporaryItem]:
    rows = TemporaryItem.objects.filter(airframe=airframe)
    related = ("state", "bay", "entry", "at__joint", "at__pattern")
    return list(rows.select_related(*related).order_by("number"))


def _characteristics(airframe: Airframe):
    """The planned ones, and the newest result of each on this airframe."""
    rows = Characteristic.objects.filter(bay__type=airframe.type_id)
    planned = list(
        rows.exclude(current=None)
        .select_related("bay", "joint", "current")
        .order_by("number")
    )
    here = CharacteristicResult.objects.filter(airframe=airframe)
    later = here.filter(
        revision__characteristic=OuterRef("revision__characteristic"),
        pk__gt=OuterRef("pk"),
    )
    newest = here.filter(~Exists(later)).select_related(
        "revision", "instrument", "entry__by", "entry__confirmation", "part", "fit_up"
    )
    return planned, {row.revision.characteristic_id: row for row in newest}


def _stale(airframe: Airframe, past: History, planned, results) -> dict[int, str]:
    """Why a result does not tell of what is there now, by its key: another part in the
    bay, a cut of that part, or whatever else happened at its joint."""
    acts = defaultdict(int)
    for act in PlacementAct.objects.filter(airframe=airframe).select_related("entry"):
        acts[act.position_id] = max(acts[act.position_id], act.entry.pk)
    parts = {result.part_id for result in results.values()} - {None}
    cut = TrimCut.objects.filter(part__in=parts, depth_nm__gt=0).order_by()
    cuts = dict(cut.values_list("part").annotate(at=Max("entry__pk")))
    joints = {joint.pk: joint for joint in past.joints}
    found = {}
    for wanted in planned:
        result = results.get(wanted.pk)
        if result is None:
            continue
        at = result.entry.pk
        if acts[wanted.bay_id] > at:
            found[result.pk] = _("what sits here was taken out or put in since")
        elif cuts.get(result.part_id, 0) > at:
            found[result.pk] = _("%s was trimmed since") % result.part
        elif wanted.joint_id in joints and _touched(past, joints[wanted.joint_id], at):
            found[result.pk] = _("fitted again or changed since")
        elif result.revision_id != wanted.current_id:
            found[result.pk] = _("revision %s is required now") % wanted.current.number
    return found


def stale_of(planned: Characteristic, airframe: Airframe, result) -> str:
    """The same of one result; "" where it tells of what is there now."""
    joints = [planned.joint] if planned.joint else []
    past = history.load(airframe, joints)
    found = _stale(airframe, past, [planned], {planned.pk: result})
    return found.get(result.pk, "")


def _touched(past: History, joint: Joint, at: int) -> bool:
    own = past.fit_ups.get(joint.pk, [])
    events = past.touches.of(joint, past.airframe.pk, own)
    return any(fit_up.entry.pk > at for fit_up in own) or any(
        event.at > at for event in events
    )


def _photographed(results) -> set[str]:
    """Keys of the results that a photo shows."""
    keys = [str(result.pk) for result in results.values()]
    pins = PhotoPin.objects.filter(subject_kind="result", subject_id__in=keys)
    return set(pins.values_list("subject_id", flat=True))


def _patterns(states: dict[int, JointState], placements) -> list[PatternThere]:
    """The patterns of the joints that were fitted, and of the designs that sit here,
    each with the newest check of each of its serials by its newest revision."""
    sits: dict[int, list[Placement]] = defaultdict(list)
    for placement in placements:
        sits[placement.part.design_id].append(placement)
    rows = HolePattern.objects.exclude(current=None).filter(
        Q(joint__in=states)
        | Q(joint=None, design__in=sits)
        | Q(joint=None, mate__in=sits)
    )
    rows = rows.select_related("joint__position", "current").order_by("number")
    there = []
    for pattern in rows.prefetch_related("current__holes"):
        if pattern.joint:
            fit_up = states[pattern.joint_id].fit_up
            parts = {fit_up.part_id, fit_up.surround_part_id} - {None}
            path, joints = pattern.joint.position.path, {pattern.joint_id}
        else:
            own = [*sits[pattern.design_id], *sits[pattern.mate_id]]
            parts = {placement.part_id for placement in own}
            path = own[0].position.path
            joints = {k for k, one in states.items() if one.fit_up.part_id in parts}
        there.append(PatternThere(pattern, path, frozenset(joints), frozenset(parts)))
    _load_checks(there)
    return there


def _load_checks(there: list[PatternThere]) -> None:
    revisions = [one.pattern.current_id for one in there]
    checks = HoleCheck.objects.filter(revision__in=revisions).select_related(
        "entry", "instrument", "part", "revision"
    )
    newest: dict[tuple[int, int], HoleCheck] = {}
    for check in checks.order_by("number"):
        newest[check.revision.pattern_id, check.part_id] = check
    read = HoleReading.objects.filter(hole_check__in=list(newest.values()))
    readings = defaultdict(list)
    for reading in read.select_related("hole"):
        readings[reading.hole_check_id].append(reading)
    for one in there:
        for part in sorted(one.parts):
            if check := newest.get((one.pattern.pk, part)):
                one.checks.append((check, readings[check.pk]))


def _close_outs(airframe: Airframe) -> list[CloseOut]:
    """The newest of each thing that was ever closed."""
    rows = CloseOut.objects.filter(airframe=airframe).select_related(
        "entry__by", "entry__confirmation", "bay", "joint"
    )
    newest: dict[tuple, CloseOut] = {}
    for close_out in rows.order_by("pk"):
        newest[close_out.bay_id, close_out.joint_id] = close_out
    return list(newest.values())
