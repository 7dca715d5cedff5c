"""How long work takes here: the shop's rates, and what its recorded rounds say of them.

A round is from the end of a check to what its plan asked for being recorded. The median
counts, since a lunch or a night lies in some: what took longer than a shift is none.
"""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import timedelta
from statistics import median

from django.db.models import Count, Exists, F, OuterRef, Subquery

from qa.models import CheckState, FitUp, FitUpReason, PlanDefaults, Reading
from qa.numeric.plan.ways import Rates
from qa.rules.ways import rates_of
from shop.numeric.units import S_PER_MIN, to_mm

ENOUGH = 5  # rounds; with fewer the shop's stated rates hold
RECENT = 20
LONGEST = timedelta(hours=8)
SHORTEST = timedelta(minutes=1)  # of a round: what is shorter was recorded at once
QUICKEST = timedelta(seconds=3)  # a station; what is quicker came in all at once


@dataclass(frozen=True)
class Learned:
    """Rates to count with, and from how many rounds each came: measuring, setting,
    cutting; 0 where those stated hold."""

    rates: Rates
    measured: int
    set: int
    cut: int


def learned(defaults: PlanDefaults) -> Learned:
    """Two statements."""
    stated = rates_of(defaults)
    stations, rounds = _measuring(), _rounds(stated)
    rates = stated
    if len(stations) >= ENOUGH:
        rates = replace(rates, measure=median(stations))
    if len(rounds["set"]) >= ENOUGH:
        times = median(rounds["set"])
        rates = replace(
            rates, loosen=times * stated.loosen, adjuster=times * stated.adjuster
        )
    if len(rounds["cut"]) >= ENOUGH:
        times = median(rounds["cut"])
        rates = replace(
            rates, cut=times * stated.cut, cut_per_mm=times * stated.cut_per_mm
        )
    counts = [
        len(some) if len(some) >= ENOUGH else 0
        for some in (stations, rounds["set"], rounds["cut"])
    ]
    return Learned(rates, *counts)


def _measuring() -> list[float]:
    """Minutes a station of the newest finished checks."""
    read = Reading.objects.filter(fit_check=OuterRef("fit_check")).order_by()
    counted = read.values("fit_check").annotate(n=Count("station", distinct=True))
    # Counted for those alone that are asked for: a join would group all there are.
    rows = CheckState.objects.filter(Exists(read), finished_at__gt=F("started_at"))
    spans = rows.order_by("-finished_at").values_list(
        "started_at", "finished_at", Subquery(counted.values("n"))
    )[:RECENT]
    return [
        (end - start).total_seconds() / S_PER_MIN / count
        for start, end, count in spans
        if QUICKEST * count <= end - start <= LONGEST
    ]


def _rounds(stated: Rates) -> dict[str, list[float]]:
    """How much longer than stated rounds took, of those only set and only cut."""
    rows = FitUp.objects.filter(
        plan__isnull=False, reason__in=(FitUpReason.SET, FitUpReason.TRIM)
    ).select_related("entry", "plan__fit_check__state")
    ratios = defaultdict(list)
    plans_seen = set()
    for fit_up in rows.order_by("-id")[: 2 * RECENT]:
        ended = fit_up.plan.fit_check.state.finished_at
        body = fit_up.plan.content["outcome"]
        way = next((w for w in body.get("ways", ()) if w["kind"] == body["way"]), None)
        if way is None or ended is None or fit_up.plan_id in plans_seen:
            continue
        plans_seen.add(fit_up.plan_id)
        took = fit_up.entry.received_at - ended
        if way["settings"] and not way["cut"]:
            kind, usual = "set", stated.loosen + stated.adjuster * way["changed"]
        elif way["cut"] and not way["changed"]:
            length = to_mm(way["length_nm"])
            kind, usual = "cut", stated.cut + stated.cut_per_mm * length
        else:
            continue
        if SHORTEST <= took <= LONGEST and usual > 0:
            ratios[kind].append(took.total_seconds() / S_PER_MIN / usual)
    return ratios
