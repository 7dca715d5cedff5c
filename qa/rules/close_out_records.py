"""Everything that close-outs ask, loaded at once: a constant number of statements,
whatever the number of airframes, joints, items, parts and characteristics."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Exists, OuterRef, Q

from qa.models import (
    Characteristic,
    CharacteristicResult,
    CloseOut,
    HoleReading,
    InspectionRemark,
    Joint,
    Nonconformance,
    State,
)
from qa.rules import (
    acceptance,
    decided,
    gauge_doubts,
    gauge_due,
    history,
    offering,
    placed_patterns,
    staleness,
)
from qa.rules.acceptance import Standing
from qa.rules.gauge_due import Overdue
from qa.rules.placed_patterns import PatternThere
from qa.rules.result_staleness import placements_of, stale_results
from qa.rules.seats import Sits, all_sits_in, places_of, whole_items
from qa.rules.staleness import JointState
from qa.rules.surround_items import OnSurround, on_surround
from shop.models import (
    Airframe,
    EmptyPlace,
    PhotoPin,
    Placement,
    Position,
    TemporaryItem,
)
from shop.rules import carried
from shop.rules.carried import Carried
from shop.rules.empty_places import empty_places

TEMPORARY_RELATED = ("airframe", "state", "bay", "entry", "at__joint", "at__pattern")


@dataclass
class Records:
    """Rows of one airframe, by what they hang on."""

    airframe: Airframe
    bays: list[Position]
    joints: list[Joint]
    states: dict[int, JointState]
    standings: dict[int, Standing]
    # Stations with a remark, by the inspection that holds: that remark is an item.
    remarked: dict[int, set[str]]
    items: list[Nonconformance]
    temporary: list[TemporaryItem]
    # What came with a part that sits here, from another bay or another airframe.
    carried: list[Carried]
    placements: list[Placement]
    # What is meant to stay empty, by the key of the position.
    empty: dict[int, EmptyPlace]
    # How each serial sits here, itself or in what it was bonded or cut into.
    sits_in: dict[int, list[Sits]]
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

    @cached_property
    def on_surrounds(self) -> dict[int, list[OnSurround]]:
        """What is open on the surround of each joint, by the key of the joint."""
        return {
            joint.pk: on_surround(
                joint, self.states.get(joint.pk), self.items, self.sits_in
            )
            for joint in self.joints
        }

    @cached_property
    def named(self) -> dict[int, list[Joint]]:
        """The joints that an item on their surround names, by the key of the item."""
        joints = defaultdict(list)
        for joint in self.joints:
            for there in self.on_surrounds[joint.pk]:
                if there.named:
                    joints[there.item.pk].append(joint)
        return joints

    def places_of(self, item: Nonconformance) -> list[Placement]:
        """Of all that sits here: what may have what an item tells of its part."""
        return places_of(self.sits_in, item)


def load(airframe: Airframe) -> Records:
    return load_all([airframe])[airframe]


def load_all(airframes: Iterable[Airframe]) -> dict[Airframe, Records]:
    """The records of each airframe, in as many statements as those of one."""
    airframes = list(airframes)
    joints = _joints(airframes)
    past = history.load_all(joints)
    states = {airframe: staleness.states(past[airframe]) for airframe in airframes}
    standings = _standings(joints)
    remarked = _remarked(standings)
    placements, empty = placements_of(airframes), empty_places(airframes)
    planned, results = _planned(airframes), _results(airframes)
    patterns = placed_patterns.load(past, states, placements)
    sits_in = all_sits_in(placements)
    items = _items(sits_in)
    stale = stale_results(
        (past[at], placements[at], planned[at], results[at]) for at in airframes
    )
    photographed = _photographed(results)
    decided_at = decided.readings_of(row for rows in items.values() for row in rows)
    doubted, overdue = _gauges(states, results, patterns)
    bays, temporary = _bays(airframes), _temporary(airframes)
    carried_onto, close_outs = _carried(airframes), _close_outs(airframes)
    return {
        at: Records(
            airframe=at,
            bays=bays[at],
            joints=joints[at],
            states=states[at],
            standings=standings[at],
            remarked=remarked,
            items=items[at],
            temporary=temporary[at],
            carried=carried_onto[at],
            placements=placements[at],
            empty=empty[at],
            sits_in=sits_in[at],
            characteristics=planned[at],
            results=results[at],
            stale=stale,
            photographed=photographed,
            left_holes=decided.left_holes(
                items[at], _read_in(patterns[at]), decided_at
            ),
            left_results=decided.left_results(items[at], results[at].values()),
            patterns=patterns[at],
            doubted=doubted,
            overdue=overdue,
            close_outs=close_outs[at],
        )
        for at in airframes
    }


def _split(airframes: Iterable[Airframe], rows, of=None) -> dict[Airframe, list]:
    """Rows by the airframe that each is of."""
    by_airframe: dict[int, list] = {airframe.pk: [] for airframe in airframes}
    for row in rows:
        by_airframe[of(row) if of else row.airframe_id].append(row)
    return {airframe: by_airframe[airframe.pk] for airframe in airframes}


def _joints(airframes: list[Airframe]) -> dict[Airframe, list[Joint]]:
    kinds = {airframe.type_id for airframe in airframes}
    rows = Joint.objects.filter(type__in=kinds).exclude(current=None)
    related = ("position", "surround", "current", "type")
    rows = list(rows.select_related(*related).order_by("number"))
    return {
        airframe: [
            row
            for row in rows
            if row.type_id == airframe.type_id and _on(row, airframe)
        ]
        for airframe in airframes
    }


def _on(joint: Joint, airframe: Airframe) -> bool:
    line = airframe.line_number
    return joint.first_line <= line <= (joint.last_line or line)


def _bays(airframes: list[Airframe]) -> dict[Airframe, list[Position]]:
    kinds = {airframe.type_id for airframe in airframes}
    rows = list(Position.objects.filter(type__in=kinds))
    return {
        airframe: [row for row in rows if row.type_id == airframe.type_id]
        for airframe in airframes
    }


def _gauges(states, results, patterns) -> tuple[dict[str, set], dict[str, dict]]:
    """(found off since, overdue when used): keys by what was measured."""
    used = {
        "check": [
            check
            for own in states.values()
            for state in own.values()
            for check in offering.checks_of(state)
        ],
        "result": [result for own in results.values() for result in own.values()],
        "hole_check": [
            check
            for own in patterns.values()
            for there in own
            for check, _read in there.checks
        ],
    }
    return (
        {kind: set(gauge_doubts.found_off(rows)) for kind, rows in used.items()},
        {kind: gauge_due.standing_overdue(rows) for kind, rows in used.items()},
    )


def _standings(joints: dict[Airframe, list[Joint]]) -> dict:
    """{airframe: {joint: where it stands}} of the joints of each."""
    every = {joint.pk for own in joints.values() for joint in own}
    here = {"offer__airframe__in": list(joints), "joint__in": every}
    rows = list(acceptance.newest().filter(**here))
    standings = acceptance.standings(rows)
    own = _split(joints, rows, lambda row: row.offer.airframe_id)
    return {
        airframe: {
            row.joint_id: standings[row.pk]
            for row in own[airframe]
            if row.joint_id in {joint.pk for joint in wanted}
        }
        for airframe, wanted in joints.items()
    }


def _remarked(standings) -> dict[int, set[str]]:
    """The stations with a remark, by the key of the inspection that holds."""
    holding = [
        standing.inspection.pk
        for own in standings.values()
        for standing in own.values()
        if standing.holds
    ]
    rows = InspectionRemark.objects.filter(inspection__in=holding)
    remarked = defaultdict(set)
    for inspection, station in rows.values_list("inspection", "station"):
        remarked[inspection].add(station)
    return remarked


def _items(sits_in: dict[Airframe, dict]) -> dict[Airframe, list[Nonconformance]]:
    """Its own, and those of the serials that sit in it wherever they were raised: an
    item travels with its part, also into what that is bonded or cut into."""
    parts = {part for rows in sits_in.values() for part in rows}
    rows = Nonconformance.objects.filter(
        Q(airframe__in=list(sits_in)) | Q(part__in=parts)
    )
    rows = whole_items(rows)
    return {
        airframe: [
            item
            for item in rows
            if item.airframe_id == airframe.pk or places_of(own, item)
        ]
        for airframe, own in sits_in.items()
    }


def open_items(items: list[Nonconformance]) -> list[Nonconformance]:
    return [item for item in items if item.standing.state != State.CLOSED]


def _temporary(airframes: list[Airframe]) -> dict[Airframe, list[TemporaryItem]]:
    rows = TemporaryItem.objects.filter(airframe__in=airframes)
    rows = rows.select_related(*TEMPORARY_RELATED).order_by("number", "pk")
    return _split(airframes, rows)


def _carried(airframes: list[Airframe]) -> dict[Airframe, list[Carried]]:
    rows = carried.onto(airframes, *TEMPORARY_RELATED)
    return _split(airframes, rows, lambda load: load.placement.airframe_id)


def _planned(airframes: list[Airframe]) -> dict[Airframe, list[Characteristic]]:
    kinds = {airframe.type_id for airframe in airframes}
    rows = Characteristic.objects.filter(bay__type__in=kinds).exclude(current=None)
    related = ("bay", "joint", "current")
    rows = list(rows.select_related(*related).order_by("number"))
    return {
        airframe: [
            row
            for row in rows
            if row.bay.type_id == airframe.type_id
            and (row.joint is None or _on(row.joint, airframe))
        ]
        for airframe in airframes
    }


def _results(airframes: list[Airframe]) -> dict[Airframe, dict]:
    """The newest result of each characteristic on each airframe."""
    here = CharacteristicResult.objects.filter(airframe__in=airframes)
    later = here.filter(
        revision__characteristic=OuterRef("revision__characteristic"),
        airframe=OuterRef("airframe"),
        pk__gt=OuterRef("pk"),
    )
    newest = here.filter(~Exists(later)).select_related(
        "revision", "instrument", "entry__by", "entry__confirmation", "part", "fit_up"
    )
    return {
        airframe: {row.revision.characteristic_id: row for row in rows}
        for airframe, rows in _split(airframes, newest).items()
    }


def _photographed(results) -> set[str]:
    """Keys of the results that a photo shows."""
    keys = [str(result.pk) for own in results.values() for result in own.values()]
    pins = PhotoPin.objects.filter(subject_kind="result", subject_id__in=keys)
    return set(pins.values_list("subject_id", flat=True))


def _read_in(patterns: list[PatternThere]) -> list[HoleReading]:
    return [x for there in patterns for _check, read in there.checks for x in read]


def _close_outs(airframes: list[Airframe]) -> dict[Airframe, list[CloseOut]]:
    """The newest of each thing that was ever closed."""
    rows = CloseOut.objects.filter(airframe__in=airframes).select_related(
        "entry__by", "entry__confirmation", "bay", "joint"
    )
    newest: dict[tuple, CloseOut] = {}
    for row in rows.order_by("pk"):
        newest[row.airframe_id, row.bay_id, row.joint_id] = row
    return _split(airframes, newest.values())
