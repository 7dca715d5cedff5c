"""What still stands between a joint, a bay or an airframe and closed, worked out anew
each time from what is on record.

Nothing is closed by a tolerance of ours: a line stands until what it asks for is so.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from qa.models import Joint, Nonconformance, Verdict
from qa.rules import gauges, offering
from qa.rules.characteristics import MEASURED
from qa.rules.close_out_records import Records, open_items
from qa.rules.gauge_due import overdue_words
from qa.rules.holes import fails, lacks_size
from qa.rules.placed_patterns import PatternThere
from qa.wording import close_outs as words
from qa.wording.offers import SHORT
from shop.models import (
    Airframe,
    EmptyPlace,
    PartState,
    Position,
    TemporaryItem,
    TemporaryKind,
)
from shop.rules import temporary


@dataclass(frozen=True)
class Scope:
    """What is closed: a joint, a bay with what lies below it, or the airframe whole."""

    airframe: Airframe
    bay: Position | None = None
    joint: Joint | None = None

    def has(self, path: str, joints: Iterable[int]) -> bool:
        if self.joint:
            return self.joint.pk in joints
        if self.bay:
            return self.bay.covers(path)
        return True

    @property
    def name(self) -> str:
        if self.joint:
            return f"{self.joint.number} {self.joint.name}"
        return self.bay.path if self.bay else self.airframe.serial


@dataclass(frozen=True)
class Stand:
    """One thing that stands between here and closed: what and why, and where its page
    is (a url name with its arguments). `path` and `joints` say where it counts."""

    kind: str
    what: str
    why: str
    link: tuple
    path: str
    joints: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Gathered:
    """An airframe's records, and everything that stands there."""

    records: Records
    stands: list[Stand]

    def of(self, scope) -> list[Stand]:
        """What stands in a scope (anything that `has` a place), each thing once, in
        however many of its bays it counts."""
        once: dict[tuple, Stand] = {}
        for stand in self.stands:
            if scope.has(stand.path, stand.joints):
                once.setdefault((stand.kind, stand.what, stand.why, stand.link), stand)
        return list(once.values())


def gather(records: Records) -> Gathered:
    stands = [
        *_joints(records),
        *_holes(records),
        *_characteristics(records),
        *_items(records),
        *_temporary(records),
        *_parts(records),
    ]
    order = {kind: row for row, kind in enumerate(words.KINDS)}
    return Gathered(records, sorted(stands, key=lambda stand: order[stand.kind]))


def _joints(records: Records) -> list[Stand]:
    stands = []
    for joint in records.joints:
        at = joint.position.path, frozenset({joint.pk})
        what = f"{joint.number} {joint.name}"
        page = ("joint_on_airframe", joint.pk, records.airframe.pk)
        standing = records.standings.get(joint.pk)
        if joint.pk not in records.states:
            never = _("never fitted on this airframe")
            stands.append(Stand("acceptance", what, never, page, *at))
            continue
        if not (standing and standing.holds):
            offer = standing and standing.offered
            link = ("offered_joint", offer.offer.number, offer.order) if offer else page
            words_of_state = words.not_accepted(standing and standing.state)
            words_of_state += f": {standing.why}" if standing and standing.why else ""
            stands.append(Stand("acceptance", what, words_of_state, link, *at))
        stands += [Stand(*row, page, *at) for row in _measured(records, joint, what)]
    return stands


def _measured(records: Records, joint: Joint, what: str):
    """(kind, what, why) of the stations and instruments of a joint; what the acceptance
    that holds has a remark at is an item, and told as one."""
    state = records.states[joint.pk]
    own = [item for item in records.items if item.airframe_id == records.airframe.pk]
    items = [item for item in own if item.joint_id == joint.pk]
    checks = offering.checks_of(state)
    standing = records.standings.get(joint.pk)
    holds = standing and standing.holds
    remarked = records.remarked.get(standing.inspection.pk, set()) if holds else set()
    body = {"lines": offering.lines_of(state, items)}
    by_state: dict[str, list[str]] = {}
    for line in offering.open_lines(body):
        if line["station"] not in remarked:
            label = f"{line['station']} {line['kind']}"
            by_state.setdefault(line["state"], []).append(label)
    for key in words.STATIONS:
        if key in by_state:
            yield "stations", what, words.stations(key, by_state[key])
    doubts = records.doubted["check"]
    # A remark on the joint whole is of what it lacked when it was offered, no more.
    seen = standing.offered.content["short"] if "" in remarked else ()
    for code in offering.short_of(state, checks, doubts):
        if code not in seen:
            kind = "instrument" if code == "instrument" else "stations"
            yield kind, what, str(SHORT[code])
    for check in checks:
        if late := records.overdue["check"].get(check.pk):
            sentence = overdue_words(check.instrument.code, late)
            yield "instrument", what, f"{check.label}: {sentence}"


