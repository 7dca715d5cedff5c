"""What stands in a check: its facts taken one after the other, in the ledger's order.

The projections move by one with each act; this is the same worked out anew, for a check
whose past is seen in another light (an act disowned) and for `rebuild_projections`.
"""

import sys
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import chain
from typing import NamedTuple
from uuid import UUID

from django.db.models import OuterRef, Subquery

from qa.models import (
    Check,
    CheckFinish,
    CheckState,
    Choice,
    CurrentReading,
    LateDecision,
    Reading,
)
from qa.rules import judging
from shop.models import Authorship, Confirmation, Entry

FACTS = {Choice: "reading", CheckFinish: "entry", LateDecision: "reading"}


class Read(NamedTuple):
    """What counts of a reading: they are many, and a model costs ten times as much."""

    pk: int
    entry_id: UUID
    fit_check_id: int
    station_id: int
    kind: str
    outcome: str
    verdict: str
    supersedes_id: int | None
    clash: bool
    late: bool
    # The number of its entry; the act that is running has none yet.
    order: int | None


# The entry of a reading by its act: also where there is none yet.
ORDER = Subquery(Entry.objects.filter(act=OuterRef("entry_id")).values("pk")[:1])


class Stands(NamedTuple):
    """A row of CurrentReading, for the same reason."""

    fit_check_id: int
    station_id: int
    kind: str
    reading_id: int
    clash: bool

    def as_row(self) -> CurrentReading:
        return CurrentReading(**self._asdict())


COUNTED = (
    "conforms",
    "does_not_conform",
    "not_proven",
    "skipped",
    "without_limits",
    "clashes",
    "late",
    "void",
)


@dataclass
class Replay:
    """One check, fact by fact. `places`: the readings that stand, more than one in a
    clash; the first is the one that counts."""

    state: CheckState
    ground: set
    places: dict[tuple, list[Read]] = field(default_factory=dict)
    late: set[int] = field(default_factory=set)
    by_act: dict = field(default_factory=dict)

    def take(self, fact) -> None:
        self.state.last_entry_id = fact.entry_id
        if isinstance(fact, Confirmation):
            if fact.verdict == Authorship.DISOWNED:
                self._disown(fact)
            return
        self.by_act[fact.entry_id] = fact
        if isinstance(fact, CheckFinish):
            self.state.state = CheckState.State.FINISHED
            self.state.finished_at = fact.entry.received_at
        elif isinstance(fact, LateDecision):
            self.late.discard(fact.reading_id)
            if fact.counted:
                self._stand(fact.reading)
        elif isinstance(fact, Choice):
            self._stand(fact.reading)
        elif fact.late:
            self.late.add(fact.pk)
        else:
            self._read(fact)

    def _read(self, reading: Read) -> None:
        there = self.places.get((reading.station_id, reading.kind), [])
        others = [place for place in there if place.pk != reading.supersedes_id]
        # Without a clash it takes the place of the one that stood.
        self._stand(*([*others, reading] if reading.clash else [reading, *others]))

    def _stand(self, *readings: Read | Reading) -> None:
        self.places[readings[0].station_id, readings[0].kind] = list(readings)

    def _disown(self, content: Confirmation) -> None:
        """What is disowned does not stand, nor does what it had taken the place of:
        that was contradicted, by whomever. The station is to be measured again."""
        if content.of_id in self.ground:
            self.state.void = True
            self.places.clear()
        fact = self.by_act.get(content.of_id)
        if isinstance(fact, Read):
            self.late.discard(fact.pk)
        if isinstance(fact, Read | Choice):
            key = fact.reading_id if isinstance(fact, Choice) else fact.pk
            place = (fact.station_id, fact.kind)
            there = [
                reading for reading in self.places.pop(place, []) if reading.pk != key
            ]
            if there:
                self.places[place] = there

    def finish(self) -> tuple[CheckState, list[Stands]]:
        state, rows = self.state, []
        state.late = len(self.late)
        of = state.fit_check_id
        for (station, kind), readings in self.places.items():
            clash = len(readings) > 1
            rows.append(Stands(of, station, kind, readings[0].pk, clash))
            state.clashes += clash
            if column := judging.column(readings[0]):
                setattr(state, column, getattr(state, column) + 1)
        return state, rows


def replay(checks: list[Check]) -> list[tuple]:
    """Return of each check (with its entry and fit-up) its state and what stands."""
    happened = _facts(checks)
    states = []
    for check in checks:
        state = CheckState(
            fit_check=check,
            wanted=check.wanted,
            started_at=check.entry.received_at,
        )
        course = Replay(state, {check.entry_id, check.fit_up.entry_id})
        for fact in happened[check.pk]:
            course.take(fact)
        states.append(course.finish())
    return states


def _facts(checks: list[Check]) -> dict[int, list]:
    """Return by check what happened in it, in the ledger's order."""
    facts = defaultdict(list)
    readings = Reading.objects.filter(fit_check__in=checks).order_by()
    read = readings.annotate(order=ORDER).values_list(*Read._fields)
    rows = [map(Read._make, read)]
    for model, related in FACTS.items():
        of_model = model.objects.filter(fit_check__in=checks)
        rows.append(of_model.select_related(related))
    for fact in chain(*rows):
        facts[fact.fit_check_id].append(fact)
    _confirmed(facts, checks, readings)
    known = {
        fact.entry_id
        for rows in facts.values()
        for fact in rows
        if not isinstance(fact, Read)
    }
    order = dict(Entry.objects.filter(act__in=known).values_list("act", "pk"))

    def when(fact) -> tuple[int, int]:
        number = fact.order if isinstance(fact, Read) else order.get(fact.entry_id)
        return sys.maxsize if number is None else number, fact.pk

    for rows in facts.values():
        rows.sort(key=when)
    return facts


def _confirmed(facts: dict[int, list], checks: list[Check], readings) -> None:
    """Add to the facts of each check what was said of the acts of others in it."""
    of = defaultdict(set)
    for check in checks:
        of[check.entry_id].add(check.pk)
        of[check.fit_up.entry_id].add(check.pk)
    for rows in facts.values():
        for fact in rows:
            if not isinstance(fact, Read):
                of[fact.entry_id].add(fact.fit_check_id)
    # Readings are many and few of them claimed: they are not asked for one by one.
    confirmations = Confirmation.objects.filter(of__in=list(of)).in_bulk()
    acts = readings.values("entry_id")
    confirmations |= Confirmation.objects.filter(of__in=acts).in_bulk()
    if not confirmations:
        return
    for rows in facts.values():
        for fact in rows:
            of[fact.entry_id].add(fact.fit_check_id)
    for confirmation in confirmations.values():
        for check in of.get(confirmation.of_id, ()):
            facts[check].append(confirmation)


def restand(check: Check, state: CheckState, act) -> None:
    """Bring the projections of a check (its state locked) up to what its facts say,
    those of the running act among them."""
    ((new, rows),) = replay([check])
    for name in COUNTED:
        setattr(state, name, getattr(new, name))
    state.last_entry_id = act.id
    state.save(update_fields=[*COUNTED, "last_entry"])
    stood = {(c.station_id, c.kind): c for c in check.current.all()}
    for row in rows:
        was = stood.pop((row.station_id, row.kind), None)
        if was is None:
            row.as_row().save()
        elif (was.reading_id, was.clash) != (row.reading_id, row.clash):
            was.reading_id, was.clash = row.reading_id, row.clash
            was.save(update_fields=["reading", "clash"])
    CurrentReading.objects.filter(
        pk__in=[reading.pk for reading in stood.values()]
    ).delete()
