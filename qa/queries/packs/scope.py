"""What a pack is of: loaded once, for every section of it."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

from django.db.models import Q

from qa.models import (
    Characteristic,
    Check,
    Nonconformance,
    OfferedJoint,
    PackOrder,
    PackRemark,
    SecondReading,
    State,
)
from qa.queries import offers
from qa.queries.nonconformances import item_pages
from qa.rules import (
    acceptance,
    close_out_records,
    close_out_stands,
    gauge_doubts,
    offering,
)
from qa.rules.acceptance import Standing
from qa.rules.offering import Draft
from shop.models import Part, Placement
from shop.queries.identity import the_shop

# As much of the name of a line as a remark keeps.
LINE = PackRemark._meta.get_field("line").max_length


@dataclass
class Scope:
    """An airframe, or one bay, part or joint of it. `drafts` are its joints as they
    stand now, `never` those that were never fitted."""

    order: PackOrder
    unit: str
    drafts: list[Draft] = field(default_factory=list)
    never: list[str] = field(default_factory=list)

    @property
    def airframe(self):
        return self.order.airframe

    @cached_property
    def gathered(self):
        """What stands between the airframe and closed, with its records."""
        return close_out_stands.gather(close_out_records.load(self.airframe))

    def has(self, path: str, joints) -> bool:
        """Whether it tells of what lies at a position, or at one of some joints."""
        if self.whole:
            return True
        bay = self.order.bay
        if bay:
            return path == bay.path or path.startswith(f"{bay.path} / ")
        if self.order.joint_id:
            return self.order.joint_id in joints
        own = {draft.state.joint.pk for draft in self.drafts}
        return bool(own & set(joints)) or path in self._places

    @cached_property
    def _places(self) -> set[str]:
        """Where the part sits that the pack is of."""
        return {
            placement.position.path
            for placement in self.sitting
            if placement.part_id == self.order.part_id
        }

    @property
    def whole(self) -> bool:
        """Whether it is of the airframe whole."""
        order = self.order
        return not (order.joint_id or order.part_id or order.bay_id)

    @cached_property
    def checks(self) -> list[Check]:
        """The checks that what stands rests on, or what is stale did, in order."""
        checks = {}
        for draft in self.drafts:
            now = draft.state.now
            values = [
                *now.values.values(),
                *(stale.value for stale in now.stale.values()),
            ]
            for value in values:
                value.check.fit_up = value.fit_up
                checks[value.check.pk] = value.check
        return sorted(checks.values(), key=lambda check: check.number)

    @cached_property
    def standings(self) -> dict[int, Standing]:
        """Where each joint stands that was ever offered, by its key."""
        joints = [draft.state.joint.pk for draft in self.drafts]
        rows = acceptance.newest().filter(
            joint__in=joints, offer__airframe=self.airframe
        )
        standings = acceptance.standings(rows)
        return {standing.offered.joint_id: standing for standing in standings.values()}

    @cached_property
    def offered(self) -> list[OfferedJoint]:
        """Every time that a joint of it was offered, the oldest first."""
        joints = [draft.state.joint.pk for draft in self.drafts]
        rows = acceptance.whole().filter(
            joint__in=joints, offer__airframe=self.airframe
        )
        rows = rows.select_related("inspection__entry__confirmation")
        return list(rows.order_by("pk"))

    @cached_property
    def seconds(self) -> dict[tuple[int, str, str], list[tuple[SecondReading, str]]]:
        """What an inspector read beside what was offered last and has not changed
        since, and why it is in doubt, by joint, station and kind."""
        now = [
            standing.offered.pk
            for standing in self.standings.values()
            if not standing.changed
        ]
        rows = SecondReading.objects.filter(offered__in=now).select_related(
            *("entry__by", "entry__confirmation", "station", "offered__offer"),
            "instrument",
        )
        rows = list(rows.order_by("pk"))
        off, readings = gauge_doubts.found_off(rows), defaultdict(list)
        for row in rows:
            here = row.offered.joint_id, row.station.label, row.kind
            readings[here].append((row, offers.doubt_of(row, off)))
        return readings

    @cached_property
    def sitting(self) -> list[Placement]:
        """What sits where now, in the order of positions."""
        rows = Placement.objects.filter(airframe=self.airframe, removed_at=None)
        if not self.whole:
            rows = rows.filter(Q(part__in=self._own) | self._in_bay)
        related = ("part__design", "position", "placed_by_entry__by")
        return list(rows.select_related(*related).order_by("position__path"))

    @property
    def _in_bay(self) -> Q:
        bay = self.order.bay
        if bay is None:
            return Q(pk=None)
        return Q(position=bay) | Q(position__path__startswith=f"{bay.path} / ")

    @cached_property
    def _own(self) -> set[int]:
        keys = {self.order.part_id} - {None}
        for draft in self.drafts:
            fit_up = draft.state.fit_up
            keys |= {fit_up.part_id, fit_up.surround_part_id} - {None}
        return keys

    @cached_property
    def parts(self) -> list[Part]:
        """The serials that it tells of: placed, or fitted at its joints."""
        keys = self._own | {placement.part_id for placement in self.sitting}
        rows = Part.objects.filter(pk__in=keys).select_related("design")
        return list(rows.order_by("serial"))

    @cached_property
    def items(self) -> list[Nonconformance]:
        """Those of this airframe, then those that were raised on another and came with
        a part: all that a close-out counts here has its story."""
        rows = item_pages.whole().order_by("airframe__serial", "number")
        rows = rows.filter(self._here | Q(pk__in=self._counted))
        return sorted(rows, key=lambda item: item.airframe_id != self.airframe.pk)

    @property
    def _counted(self) -> set[int]:
        """Keys of what counts here by where it, or its part, is; of what was raised on
        another airframe not what was closed before that came, but for what says that
        something stays so."""
        records = self.gathered.records
        stays = {**records.left_holes, **records.left_results}.values()
        excuses = {item.pk for item in stays}
        return {
            item.pk
            for item in records.items
            if (
                item.airframe_id == self.airframe.pk
                or item.pk in excuses
                or self._was_here_open(item)
            )
            and any(self.has(*at) for at in close_out_stands.places_of(records, item))
        }

    def _was_here_open(self, item: Nonconformance) -> bool:
        """Whether what has an item sat here while that was not closed, now or before
        it was taken out and put back."""
        raised, closed = item.entry.received_at, item.standing.closed_at
        return closed is None or any(
            placed < closed and (removed is None or removed > raised)
            for sits in self.gathered.records.places_of(item)
            for placed, removed in self._sat_here[sits.part_id]
        )

    @cached_property
    def _sat_here(self) -> dict[int, list[tuple]]:
        """(since, until) of each time that what sits here now sat here, by serial."""
        parts = [sits.part_id for sits in self.gathered.records.placements]
        rows = Placement.objects.filter(airframe=self.airframe, part__in=parts)
        stays = defaultdict(list)
        for part, *times in rows.values_list("part", "placed_at", "removed_at"):
            stays[part].append(tuple(times))
        return stays

    @cached_property
    def characteristics(self) -> list[Characteristic]:
        """What is proven in its bays and at its joints beside gap and flushness."""
        return [
            planned
            for planned in self.gathered.records.characteristics
            if self.has(planned.bay.path, {planned.joint_id} - {None})
        ]

    @property
    def _here(self) -> Q:
        """What was raised of its joints and parts, wherever those are now."""
        here = Q(airframe=self.airframe)
        if self.whole:
            return here
        joints = [draft.state.joint.pk for draft in self.drafts]
        at = Q(joint__in=joints)
        if not self.order.joint_id:
            at |= Q(part__in=self._of)
        if self.order.bay:
            # Also of what is proven in it beside parts and joints.
            of = "result__revision__characteristic__bay"
            below = {f"{of}__path__startswith": f"{self.order.bay.path} / "}
            at |= Q(**{of: self.order.bay}) | Q(**below)
        if not self.order.part_id:
            return here & at
        # Of a part that sits nowhere now too.
        return here & at | Q(part=self.order.part_id) & ~Q(standing__state=State.CLOSED)

    @property
    def _of(self) -> set[int]:
        """The serials that it is of: not what they are only fitted to, whose items
        elsewhere are nothing of it."""
        if self.order.part_id:
            return {self.order.part_id}
        fitted = {draft.state.fit_up.part_id for draft in self.drafts}
        return fitted | {
            placement.part_id
            for placement in self.sitting
            if self.has(placement.position.path, set())
        }

    @property
    def empty(self) -> bool:
        """Whether no joint and no part of it is here: nothing can be said to stand."""
        return not (self.drafts or self.never or self.sitting)

    def name_of(self, item: Nonconformance) -> str:
        """The number of an item, with its airframe where that is another."""
        if item.airframe_id == self.airframe.pk:
            return item.label
        return f"{item.airframe.serial} {item.label}"

    @cached_property
    def _remarked(self) -> dict[str, set[int]]:
        """Keys of the items that a remark on a line of a pack became, by that line."""
        items: dict[str, set[int]] = {}
        rows = PackRemark.objects.filter(pack__order__airframe=self.airframe)
        for line, item in rows.values_list("line", "item"):
            items.setdefault(line, set()).add(item)
        return items

    def stays(self, line: str, item: Nonconformance) -> str:
        """An item by which it was decided that a line stays so, and how; then what was
        remarked on it and is not closed."""
        decided = f"{self.name_of(item)}, {item.standing.get_disposition_display()}"
        remarked = self._remarked.get(line[:LINE], set()) - {item.pk}
        more = [x for x in self._unclosed if x.pk in remarked]
        return ", ".join([decided, *map(self.name_of, more)])

    @cached_property
    def _unclosed(self) -> list[Nonconformance]:
        return [item for item in self.items if item.standing.state != State.CLOSED]

    def raised(
        self, line: str, of: Callable[[Nonconformance], bool], *, part=None, joint=None
    ) -> str:
        """The items that are not closed of a line that fails: raised by a remark on it,
        or of what it tells (`of`). Where its joint or part may have one that says it in
        words, it leads there; "" where they have none."""
        remarked = self._remarked.get(line[:LINE], set())
        unclosed = self._unclosed
        items = [x for x in unclosed if x.pk in remarked or of(x)]
        near = any(
            (part and x.part_id == part) or (joint and x.joint_id == joint)
            for x in unclosed
        )
        names = ", ".join(map(self.name_of, items))
        return names or ("see nonconformances" if near else "")


def scope_of(order: PackOrder) -> Scope:
    """Load what an order (with its airframe, joint, part and bay) is of."""
    joints, never = offering.joints_of(
        order.airframe, joint=order.joint, part=order.part, bay=order.bay
    )
    return Scope(
        order=order,
        unit=the_shop().units,
        drafts=offering.drafts(order.airframe, joints),
        never=[f"{joint.number} {joint.name}" for joint in never],
    )
