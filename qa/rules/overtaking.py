"""Whether what a plan was made from still stands: decided in one place for its page,
the joint, Today, the tablet, the papers and every act that goes by it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import F, Max, Prefetch, Q
from django.utils.translation import gettext as _

from qa.models import (
    AppliedMove,
    CurrentReading,
    FitPlan,
    FitUp,
    Holding,
    JointRevision,
    MoveKind,
    PlanDefaults,
    PlanJoint,
    Reading,
    TrimCut,
)
from qa.rules import touches as touched
from qa.rules.shared_plans import sisters
from qa.rules.touches import WORDS, Touches

MOST_TOLD = 4


@dataclass(frozen=True)
class Change:
    """What happened since a plan was made, as a code with its values."""

    code: str
    values: dict = field(default_factory=dict)

    @property
    def words(self) -> str:
        return _(TEXTS[self.code]) % self.values


TEXTS = {
    "fit_up": "%(joint)s: %(done)s (fit-up %(number)s)",
    "touched": "%(why)s",
    "measured": "%(joint)s: measured again at %(stations)s",
    "taken_back": "%(joint)s: what was read at %(stations)s does not stand any more",
    "revision": "%(joint)s has revision %(number)s now",
    "defaults": "how this shop plans was changed",
    "holding": "how the part is held was stated anew",
}


def in_words(changes: list[Change]) -> str:
    sentences = list(dict.fromkeys(change.words for change in changes))
    more = [_("and more")] if len(sentences) > MOST_TOLD else []
    return "; ".join([*sentences[:MOST_TOLD], *more])


def warning(plan: FitPlan | None, changes: list[Change]) -> str:
    """What is said where people record what was done by a plan; "" where it holds."""
    if not changes:
        return ""
    values = {"plan": plan, "why": in_words(changes)}
    return (
        _(
            "%(plan)s is overtaken: %(why)s. Do nothing more by it, and say here only "
            "what was done already."
        )
        % values
    )


def changes_of(plan: FitPlan, touches: Touches | None = None) -> list[Change]:
    """What happened to one plan since it was made; [] when it holds."""
    return changes([plan], touches)[plan.pk]


def changes(
    plans: Iterable[FitPlan], touches: Touches | None = None
) -> dict[int | None, list[Change]]:
    """What happened since each plan was made, by its key, in a constant number of
    statements. The cuts and moves made by a plan itself do not overtake it; nor does
    taking the part off: what is then cut on the bench is cut as was planned.

    Plans taken by one act are overtaken together, and by none of what any of them did.
    touches: those of the joints, where somebody has read them.
    """
    asked = list(plans)
    if not asked:
        return {}
    drafts = [plan for plan in asked if not plan.pk]
    every = [*sisters(asked), *drafts]
    # Who read touches read those of one plan alone, not of those taken with it.
    changes_by_plan = _changes_of_each(every, touches if len(every) == 1 else None)
    by_act = defaultdict(dict)
    for plan, changed in changes_by_plan:
        for change in changed:
            key = change.code, *sorted(change.values.items())
            by_act[_act(plan)].setdefault(key, change)
    return {plan.pk: list(by_act[_act(plan)].values()) for plan in asked}


def _act(plan: FitPlan):
    """The act that took a plan, and with it those beside it."""
    return plan.entry_id if plan.pk else id(plan)


def _changes_of_each(
    plans: list[FitPlan], touches: Touches | None
) -> list[tuple[FitPlan, list[Change]]]:
    joints = _joints(plans)
    every = [row for rows in joints.values() for row in rows]
    if touches is None:
        touches = touched.load(
            [planned.fit_up for planned in every],
            [planned.fit_up.joint for planned in every],
        )
    own = _own_acts(plans)
    read = _read_since(plans, every)
    standing = _standing(plans)
    defaults = PlanDefaults.objects.values_list("pk", flat=True).first()
    holdings = _holdings(every)
    since = []
    for plan in plans:
        inputs = plan.content["inputs"]
        changed = []
        for planned, read_then in zip(joints[plan.pk], inputs["joints"], strict=True):
            changed += _happened(plan, planned, touches, own[_act(plan)])
            changed += _readings(plan, planned, read_then, read, standing)
            newest = planned.fit_up.joint.current
            if newest and newest.number != read_then["newest_revision"]:
                values = {"joint": planned.fit_up.joint.number, "number": newest.number}
                changed.append(Change("revision", values))
        if defaults != inputs["defaults"]:
            changed.append(Change("defaults"))
        held = holdings.get(joints[plan.pk][0].fit_up.joint.position_id)
        if inputs.get("holding") not in (None, held):
            changed.append(Change("holding"))
        since.append((plan, changed))
    return since


def _joints(plans) -> dict:
    by_plan = defaultdict(list)
    for plan in plans:
        if plan.pk is None:  # about to be taken
            by_plan[None] = list(plan.drafted)
    rows = PlanJoint.objects.filter(plan__in=[p.pk for p in plans if p.pk])
    # Apart: of nine tables in one statement PostgreSQL weighs every order.
    fit_ups = FitUp.objects.select_related(
        "entry", "joint__current", "airframe", "part", "surround_part"
    )
    rows = rows.prefetch_related(Prefetch("fit_up", fit_ups))
    for planned in rows.order_by("plan", "order"):
        by_plan[planned.plan_id].append(planned)
    return by_plan


def _holdings(joints) -> dict[int, int]:
    """The number of the newest statement of how the part is held, by position."""
    positions = {joint.fit_up.joint.position_id for joint in joints}
    rows = Holding.objects.filter(position__in=positions).order_by()
    return dict(rows.values_list("position").annotate(Max("number")))


def stated_since(plan: FitPlan) -> bool:
    """Whether defaults, how the part is held, or a joint were stated anew since what a
    draft is to be of: it was drafted by these, so they do not overtake it."""
    joints = [drafted.fit_up.joint for drafted in plan.drafted]
    stated = (
        PlanDefaults.objects.all(),
        Holding.objects.filter(position__in=[joint.position_id for joint in joints]),
        JointRevision.objects.filter(joint__in=joints),
    )
    return any(rows.filter(entry__pk__gt=plan.read_to).exists() for rows in stated)


def _own_acts(plans) -> dict:
    """Numbers of the entries of what was done by each plan and those beside it, by the
    act that took them."""
    acts = defaultdict(set)
    keys = {plan.pk: _act(plan) for plan in plans if plan.pk}
    for rows in (
        TrimCut.objects.filter(plan__in=keys),
        AppliedMove.objects.filter(plan__in=keys).exclude(kind=MoveKind.SHIM),
        FitUp.objects.filter(plan__in=keys),
    ):
        for plan, entry in rows.values_list("plan", "entry__pk").distinct():
            acts[keys[plan]].add(entry)
    return acts


def _happened(plan: FitPlan, planned, touches, own: set[int]) -> list[Change]:
    fit_up, joint = planned.fit_up, planned.fit_up.joint
    rows = touches.at(fit_up.joint_id, fit_up.airframe_id)
    changes = [
        Change(
            "fit_up",
            {
                "joint": joint.number,
                "done": str(WORDS[other.reason]),
                "number": other.number,
            },
        )
        for other in rows
        if other.entry.pk > plan.read_to and other.entry.pk not in own
    ]
    changes += [
        Change("touched", {"why": touch.why})
        for touch in touches.of(joint, fit_up.airframe_id, rows)
        if touch.at > plan.read_to and touch.at not in own and not touch.bench
    ]
    return changes


def _read_since(plans, joints) -> list:
    """(number of the entry, joint, airframe, station) of what was read or counted in
    since the oldest of the plans was made."""
    first = min(plan.read_to for plan in plans)
    here = Q(fit_check__fit_up__joint__in=[joint.fit_up.joint_id for joint in joints])
    here &= Q(fit_check__fit_up__airframe__in=[o.fit_up.airframe_id for o in joints])
    rows = Reading.objects.filter(here).filter(
        Q(late=False, entry__pk__gt=first)
        | Q(late_decision__counted=True, late_decision__entry__pk__gt=first)
    )
    return list(
        rows.values_list(
            F("entry__pk"),
            "late_decision__entry__pk",
            "fit_check__fit_up__joint",
            "fit_check__fit_up__airframe",
            "station__label",
        ).order_by("entry__pk")
    )


def _standing(plans) -> set[int]:
    read = [
        row[3]
        for plan in plans
        for joint in plan.content["inputs"]["joints"]
        for row in joint["readings"]
    ]
    return set(
        CurrentReading.objects.filter(reading__in=read).values_list(
            "reading_id", flat=True
        )
    )


def _readings(plan, planned, read_then, read, standing) -> list[Change]:
    here = (planned.fit_up.joint_id, planned.fit_up.airframe_id)
    name, changed = planned.fit_up.joint.number, []
    again = [
        label
        for entry, decided, joint, airframe, label in read
        if (joint, airframe) == here and max(entry, decided or 0) > plan.read_to
    ]
    gone = [
        label
        for label, _kind, _act, key in read_then["readings"]
        if key not in standing and label not in again
    ]
    for code, labels in (("measured", again), ("taken_back", gone)):
        if labels:
            names = list(dict.fromkeys(labels))
            more = ["…"] if len(names) > MOST_TOLD else []
            stations = ", ".join([*names[:MOST_TOLD], *more])
            changed.append(Change(code, {"joint": name, "stations": stations}))
    return changed
