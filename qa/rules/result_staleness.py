"""Why a result of a characteristic does not tell of what is there now."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Max
from django.utils.translation import gettext as _

from qa.models import Characteristic, Joint, TrimCut
from qa.rules import history
from qa.rules.history import History
from shop.models import Airframe, Placement, PlacementAct


def placements_of(airframes: Iterable[Airframe]) -> dict[Airframe, list[Placement]]:
    """What sits in each now."""
    placements = {airframe: [] for airframe in airframes}
    rows = Placement.objects.filter(airframe__in=list(placements), removed_at=None)
    related = ("part__design", "position", "placed_by_entry", "airframe")
    for row in rows.select_related(*related).order_by("position__path"):
        placements[row.airframe].append(row)
    return placements


def stale_results(there: Iterable[tuple]) -> dict[int, str]:
    """Why a result does not tell of what is there now, by its key: another part in the
    bay or in what lies below it, a cut of one of those, or whatever else happened at
    its joint. there: of each airframe its history, what sits there, what is planned
    there and what was found of it. Two statements."""
    there = list(there)
    airframes = [past.airframe for past, *_rest in there]
    acts = PlacementAct.objects.filter(airframe__in=airframes).order_by()
    moved = defaultdict(dict)
    rows = acts.values_list("airframe", "position__path").annotate(at=Max("entry__pk"))
    for airframe, path, at in rows:
        moved[airframe][path] = at
    parts = {row.part_id for _past, placements, *_rest in there for row in placements}
    cut = TrimCut.objects.filter(part__in=parts, depth_nm__gt=0).order_by()
    cuts = dict(cut.values_list("part").annotate(at=Max("entry__pk")))
    reasons = {}
    for past, placements, planned, results in there:
        own = moved[past.airframe.pk], cuts
        for wanted in planned:
            result = results.get(wanted.pk)
            if result and (why := _why(past, placements, wanted, result, *own)):
                reasons[result.pk] = why
    return reasons


def _why(past: History, placements, wanted, result, moved, cuts) -> str:
    at, bay = result.entry.pk, wanted.bay
    joints = {joint.pk: joint for joint in past.joints}
    trimmed = [
        placement.part
        for placement in placements
        if cuts.get(placement.part_id, 0) > at and bay.covers(placement.position.path)
    ]
    if any(acted > at and bay.covers(path) for path, acted in moved.items()):
        return _("what sits here was taken out or put in since")
    if trimmed:
        return _("%s was trimmed since") % trimmed[0]
    if wanted.joint_id in joints and _touched(past, joints[wanted.joint_id], at):
        return _("fitted again or changed since")
    if result.revision_id != wanted.current_id:
        return _("revision %s is required now") % wanted.current.number
    return ""


def stale_of(planned: Characteristic, airframe: Airframe, result) -> str:
    """The same of one result; "" where it tells of what is there now."""
    joints = [planned.joint] if planned.joint else []
    past = history.load(airframe, joints)
    placements = placements_of([airframe])[airframe]
    reasons = stale_results([(past, placements, [planned], {planned.pk: result})])
    return reasons.get(result.pk, "")


def _touched(past: History, joint: Joint, at: int) -> bool:
    own = past.fit_ups.get(joint.pk, [])
    events = past.touches.of(joint, past.airframe.pk, own)
    return any(fit_up.entry.pk > at for fit_up in own) or any(
        event.at > at for event in events
    )
