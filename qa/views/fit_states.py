"""The state of a joint on an airframe now."""

from urllib.parse import urlencode

from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from qa.models import Joint
from qa.queries import close_out, offers
from qa.queries.joints import drawings, earlier_airframes, fit_states
from qa.queries.plans.together_pages import shares_a_seam
from shop import roles
from shop.forms.fields import number_in
from shop.models import Airframe


@require_GET
def joint_on_airframe(request, pk, airframe):
    rows = Joint.objects.select_related("position", "surround", "current")
    joint = roles.fetch(request.user, "look", rows, pk=pk)
    frame = get_object_or_404(Airframe.objects.select_related("type"), pk=airframe)
    if frame.type_id != joint.type_id:
        raise Http404
    unit = request.GET.get("unit")
    unit = unit if unit in ("mm", "in") else request.user.units
    shown = number_in(request.GET.get("round"))
    before = earlier_airframes.earlier_page(joint, frame, unit)
    now = fit_states.joint_now(joint, frame, unit, shown)
    context = {
        "joint": joint,
        "airframe": frame,
        "now": now,
        "before": before,
        "may_cut": roles.may(request.user, "cut parts"),
        "map_svg": drawings.map_svg(now.map) if now else "",
        "standing": offers.joint_standing(joint, frame),
        "together": bool(now) and shares_a_seam(frame, joint.position_id),
        "on_surround": close_out.on_surround(joint, frame, now and now.state),
        "to_do": fit_states.to_do(now) if now else [],
        "may_offer": roles.may(request.user, "offer work"),
        "may_measure": roles.may(request.user, "measure"),
        "raise_at": _raise_at(joint, frame, now),
    }
    return render(request, "qa/fit_states/joint_on_airframe.html", context)


def _raise_at(joint: Joint, airframe: Airframe, now) -> str:
    """Address at which a defect at this joint is raised, of the part that sits here."""
    query = {"joint": joint.pk, "airframe": airframe.pk}
    query |= {"part": now.state.fit_up.part.serial} if now else {}
    return f"{reverse('raise_by_hand')}?{urlencode(query)}"
