"""Everything that a close-out of an airframe asks, loaded at once: a constant number of
statements, whatever the number of joints, items, parts and characteristics."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Exists, OuterRef, Q

from qa.models import (
    Characteristic,
    CharacteristicResult,
    CloseOut,
    FitUp,
    HoleCheck,
    HolePattern,
    HoleReading,
    Joint,
    Nonconformance,
    OfferedJoint,
    State,
)
from qa.rules import (
    acceptance,
    decided,
    gauge_doubts,
    gauge_due,
    history,
    offering,
    staleness,
)
from qa.rules.acceptance import Standing
from qa.rules.gauge_due import Overdue
from qa.rules.history import History
from qa.rules.holes import newest_readings
from qa.rules.result_staleness import placements_of, stale_results
from qa.rules.staleness import JointState
from shop.models import (
    Airframe,
    Part,
    PhotoPin,
    Placement,
    Position,
    TemporaryItem,
)
from shop.rules import carried
from shop.rules.carried import Carried
from shop.rules.lineage import made_from

TEMPORARY_RELATED = ("airframe", "state", "bay", "entry", "at__joint", "at__pattern")


@dataclass(frozen=True)
class PatternThere:
    """A hole pattern in one place: the serials that it goes through there and since
    which entry they are together; the checks in which the newest reading of each hole
    of each of `read_on` was taken, with those readings."""

    pattern: HolePattern
    path: str
    joints: frozenset[int]
    serials: tuple[Part, ...]
    since: int
    read_on: frozenset[int]
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
    # What came with a part that sits here, from another bay or another airframe.
    carried: list[Carried]
    placements: list[Placement]
    # How each serial sits here, itself or in what it was bonded into.
    sits_in: dict[int, Placement]
    characteristics: list[Characteristic]
    results: dict[int, CharacteristicResult]
    stale: dict[int, str]
    photographed: set[str]
    # What fails and was decided to stay so, by the key of a hole reading or a result.
    left_holes: dict[int, Nonconformance]
    left_results: dict[int, Nonconformance]
    patterns: list[PatternThere]
    # Keys of the checks, hole checks and results whose instrument was found off since,
    # lost or damaged then, and of those taken while its calibration was overdue.
    doubted: dict[str, set[int]]
    overdue: dict[str, dict[int, Overdue]]
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
    placements = placements_of(airframe)
    planned, results = _characteristics(airframe)
    patterns = _patterns(past, states, placements)
    sits_in = _sits_in(placements)
    items = _items(airframe, sits_in)
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
        items=items,
        temporary=_temporary(airframe),
        carried=carried.onto(airframe, *TEMPORARY_RELATED),
        placements=placements,
        sits_in=sits_in,
        characteristics=planned,
        results=results,
        stale=stale_results(past, placements, planned, results),
        photographed=_photographed(results),
        left_holes=decided.left_holes(items, _read_in(patterns)),
        left_results=decided.left_results(items, results.values()),
        patterns=patterns,
        doubted={x: set(gauge_doubts.found_off(rows)) for x, rows in used.items()},
        overdue={x: gauge_due.standing_overdue(rows) for x, rows in used.items()},
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


def _sits_in(placements: list[Placement]) -> dict[int, Placement]:
    """{serial: the placement by which it sits here}, also of what those that sit here
    were bonded from; a statement a generation."""
    own = {placement.part_id: placement for placement in placements}
    made = made_from(own)
    found = {
        source: own[whole]
        for source in made.sources
        for whole, cut in made.of(source)
        if whole in own and cut is None
    }
    return found | own


def _items(airframe: Airframe, sits_in: Iterable[int]) -> list[Nonconformance]:
    """Its own, and those of the serials that sit in it wherever they were raised: an
    item travels with its part, also into what that is bonded into."""
    rows = Nonconformance.objects.filter(Q(airframe=airframe) | Q(part__in=sits_in))
    related = ("fit_check__fit_up", "part", "joint__position", "airframe")
    related += decided.RELATED
    return list(rows.select_related(*related).order_by("number", "pk"))


def open_items(items: list[Nonconformance]) -> list[Nonconformance]:
    return [item for item in items if item.standing.state != State.CLOSED]


def _temporary(airframe: Airframe) -> list[TemporaryItem]:
    rows = TemporaryItem.objects.filter(airframe=airframe)
    return list(rows.select_related(*TEMPORARY_RELATED).order_by("number", "pk"))


def _characteristics(airframe: Airframe):
    """The planned ones, and the newest result of each on this airframe."""
    rows = Characteristic.objects.filter(bay__type=airframe.type_id)
    line = airframe.line_number
    related = ("bay", "joint", "current")
    planned = [
        row
        for row in rows.exclude(current=None)
        .select_related(*related)
        .order_by("number")
        if row.joint is None
        or row.joint.first_line <= line <= (row.joint.last_line or line)
    ]
    here = CharacteristicResult.objects.filter(airframe=airframe)
    later = here.filter(
        revision__characteristic=OuterRef("revision__characteristic"),
        pk__gt=OuterRef("pk"),
    )
    newest = here.filter(~Exists(later)).select_related(
        "revision", "instrument", "entry__by", "entry__confirmation", "part", "fit_up"
    )
    return planned, {row.revision.characteristic_id: row for row in newest}


def _photographed(results) -> set[str]:
    """Keys of the results that a photo shows."""
    keys = [str(result.pk) for result in results.values()]
    pins = PhotoPin.objects.filter(subject_kind="result", subject_id__in=keys)
    return set(pins.values_list("subject_id", flat=True))


def _patterns(past: History, states: dict[int, JointState], placements):
    """The patterns of the joints that were fitted, and of the designs that sit here, in
    each of their places."""
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
            there.append(_at_joint(pattern, past.fit_ups[pattern.joint_id]))
        else:
            there += _in_designs(pattern, sits, states)
    _load_checks(there)
    return there


def _at_joint(pattern: HolePattern, fit_ups: list[FitUp]) -> PatternThere:
    """Through the serials fitted last, together since they were first so fitted."""
    last = met = fit_ups[-1]
    for fit_up in reversed(fit_ups):
        if (fit_up.part_id, fit_up.surround_part_id) != (
            last.part_id,
            last.surround_part_id,
        ):
            break
        met = fit_up
    serials = tuple(filter(None, (last.part, last.surround_part)))
    return PatternThere(
        pattern=pattern,
        path=pattern.joint.position.path,
        joints=frozenset({pattern.joint_id}),
        serials=serials,
        since=met.entry.pk,
        read_on=frozenset(part.pk for part in serials),
    )


def _in_designs(pattern: HolePattern, sits, states) -> list[PatternThere]:
    """Once for each serial of the design that it is drilled in. A single one goes with
    those of the other design; of several nobody said with which: each is read itself,
    and what was read on the other design is only looked at for what fails."""
    drilled, mates = sits[pattern.design_id], sits[pattern.mate_id]
    if not drilled or not mates:
        groups = [[one] for one in drilled or mates]
    elif len(drilled) == 1:
        groups = [[*drilled, *mates]]
    else:
        groups = [[one] for one in drilled]
    there = []
    for group in groups:
        there.append(_placed(pattern, group, states, group))
    if drilled and mates and len(drilled) > 1:
        there += [_placed(pattern, [mate], states, ()) for mate in mates]
    return there


def _placed(pattern, placements, states, asked) -> PatternThere:
    parts = frozenset(placement.part_id for placement in placements)
    return PatternThere(
        pattern=pattern,
        path=placements[0].position.path,
        joints=frozenset(
            key for key, state in states.items() if state.fit_up.part_id in parts
        ),
        serials=tuple(placement.part for placement in asked),
        since=max(placement.placed_by_entry.pk for placement in placements),
        read_on=parts,
    )


def _load_checks(there: list[PatternThere]) -> None:
    """The newest reading of each hole of each serial: who reads some holes again says
    nothing of the others. Two statements."""
    revisions = [pattern_there.pattern.current_id for pattern_there in there]
    parts = {part for pattern_there in there for part in pattern_there.read_on}
    checks = HoleCheck.objects.filter(revision__in=revisions, part__in=parts)
    checks = checks.select_related("entry", "instrument", "part", "revision")
    checks = list(checks.order_by("number"))
    stand = defaultdict(list)
    for reading in newest_readings(checks).values():
        stand[reading.hole_check_id].append(reading)
    for pattern_there in there:
        for check in checks:
            at, read = check.part_id in pattern_there.read_on, stand[check.pk]
            if at and check.revision_id == pattern_there.pattern.current_id and read:
                found = sorted(read, key=lambda reading: reading.hole.order)
                pattern_there.checks.append((check, found))


def _read_in(patterns: list[PatternThere]) -> list[HoleReading]:
    return [x for there in patterns for _check, read in there.checks for x in read]


def _close_outs(airframe: Airframe) -> list[CloseOut]:
    """The newest of each thing that was ever closed."""
    rows = CloseOut.objects.filter(airframe=airframe).select_related(
        "entry__by", "entry__confirmation", "bay", "joint"
    )
    newest: dict[tuple, CloseOut] = {}
    for close_out in rows.order_by("pk"):
        newest[close_out.bay_id, close_out.joint_id] = close_out
    return list(newest.values())
