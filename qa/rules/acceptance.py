"""In work, offered, accepted: where a joint on an airframe stands, worked out anew each
time from what was offered, what the inspector said and what happened since.

Nothing is stored that could be forgotten: an acceptance holds as long as nothing of
what was accepted changed, and says what did.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from operator import or_
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from qa.models import (
    AppliedMove,
    Check,
    CurrentReading,
    FitUp,
    Inspection,
    InspectionOutcome,
    Nonconformance,
    NonconformanceState,
    NonconformanceStep,
    Offer,
    OfferedJoint,
    Reading,
    ShimStack,
    State,
    TrimCut,
)
from qa.rules import gauge_doubts, revised
from qa.rules import touches as touched
from qa.rules.epochs import MOST_TOLD
from qa.rules.touches import WORDS
from shop.models.prepared_statements import Prepared, Slot, Slots

IN_WORK, OFFERED, VOID = "in_work", "offered", "acceptance_void"
# Of more tables in one statement PostgreSQL weighs long how to join them.
OWN = ("entry__by", "joint__current", "inspection__entry__by")
OFFERS = Offer.objects.select_related("airframe", "joint", "part", "bay")
FIT_UPS = FitUp.objects.select_related(
    "entry", "airframe", "joint", "part", "surround_part"
)


@dataclass(frozen=True)
class Standing:
    """One joint as it was offered last: `changed` says what happened since."""

    offered: OfferedJoint
    inspection: Inspection | None
    changed: tuple[str, ...]

    @property
    def state(self) -> str:
        """in_work, offered, accepted, with_remarks, rejected or acceptance_void."""
        if self.inspection is None:
            return IN_WORK if self.changed else OFFERED
        outcome = self.inspection.outcome
        if outcome == InspectionOutcome.REJECTED:
            return IN_WORK if self.changed else outcome
        return VOID if self.changed else outcome

    @property
    def holds(self) -> bool:
        """Whether it is accepted now."""
        outcomes = (InspectionOutcome.ACCEPTED, InspectionOutcome.WITH_REMARKS)
        return self.state in outcomes

    @property
    def why(self) -> str:
        more = [_("and more")] if len(self.changed) > MOST_TOLD else []
        return "; ".join([*self.changed[:MOST_TOLD], *more])


def whole() -> QuerySet[OfferedJoint]:
    """Offered joints, each with what tells where it stands: by three statements."""
    return OfferedJoint.objects.select_related(*OWN).prefetch_related(
        Prefetch("offer", OFFERS), Prefetch("fit_up", FIT_UPS)
    )


def newest() -> QuerySet[OfferedJoint]:
    """The last time that each joint of each airframe was offered."""
    later = OfferedJoint.objects.filter(
        joint=OuterRef("joint"),
        offer__airframe=OuterRef("offer__airframe"),
        pk__gt=OuterRef("pk"),
    )
    return whole().filter(~Exists(later))


def standing_of(joint, airframe) -> Standing | None:
    """Where one joint stands; None where it was never offered: it is in work."""
    row = newest().filter(joint=joint, offer__airframe=airframe).first()
    return standings([row])[row.pk] if row else None


def standings(rows: Iterable[OfferedJoint]) -> dict[int, Standing]:
    """Where each stands, by its key (some of `whole`), in a constant number of
    statements."""
    rows = list(rows)
    if not rows:
        return {}
    changed = changes(rows)
    return {
        row.pk: Standing(row, getattr(row, "inspection", None), tuple(changed[row.pk]))
        for row in rows
    }


def changes(rows: list[OfferedJoint]) -> dict[int, list[str]]:
    """What happened to each since it was offered, in words, the oldest first."""
    touches = touched.load(
        [row.fit_up for row in rows], [row.fit_up.joint for row in rows]
    )
    first = min(row.read_to for row in rows)
    acts = _acts_since(rows, first)
    reads = _read_since(rows, first)
    standing = _standing(rows)
    items = _items_since(rows, first)
    left = _left_no_more(rows)
    off = _found_off(rows)
    otherwise = revised.since_offered(rows)
    by_row = {}
    for row in rows:
        changed = [(at, why) for at, why in _happened(row, touches) if at > row.read_to]
        changed += [(at, why) for at, why in acts[_place(row)] if at > row.read_to]
        changed += _readings(row, reads[_place(row)], standing)
        changed += [
            (at, why)
            for at, act, why in items[_place(row)]
            if at > row.read_to and act not in _own(row)
        ]
        changed += left[row.pk]
        changed += off[row.pk]
        if row.pk in otherwise:
            changed.append((touched.AT_LAST, otherwise[row.pk]))
        by_row[row.pk] = list(dict.fromkeys(why for _at, why in sorted(changed)))
    return by_row


def _place(row: OfferedJoint) -> tuple[int, int]:
    return row.joint_id, row.fit_up.airframe_id


def _own(row: OfferedJoint) -> set:
    """The acts of the offer and the inspection themselves."""
    inspection = getattr(row, "inspection", None)
    return {row.entry_id, inspection and inspection.entry_id}


def _here(joint: str, airframe: str) -> Q:
    joints, airframes = Slots("joints"), Slots("airframes")
    return Q(**{f"{joint}__in": joints, f"{airframe}__in": airframes})


def _keys(rows) -> dict[str, set[int]]:
    """What goes into the slots of `_here`."""
    return {
        "joints": {row.joint_id for row in rows},
        "airframes": {row.fit_up.airframe_id for row in rows},
    }


def _acts(model) -> Prepared:
    columns = "entry__pk", "fit_up__joint", "fit_up__airframe", "fit_up__number"
    here = _here("fit_up__joint", "fit_up__airframe")
    return Prepared(
        lambda: (
            model.objects.filter(here, entry__pk__gt=Slot("first"))
            .order_by()
            .values_list(*columns)
            .distinct()
        )
    )


ACTS = {model: _acts(model) for model in (TrimCut, AppliedMove, ShimStack)}
READ = Prepared(
    lambda: (
        Reading.objects.filter(
            _here("fit_check__fit_up__joint", "fit_check__fit_up__airframe")
        )
        .filter(
            Q(late=False, entry__pk__gt=Slot("first"))
            | Q(late_decision__counted=True, late_decision__entry__pk__gt=Slot("first"))
        )
        .order_by("entry__pk")
        .values_list(
            "entry__pk",
            "late_decision__entry__pk",
            "fit_check__fit_up__joint",
            "fit_check__fit_up__airframe",
            "station__label",
        )
    )
)
STANDING = Prepared(
    lambda: (
        CurrentReading.objects.filter(reading__in=Slots("read"))
        .order_by()
        .values_list("reading_id")
    )
)
RAISED = Prepared(
    lambda: Nonconformance.objects.filter(
        _here("joint", "airframe"), entry__pk__gt=Slot("first")
    ).select_related("entry")
)
OPENED_AGAIN = Prepared(
    lambda: NonconformanceStep.objects.filter(
        _here("nonconformance__joint", "nonconformance__airframe"),
        verb=NonconformanceStep.Verb.REOPEN,
        entry__pk__gt=Slot("first"),
    ).select_related("entry", "nonconformance")
)
CHECKS = Prepared(
    lambda: Check.objects.filter(entry__in=Slots("acts")).select_related("entry")
)


def _happened(row: OfferedJoint, touches) -> list[tuple[int, str]]:
    own = touches.at(*_place(row))
    events = [
        (fit_up.entry.pk, f"{WORDS[fit_up.reason]} (fit-up {fit_up.number})")
        for fit_up in own
    ]
    airframe = row.fit_up.airframe_id
    return events + [
        (touch.at, touch.why) for touch in touches.of(row.joint, airframe, own)
    ]


def _acts_since(rows, first: int) -> dict:
    """Cuts, moves and shims at the joints themselves: each tells by itself, before the
    next fit-up is opened."""
    happened = defaultdict(list)
    words_of = {TrimCut: _("trimmed"), AppliedMove: _("moved"), ShimStack: _("shimmed")}
    for model, words in words_of.items():
        acts = ACTS[model].rows(**_keys(rows), first=first)
        for at, joint, airframe, number in acts:
            why = f"{words} (fit-up {number})"
            happened[joint, airframe].append((at, why))
    return happened


def _read_since(rows, first: int) -> dict:
    """What was read, or counted in, at the joints since the oldest was offered."""
    readings = defaultdict(list)
    read = READ.rows(**_keys(rows), first=first)
    for at, decided, joint, airframe, label in read:
        readings[joint, airframe].append((max(at, decided or 0), label))
    return readings


def _standing(rows) -> set[int]:
    """Those of the readings offered that still stand, without another beside them."""
    read = [
        line["reading"]
        for row in rows
        for line in row.content["lines"]
        if line["reading"]
    ]
    return {key for (key,) in STANDING.rows(read=read)} if read else set()


def _readings(row: OfferedJoint, reads, standing: set[int]) -> list[tuple[int, str]]:
    again = [(at, label) for at, label in reads if at > row.read_to]
    seen = {label for _at, label in again}
    gone = [
        line["station"]
        for line in row.content["lines"]
        if line["reading"]
        and line["reading"] not in standing
        and line["station"] not in seen
    ]
    lines = []
    for at, labels, words in (
        (
            again[0][0] if again else 0,
            [label for _at, label in again],
            _("measured again at"),
        ),
        (touched.AT_LAST, gone, _("does not stand any more: what was read at")),
    ):
        if labels:
            names = list(dict.fromkeys(labels))
            more = ["…"] if len(names) > MOST_TOLD else []
            lines.append((at, f"{words} {', '.join([*names[:MOST_TOLD], *more])}"))
    return lines


def _items_since(rows, first: int) -> dict:
    """Items raised at the joints, and those opened again, whatever was decided of
    them: no decision is changed, and none that was closed comes back, but so."""
    by_joint = defaultdict(list)
    raised = RAISED.rows(**_keys(rows), first=first)
    happenings = [(_("%(item)s was raised"), item, item) for item in raised]
    steps = OPENED_AGAIN.rows(**_keys(rows), first=first)
    happenings += [(_opened_again(), step.nonconformance, step) for step in steps]
    for words, item, fact in happenings:
        by_joint[item.joint_id, item.airframe_id].append(
            (fact.entry.pk, fact.entry_id, words % {"item": item.label})
        )
    return by_joint


def _opened_again() -> str:
    return _("%(item)s was opened again")


def _left_no_more(rows) -> dict:
    """Items that the offers rely on (use as is, repair) and that do not stand."""
    keys = {key for row in rows for key in row.content["relies_on"]}
    states = NonconformanceState.objects.filter(nonconformance__in=keys).exclude(
        state__in=(State.VERIFIED, State.CLOSED)
    )
    opened = {state.pk: state for state in states.select_related("nonconformance")}
    return {
        row.pk: [
            (
                touched.AT_LAST,
                _opened_again() % {"item": opened[key].nonconformance},
            )
            for key in row.content["relies_on"]
            if key in opened
        ]
        for row in rows
    }


def _found_off(rows) -> dict[int, list[tuple[int, str]]]:
    """Calibrations since each was offered that found the instrument of one of its
    checks off; what was known then was offered with it."""
    acts = {UUID(act) for row in rows for act in _check_acts(row)}
    checks = CHECKS.rows(acts=acts) if acts else []
    off = gauge_doubts.found_off(checks)
    doubts = defaultdict(list)
    for row in rows:
        own = _check_acts(row)
        for check in checks:
            at = off.get(check.pk)
            if at and str(check.entry_id) in own and at.entry.pk > row.read_to:
                doubts[row.pk].append((at.entry.pk, gauge_doubts.off_words(at)))
    return doubts


def _check_acts(row: OfferedJoint) -> list[str]:
    return [line["act"] for line in row.content["checks"]]


def doers(row: OfferedJoint) -> set[int]:
    return doers_of([row])


def doers_of(rows: list[OfferedJoint]) -> set[int]:
    """Keys of who did the work that was offered: who offered it, fitted it, read what
    stands, cut, moved, set or shimmed it, or worked on its items. A constant number of
    statements; rows may be drafts that nobody offered yet."""
    if not rows:
        return set()
    fitted = [row.fit_up for row in rows]
    serials = {
        x for fit_up in fitted for x in (fit_up.part_id, fit_up.surround_part_id) if x
    }
    at = reduce(or_, (Q(joint=x.joint_id, part=x.part_id) for x in fitted))
    here = reduce(or_, (Q(joint=x.joint_id, airframe=x.airframe_id) for x in fitted))
    theirs = FitUp.objects.filter(at)
    lines = [line for row in rows for line in row.content["lines"]]
    read = [line["reading"] for line in lines if line["reading"]]
    acts = [act for row in rows for act in _check_acts(row)]
    sources = (
        (OfferedJoint.objects.filter(pk__in=[row.pk for row in rows]), "entry__by"),
        (theirs.filter(here), "entry__by"),
        (Reading.objects.filter(pk__in=read), "entry__by"),
        (Reading.objects.filter(fit_check__entry__in=acts), "fit_check__entry__by"),
        (TrimCut.objects.filter(part__in=serials), "entry__by"),
        (AppliedMove.objects.filter(fit_up__in=theirs), "entry__by"),
        (ShimStack.objects.filter(fit_up__in=theirs), "entry__by"),
        (Nonconformance.objects.filter(here, steps__verb="work"), "steps__entry__by"),
    )
    people = set()
    for facts, by in sources:
        people |= set(facts.order_by().values_list(by, flat=True).distinct())
    return people - {None}