def _holes(records: Records) -> list[Stand]:
    """Every hole of a pattern is read wherever it is, and none of them does not
    conform but those that were decided to stay so."""
    stands = []
    for there in records.patterns:
        pattern, at = there.pattern, (there.path, there.joints)
        if not _all_read(there):
            serials = ", ".join(part.serial for part in there.serials)
            why = f"{serials}: {_('not every hole was measured')}"
            page = ("hole_pattern", pattern.pk)
            stands.append(Stand("holes", str(pattern), why, page, *at))
        for check, read in there.checks:
            link = ("hole_check", check.entry_id)
            failing = [
                reading.hole.label
                for reading in read
                if fails(reading) and reading.pk not in records.left_holes
            ]
            if failing:
                why = words.holes(check.label, failing)
                stands.append(Stand("holes", str(pattern), why, link, *at))
            sizes = [hole.size_nm for hole in read if hole.size_nm is not None]
            doubts = _doubt(records, "hole_check", check, check.label, sizes)
            stands += [
                Stand("instrument", str(pattern), why, link, *at) for why in doubts
            ]
    return stands


def _all_read(there: PatternThere) -> bool:
    """Whether every hole was read: on one serial since all that it goes through are
    together, or on each of them."""
    wanted = {hole.pk for hole in there.pattern.current.holes.all()}
    read, together = defaultdict(set), defaultdict(set)
    for check, readings in there.checks:
        sized = {reading.hole_id for reading in readings if not lacks_size(reading)}
        read[check.part_id] |= sized
        if check.entry.pk > there.since:
            together[check.part_id] |= sized
    return any(holes >= wanted for holes in together.values()) or all(
        read[part.pk] >= wanted for part in there.serials
    )


def _doubt(records: Records, kind: str, row, label: str, read: list[int]) -> list[str]:
    """What is to be said of the instrument with which something was measured, and these
    lengths were read."""
    doubts = []
    reach = gauges.reach_of(row.instrument)
    if any(gauges.is_outside(nm, reach) for nm in read):
        doubts.append(f"{label}: {SHORT['range']}")
    if row.pk in records.doubted[kind]:
        doubts.append(f"{label}: {SHORT['instrument']}")
    if late := records.overdue[kind].get(row.pk):
        doubts.append(f"{label}: {overdue_words(row.instrument.code, late)}")
    return doubts


def _characteristics(records: Records) -> list[Stand]:
    stands = []
    for planned in records.characteristics:
        at = planned.bay.path, frozenset({planned.joint_id} - {None})
        page = ("characteristic_on_airframe", planned.pk, records.airframe.pk)
        result = records.results.get(planned.pk)
        if result is None:
            why = words.result("not_measured")
            stands.append(Stand("characteristic", str(planned), why, page, *at))
            continue
        stale = records.stale.get(result.pk)
        if stale:
            why = f"{words.result('stale')}: {stale}"
            stands.append(Stand("characteristic", str(planned), why, page, *at))
        elif (
            result.verdict != Verdict.CONFORMS and result.pk not in records.left_results
        ):
            why = words.result(result.verdict)
            stands.append(Stand("characteristic", str(planned), why, page, *at))
        if planned.current.photo and str(result.pk) not in records.photographed:
            why = _("a photo is required, and there is none")
            stands.append(Stand("photo", str(planned), why, page, *at))
        read = [result.exact] if planned.quality in MEASURED else []
        for why in _doubt(records, "result", result, planned.number, read):
            stands.append(Stand("instrument", str(planned), why, page, *at))
    return stands


def _items(records: Records) -> list[Stand]:
    stands = []
    for item in open_items(records.items):
        link = ("nonconformance", item.pk)
        state = str(item.standing.get_state_display())
        what = f"{label_of(records.airframe, item)} {item.title}"
        for at in places_of(records, item):
            stands.append(Stand("item", what, state, link, *at))
    return stands


