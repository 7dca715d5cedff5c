"""Hole patterns where they are on airframes: through which serials, and what was read
of their holes last."""

from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import Q

from qa.models import FitUp, HoleCheck, HolePattern, HoleReading
from qa.rules.history import History
from qa.rules.holes import newest_readings
from shop.models import Airframe, Part


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


def load(past, states, placements) -> dict[Airframe, list[PatternThere]]:
    """The patterns of the joints that were fitted, and of the designs that sit there,
    in each of their places."""
    sits = {airframe: defaultdict(list) for airframe in placements}
    for airframe, rows in placements.items():
        for placement in rows:
            sits[airframe][placement.part.design_id].append(placement)
    designs = {design for own in sits.values() for design in own}
    joints = {joint for own in states.values() for joint in own}
    rows = HolePattern.objects.exclude(current=None).filter(
        Q(joint__in=joints)
        | Q(joint=None, design__in=designs)
        | Q(joint=None, mate__in=designs)
    )
    rows = rows.select_related("joint__position", "current").order_by("number")
    rows = list(rows.prefetch_related("current__holes"))
    there = {
        airframe: _patterns_on(rows, past[airframe], states[airframe], own)
        for airframe, own in sits.items()
    }
    _load_checks([pattern for own in there.values() for pattern in own])
    return there


def _patterns_on(patterns, past: History, states, sits) -> list[PatternThere]:
    there = []
    for pattern in patterns:
        if pattern.joint_id in states:
            there.append(_at_joint(pattern, past.fit_ups[pattern.joint_id]))
        elif pattern.joint is None and {pattern.design_id, pattern.mate_id} & set(sits):
            there += _in_designs(pattern, sits, states)
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
        groups = [[drill] for drill in drilled or mates]
    elif len(drilled) == 1:
        groups = [[*drilled, *mates]]
    else:
        groups = [[drill] for drill in drilled]
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
                readings = sorted(read, key=lambda reading: reading.hole.order)
                pattern_there.checks.append((check, readings))
