"""Close-out of an airframe, a bay or a joint: what still stands, and the act."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from qa.actions import close_outs as acts
from qa.forms.close_outs import CloseForm
from qa.models import Joint
from qa.queries import close_out as queries
from qa.rules.signed_close_outs import address_of
from qa.views import papers
from shop import roles
from shop.models import Airframe, Position
from shop.queries.signatures import panel_of
from shop.views.acting import attempt, posted


def _found(pk, bay, joint) -> tuple[Airframe, dict]:
    """An airframe, and what of it is asked for: nothing, a bay or a joint."""
    airframe = get_object_or_404(Airframe.objects.select_related("type"), pk=pk)
    of, place = {"type": airframe.type_id}, {}
    if bay is not None:
        place["bay"] = get_object_or_404(Position, pk=bay, **of)
    if joint is not None:
        joints = Joint.objects.exclude(current=None).select_related("position")
        place["joint"] = get_object_or_404(joints, pk=joint, **of)
    return airframe, place


@require_http_methods(["GET", "HEAD", "POST"])
def page(request, pk, bay=None, joint=None):
    """Shown to all; a POST closes what was shown."""
    roles.require(request.user, "close out" if request.method == "POST" else "look")
    airframe, place = _found(pk, bay, joint)
    form = CloseForm(posted(request))
    if request.method == "POST":
        done, made = attempt(
            form,
            lambda **data: acts.close(
                by=request.user, airframe=airframe, **place, **data
            ),
        )
        if done:
            messages.success(
                request, _("Closed, as %(label)s.") % {"label": made.label}
            )
            return redirect(request.path)
    view = queries.view_of(airframe, **place)
    last = view.standing.close_out
    may_close = roles.may(request.user, "close out") and view.standing.closable
    did_it = may_close and view.did_it(request.user)
    context = {
        "view": view,
        "standing": view.standing,
        "scope": view.scope,
        "airframe": airframe,
        "form": form,
        "may_close": may_close and not did_it,
        "did_it": did_it,
        "who": roles.who_may("close out"),
        "signed": last and panel_of("close_out", last.pk),
    }
    return render(request, "qa/close_outs/close_out.html", context)


@papers.of_the_record
def pdf(request, pk, bay=None, joint=None):
    """The same on paper."""
    roles.require(request.user, "look")
    airframe, place = _found(pk, bay, joint)
    view = queries.view_of(airframe, **place)
    name = papers.plain_name(f"{airframe.serial}-{view.scope.name}-close-out")
    data = papers.close_out(request, view, address_of(view.scope))
    return papers.answer(data, f"{name}.pdf")
