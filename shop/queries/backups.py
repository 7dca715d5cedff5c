"""How the last backups went, by what is on record; what lies on disk says itself."""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils import timezone

from shop.models import BackupPlan, Entry
from shop.models.backups import MADE

SHOWN = 30
# One every night; a night and a morning may pass before somebody is worried.
OLD = timedelta(hours=36)
TRY_AGAIN = timedelta(hours=1)


@dataclass(frozen=True)
class Attempt:
    """One backup, or why there is none. faults: how many things did not hold in it."""

    number: int
    at: datetime
    place: str
    folder: str
    problem: str
    faults: int
    acts: int

    @property
    def was_made(self) -> bool:
        return not self.problem

    @property
    def is_good(self) -> bool:
        return self.was_made and not self.faults


def plan_now() -> BackupPlan:
    """Return what the lead said last; one without a place where nothing was said."""
    # By its key: to join it first with all entries takes as long as the ledger is.
    newest = BackupPlan.objects.order_by("-pk").values("pk")[:1]
    plan = BackupPlan.objects.filter(pk__in=newest).select_related("entry__by").first()
    return plan or BackupPlan()


def attempts(most: int = SHOWN) -> list[Attempt]:
    """Return the last backups on record, the newest first."""
    rows = Entry.objects.filter(form=MADE).order_by("-id")
    rows = rows.values_list("id", "received_at", "body")[:most]
    return [_attempt(*row) for row in rows]


def of_plan(plan: BackupPlan, past: list[Attempt]) -> list[Attempt]:
    """Those that went where the shop wants them: one made elsewhere by hand is not what
    it counts on."""
    return [attempt for attempt in past if attempt.place == plan.place]


def last_good(past: list[Attempt]) -> Attempt | None:
    return next((attempt for attempt in past if attempt.is_good), None)


def _attempt(number: int, at: datetime, body: str) -> Attempt:
    outcome = json.loads(body)["said"]
    return Attempt(
        number=number,
        at=at,
        place=outcome["place"],
        folder=outcome.get("folder", ""),
        problem=outcome["problem"],
        faults=outcome.get("faults", 0),
        acts=outcome.get("acts", 0),
    )


def acts_since(attempt: Attempt | None, most: int) -> int:
    """Return how many acts came after a backup, counted no further than `most`."""
    newer = Entry.objects.exclude(form=MADE).order_by("id")
    if attempt:
        newer = newer.filter(id__gt=attempt.number)
    return len(newer.values_list("id", flat=True)[:most])


def is_due(plan: BackupPlan, now: datetime | None = None) -> bool:
    """Whether a backup should be made now: at the hour, after much work, or again."""
    if not plan.place:
        return False
    now = now or timezone.now()
    past = of_plan(plan, attempts())
    last = past[0] if past else None
    made = next((attempt for attempt in past if attempt.was_made), None)
    if last is None or last.at < plan.entry.received_at:
        return True
    if now - last.at < TRY_AGAIN:
        return False
    if not last.was_made or last.at < _last_slot(plan.hour, now):
        return True
    return acts_since(made, plan.busy_acts) >= plan.busy_acts


def _last_slot(hour: int, now: datetime) -> datetime:
    """Return when the clock of the shop last showed this hour."""
    local = timezone.localtime(now)
    slot = local.replace(hour=hour, minute=0, second=0, microsecond=0)
    return slot if slot <= local else slot - timedelta(days=1)


@dataclass(frozen=True)
class Concern:
    """Why the lead should look, as a code; when the last good backup was."""

    code: str
    last: datetime | None = None
    problem: str = ""


def concern(now: datetime | None = None) -> Concern | None:
    """Return what is wrong with the backups, in two statements; None if nothing is."""
    now = now or timezone.now()
    plan, past = plan_now(), attempts()
    if plan.place:
        past = of_plan(plan, past)
    elif not past:
        return Concern("none")
    good = last_good(past)
    at = good and good.at
    if past and past[0].problem:
        return Concern("failed", at, past[0].problem)
    if past and past[0].faults:
        return Concern("faults", at)
    # Said just now where to: the first is about to be made.
    since = at or plan.entry.received_at
    return Concern("old", at) if now - since > OLD else None