def places_of(records: Records, item: Nonconformance) -> list[tuple]:
    """Where an item counts (path, joints): at its joint, and where else its part sits,
    or what that was bonded or cut into, with the joints that it names there; of neither
    (path "") on the airframe whole; and wherever the holes or the characteristic count
    that it is of. One raised on another airframe came with its part."""
    here = item.airframe_id == records.airframe.pk
    joint = item.joint if here else None
    places = [(joint.position.path, frozenset({joint.pk}))] if joint else []
    places += [
        (sits.position.path, joints_of(records, sits.part_id))
        for sits in records.places_of(item)
        if joint is None or sits.position_id != joint.position_id
    ]
    places = places or [("", joints_of(records, item.part_id))]
    places += [
        (joint.position.path, frozenset({joint.pk}))
        for joint in records.named.get(item.pk, ())
    ]
    if item.result_id and here:
        planned = item.result.revision.characteristic
        places.append((planned.bay.path, frozenset({planned.joint_id} - {None})))
    if item.hole_check_id:
        pattern = item.hole_check.revision.pattern_id
        places += [
            (there.path, there.joints)
            for there in records.patterns
            if there.pattern.pk == pattern and item.part_id in there.read_on
        ]
    return places


def label_of(airframe: Airframe, item: Nonconformance | TemporaryItem) -> str:
    """Items are numbered per airframe: one from another is told with its serial."""
    if item.airframe_id == airframe.pk:
        return item.label
    return f"{item.airframe.serial} {item.label}"


def joints_of(records: Records, part: int | None) -> frozenset[int]:
    """The joints at which a serial is the fitted part now."""
    return frozenset(
        key
        for key, state in records.states.items()
        if part and state.fit_up.part_id == part
    )


def _temporary(records: Records) -> list[Stand]:
    stands = []
    for item, *at in temporary_of(records):
        if not item.state.on_board:
            continue
        link = ("temporary_item", item.pk)
        what = f"{label_of(records.airframe, item)} {item.what}"
        if item.state.missing:
            why = words.missing(item.state.missing)
            stands.append(Stand("missing", what, why, link, *at))
        if item.state.inside:
            kind = "mock_up" if item.kind == TemporaryKind.MOCK_UP else "temporary"
            key = temporary.state_key(item.kind, item.state)
            why = words.inside(item.state.inside, hole=key == "hole_open")
            stands.append(Stand(kind, what, why, link, *at))
    return stands


def temporary_of(records: Records) -> list[tuple[TemporaryItem, str, frozenset[int]]]:
    """Items with where each counts: what came with a part, or may have, also where that
    sits now."""
    own = [(item, item.bay.path, joint_of(item)) for item in records.temporary]
    carried = [
        (
            load.item,
            load.placement.position.path,
            joints_of(records, load.placement.part_id),
        )
        for load in records.carried
    ]
    return own + carried


def joint_of(item: TemporaryItem) -> frozenset[int]:
    at = getattr(item, "at", None)
    if at is None:
        return frozenset()
    return frozenset({at.joint_id, at.pattern and at.pattern.joint_id} - {None})


def stay_empty(records: Records, scope) -> list[EmptyPlace]:
    """What of a scope is meant to stay empty."""
    return [
        row
        for row in records.empty.values()
        if scope.has(row.position.path, joints_at(records, row.position_id))
    ]


def joints_at(records: Records, position: int) -> frozenset[int]:
    """The joints at which what sits in a position is fitted."""
    return frozenset(j.pk for j in records.joints if j.position_id == position)


def _bare(records: Records) -> set[int]:
    """Keys of the bays with nothing below them that no joint and no characteristic is
    of: without a part there, nothing that could stand would be told."""
    at_joints = {x for j in records.joints for x in (j.position_id, j.surround_id)}
    planned = {row.bay_id for row in records.characteristics}
    above = {bay.parent_id for bay in records.bays}
    return {bay.pk for bay in records.bays} - at_joints - planned - above


def _parts(records: Records) -> list[Stand]:
    full = {placement.position_id for placement in records.placements}
    bare = _bare(records)
    stands = [
        Stand(
            "part",
            bay.path,
            words.empty(bay.part_number),
            ("airframe", records.airframe.pk),
            bay.path,
            joints_at(records, bay.pk),
        )
        for bay in records.bays
        if bay.pk not in full | set(records.empty)
        and (bay.part_number or bay.pk in bare)
    ]
    for placement in records.placements:
        part = placement.part
        at = placement.position.path, joints_of(records, part.pk)
        link = ("part", part.pk)
        what = f"{part.serial} {part.design.name}"
        if part.mass_mg is None or part.mass_is_estimate:
            why = words.unweighed(estimated=part.mass_mg is not None)
            stands.append(Stand("part", what, why, link, *at))
        if part.state != PartState.GOOD:
            why = str(part.get_state_display())
            stands.append(Stand("part", what, why, link, *at))
    return stands
