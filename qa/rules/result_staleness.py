"""Why a result of a characteristic does not tell of what is there now."""

from django.db.models import Max
from django.utils.translation import gettext as _

from qa.models import Characteristic, Joint, TrimCut
from qa.rules import history
from qa.rules.history import History
from shop.models import Airframe, Placement, PlacementAct


def placements_of(airframe: Airframe) -> list[Placement]:
    """What sits there now."""
    rows = Placement.objects.filter(airframe=airframe, removed_at=None)
    related = ("part__design", "position", "placed_by_entry")
    return list(rows.select_related(*related).order_by("position__path"))


def stale_results(past: History, placements, planned, results) -> dict[int, str]:
    """Why a result does not tell of what is there now, by its key: another part in the
    bay or in what lies below it, a cut of one of those, or whatever else happened at
    its joint."""
    acts = PlacementAct.objects.filter(airframe=past.airframe).order_by()
    acts = dict(acts.values_list("position__path").annotate(at=Max("entry__pk")))
    parts = {placement.part_id for placement in placements}
    cut = TrimCut.objects.filter(part__in=parts, depth_nm__gt=0).order_by()
    cuts = dict(cut.values_list("part").annotate(at=Max("entry__pk")))
    joints = {joint.pk: joint for joint in past.joints}
    found = {}
    for wanted in planned:
        result = results.get(wanted.pk)
        if result is None:
            continue
        at, bay = result.entry.pk, wanted.bay
        trimmed = [
            placement.part
            for placement in placements
            if cuts.get(placement.part_id, 0) > at
            and bay.covers(placement.position.path)
        ]
        if any(moved > at and bay.covers(path) for path, moved in acts.items()):
            found[result.pk] = _("what sits here was taken out or put in since")
        elif trimmed:
            found[result.pk] = _("%s was trimmed since") % trimmed[0]
        elif wanted.joint_id in joints and _touched(past, joints[wanted.joint_id], at):
            found[result.pk] = _("fitted again or changed since")
        elif result.revision_id != wanted.current_id:
            found[result.pk] = _("revision %s is required now") % wanted.current.number
    return found


def stale_of(planned: Characteristic, airframe: Airframe, result) -> str:
    """The same of one result; "" where it tells of what is there now."""
    joints = [planned.joint] if planned.joint else []
    past = history.load(airframe, joints)
    placements = placements_of(airframe)
    found = stale_results(past, placements, [planned], {planned.pk: result})
    return found.get(result.pk, "")


def _touched(past: History, joint: Joint, at: int) -> bool:
    own = past.fit_ups.get(joint.pk, [])
    events = past.touches.of(joint, past.airframe.pk, own)
    return any(fit_up.entry.pk > at for fit_up in own) or any(
        event.at > at for event in events
    )
