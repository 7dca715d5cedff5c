"""What was changed since it was measured, for many joints or checks at once."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from qa.models import Check, FitUp, MeasureAgain, Reading
from qa.rules import touches as touched
from qa.rules.epochs import MOST_TOLD
from qa.rules.touches import WORDS, Touches
from shop.models import Authorship, Entry

FIT_UP = ("entry", "joint", "airframe", "part", "surround_part")


@dataclass(frozen=True)
class Changed:
    """What happened at a joint on an airframe after an entry, newest last."""

    fit_up: FitUp
    words: tuple[str, ...]
    at: int
    entry: Entry | None

    @property
    def when(self) -> datetime | None:
        return self.entry.received_at if self.entry else None

    @property
    def why(self) -> str:
        return "; ".join(dict.fromkeys(self.words[-MOST_TOLD:]))


def measured_values() -> QuerySet[Reading]:
    """Readings with a value, but for what was disowned: by itself or with its check."""
    gone = {"entry__confirmation__verdict": Authorship.DISOWNED}
    with_check = {f"fit_check__{name}": verdict for name, verdict in gone.items()}
    rows = Reading.objects.filter(value_nm__isnull=False)
    return rows.exclude(**gone).exclude(**with_check)


def newest_measured() -> QuerySet[FitUp]:
    """The newest fit-up of each joint on each airframe where anything was measured;
    `measured` is the entry that the newest check with a value began by."""
    here = {"joint": OuterRef("joint"), "airframe": OuterRef("airframe")}
    later = FitUp.objects.filter(**here, number__gt=OuterRef("number"))
    read = (
        measured_values()
        .filter(
            fit_check__fit_up__joint=OuterRef("joint"),
            fit_check__fit_up__airframe=OuterRef("airframe"),
        )
        .order_by("-fit_check__entry__pk")
    )
    return (
        FitUp.objects.filter(~Exists(later))
        .annotate(measured=Subquery(read.values("fit_check__entry__pk")[:1]))
        .filter(measured__isnull=False)
        .select_related(*FIT_UP)
        .defer("entry__body")
    )


def changed(newest: list[FitUp]) -> list[Changed]:
    """What happened to some of them since they were measured, where anything did."""
    if not newest:
        return []
    touches = touched.load(newest, [fit_up.joint for fit_up in newest])
    changes = (_changed(touches, fit_up, fit_up.measured) for fit_up in newest)
    return [row for row in changes if row]


def joints_to_measure_again(most: int | None = None) -> list[Changed]:
    """Joints where nothing was measured since the part or its surround was changed, the
    longest waiting first (the first `most`).

    Which stations are stale once somebody began to measure, the page of the joint works
    out (`staleness`); a check begun before the change measures what was before it.
    """
    first = MeasureAgain.objects.order_by("at", "pk").values_list("pk", flat=True)
    newest = newest_measured().filter(pk__in=list(first[:most]))
    return sorted(
        changed(list(newest)), key=lambda change: (change.at, change.fit_up.pk)
    )


def since(checks: list[Check]) -> dict[int, Changed]:
    """What happened after each check began, by its key; without those after which
    nothing did. The checks come with their entry and with FIT_UP of their fit-up."""
    fit_ups = [check.fit_up for check in checks]
    touches = touched.load(fit_ups, [fit_up.joint for fit_up in fit_ups])
    changes = {
        check.pk: _changed(touches, check.fit_up, check.entry.pk) for check in checks
    }
    return {key: change for key, change in changes.items() if change}


def _changed(touches: Touches, fit_up: FitUp, after: int) -> Changed | None:
    own = touches.at(fit_up.joint_id, fit_up.airframe_id)
    events = [
        (later.entry.pk, f"{WORDS[later.reason]} (fit-up {later.number})", later.entry)
        for later in own
        if later.entry.pk > after
    ]
    events += [
        (touch.at, touch.why, touch.entry)
        for touch in touches.of(fit_up.joint, fit_up.airframe_id, own)
        if touch.at > after
    ]
    if not events:
        return None
    events.sort(key=lambda event: event[0])
    at, _why, last = events[-1]
    return Changed(fit_up, tuple(why for _, why, _ in events), at, last)
