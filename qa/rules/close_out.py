"""What a close-out relies on, and whether it still holds: never stored, but worked out
from the content that was closed and from what is on record now."""

import hashlib
from dataclasses import dataclass

from qa.models import CloseOut, Nonconformance
from qa.rules import acceptance
from qa.rules.close_out_records import Records
from qa.rules.close_out_stands import (
    Gathered,
    Scope,
    Stand,
    joints_of,
    label_of,
    places_of,
    stay_empty,
    temporary_of,
)
from qa.wording import close_outs as words
from shop.ledger.canonical import canonical
from shop.models import TemporaryItem, TemporaryStep

FORM = "close_out/2"
OPEN, READY, CLOSED, VOID = "in_work", "ready", "closed", "close_out_void"


def content_of(gathered: Gathered, scope: Scope) -> dict:
    """What a close-out of a scope relies on, as values and codes: {section: {name:
    what of it}}. A later change of any of it voids the close-out."""
    records = gathered.records
    standings = records.standings
    joints = [
        joint for joint in records.joints if scope.has(joint.position.path, {joint.pk})
    ]
    return {
        "form": FORM,
        "airframe": records.airframe.serial,
        "bay": scope.bay and scope.bay.path,
        "joint": scope.joint and scope.joint.number,
        "joints": {
            joint.number: _accepted(standings.get(joint.pk)) for joint in joints
        },
        "parts": {
            placement.part.serial: [
                placement.position_id,
                str(placement.placed_by_entry_id),
            ]
            for placement in records.placements
            if scope.has(placement.position.path, joints_of(records, placement.part_id))
        },
        "empty": {
            row.position.path: [row.reason, str(row.entry_id)]
            for row in stay_empty(records, scope)
        },
        "holes": _read(records, scope),
        "characteristics": {
            planned.number: [
                planned.current.number,
                _act(records.results.get(planned.pk)),
            ]
            for planned in records.characteristics
            if scope.has(planned.bay.path, {planned.joint_id} - {None})
        },
        "temporary": {
            label_of(records.airframe, item): [item.state.out, item.state.released]
            for item in _temporary(records, scope)
        },
        "items": _settled(records, scope),
    }


def _accepted(standing) -> list | None:
    if standing is None:
        return None
    inspection = standing.inspection
    return [standing.state, standing.offered.digest, inspection and inspection.digest]


def _act(result) -> str | None:
    return result and str(result.entry_id)


def _hole_checks(records: Records, scope: Scope) -> list:
    """(pattern, check) of what stands of the holes of a scope."""
    return [
        (there.pattern, check)
        for there in records.patterns
        for check, _read in there.checks
        if scope.has(there.path, there.joints)
    ]


def _read(records: Records, scope: Scope) -> dict:
    """The checks that each pattern rests on, wherever it is in a scope."""
    acts: dict[str, set[str]] = {
        there.pattern.number: set()
        for there in records.patterns
        if scope.has(there.path, there.joints)
    }
    for pattern, check in _hole_checks(records, scope):
        acts[pattern.number].add(str(check.entry_id))
    return {number: sorted(acts_read) for number, acts_read in acts.items()}


def _settled(records: Records, scope: Scope) -> dict:
    return {
        label_of(records.airframe, item): [
            item.standing.state,
            str(item.standing.last_entry_id),
        ]
        for item in _items(records, scope)
    }


def _items(records: Records, scope: Scope) -> list[Nonconformance]:
    return [
        item
        for item in records.items
        if any(scope.has(*at) for at in places_of(records, item))
    ]


def _temporary(records: Records, scope: Scope) -> list[TemporaryItem]:
    return [item for item, *at in temporary_of(records) if scope.has(*at)]


def digest_of(body: dict) -> tuple[str, str]:
    """(canonical text, sha256) of what a close-out relies on."""
    text = canonical(body)
    return text, hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class Standing:
    """Where a scope stands: what is in its way, what changed since it was closed."""

    scope: Scope
    stands: list[Stand]
    close_out: CloseOut | None
    changed: tuple[str, ...]
    body: dict

    @property
    def state(self) -> str:
        """in_work, ready, closed, or close_out_void."""
        if self.close_out is None:
            return OPEN if self.stands else READY
        return VOID if self.changed or self.stands else CLOSED

    @property
    def closable(self) -> bool:
        """Whether nothing is in its way and it is not closed already."""
        return not self.stands and self.state != CLOSED

    @property
    def digest(self) -> str:
        return digest_of(self.body)[1]


def standing_of(gathered: Gathered, scope: Scope) -> Standing:
    """No statement: everything is in `gathered`."""
    body = content_of(gathered, scope)
    bay, joint = scope.bay and scope.bay.pk, scope.joint and scope.joint.pk
    last = next(
        (
            close_out
            for close_out in gathered.records.close_outs
            if (close_out.bay_id, close_out.joint_id) == (bay, joint)
        ),
        None,
    )
    changed = _changed(last.content, body) if last else ()
    return Standing(scope, gathered.of(scope), last, changed, body)


def changes_of(row: CloseOut, gathered: Gathered) -> tuple[str, ...]:
    """What of a close-out is not as it was closed."""
    scope = Scope(row.airframe, row.bay, row.joint)
    return _changed(row.content, content_of(gathered, scope))


def _changed(was: dict, now: dict) -> tuple[str, ...]:
    changes = []
    for section, heading in words.SECTIONS.items():
        # What was closed before places could be said to stay empty relied on none.
        before, after = was.get(section, {}), now[section]
        names = [*before, *(name for name in after if name not in before)]
        changes += [
            f"{heading} {name}"
            for name in names
            if before.get(name) != after.get(name)
            or (name in before) != (name in after)
        ]
    return tuple(changes)


def doers(gathered: Gathered, scope: Scope) -> set[int]:
    """Keys of who did the work that is closed: at its joints, in its holes, on its
    characteristics and items, with what was put in and taken out. A constant number of
    statements."""
    records = gathered.records
    standings = [
        records.standings[joint.pk]
        for joint in records.joints
        if joint.pk in records.standings and scope.has(joint.position.path, {joint.pk})
    ]
    people = acceptance.doers_of([standing.offered for standing in standings])
    people |= {check.entry.by_id for _of, check in _hole_checks(records, scope)}
    for planned in records.characteristics:
        result = records.results.get(planned.pk)
        if result and scope.has(planned.bay.path, {planned.joint_id} - {None}):
            people.add(result.entry.by_id)
    open_and_closed = [item.pk for item in _items(records, scope)]
    rows = Nonconformance.objects.filter(pk__in=open_and_closed, steps__verb="work")
    people |= set(rows.order_by().values_list("steps__entry__by", flat=True))
    items = _temporary(records, scope)
    people |= {item.entry.by_id for item in items}
    steps = TemporaryStep.objects.filter(item__in=items).exclude(verb="release")
    return (people | set(steps.values_list("entry__by", flat=True))) - {None}
