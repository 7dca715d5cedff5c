"""Backups: where they go, how the last ones went."""

from pathlib import Path

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from shop import roles
from shop.actions import backups as acts
from shop.forms.backups import BackupPlanForm
from shop.ledger import Refused
from shop.queries import backups as queries
from shop.serving import nightly
from shop.serving.backup_files import MANIFEST
from shop.serving.backups import CannotBackUp, is_being_made, refuse_useless

from .acting import form_page, posted
from .airframes import form_view

BUSY_SHOWN = 10_000


@require_safe
def backups(request):
    roles.require(request.user, "plan backups")
    plan, past = queries.plan_now(), queries.attempts()
    good = queries.last_good(queries.of_plan(plan, past))
    there = {
        attempt.number: (Path(attempt.place) / attempt.folder / MANIFEST).is_file()
        for attempt in past
        if attempt.was_made
    }
    context = {
        "plan": plan,
        "good": good,
        "gone": good and not there[good.number],
        "since": queries.acts_since(good, BUSY_SHOWN),
        "most": BUSY_SHOWN,
        "attempts": [(attempt, there.get(attempt.number)) for attempt in past],
        "being_made": bool(plan.place) and is_being_made(Path(plan.place)),
        "concern": queries.concern(),
    }
    return render(request, "shop/backups/backups.html", context)


@form_view
def plan_backups(request):
    roles.require(request.user, "plan backups")

    def act(**data):
        if data["place"]:
            data["place"] = _useful(data["place"])
        return acts.plan_backups(by=request.user, **data)

    start = BackupPlanForm.initial_of(queries.plan_now())
    return form_page(
        request,
        BackupPlanForm(posted(request), initial=start),
        act,
        heading=_("When and where backups are made"),
        back=reverse("backups"),
        above=(_("Backups"), reverse("backups")),
    )


def _useful(place: str) -> str:
    """The folder as the server names it; refused now rather than in the night."""
    path = Path(place)
    if not path.is_absolute():
        raise Refused(_("Name the whole path of the folder."), field="place")
    try:
        refuse_useless(path)
    except CannotBackUp as why:
        raise Refused(str(why), field="place") from None
    except OSError as why:
        raise Refused(f"{place}: {why.strerror}.", field="place") from None
    return str(path.resolve())


@require_POST
def back_up_now(request):
    roles.require(request.user, "plan backups")
    if not queries.plan_now().place:
        messages.error(request, _("First say where backups go."))
    elif not (nightly.RUNNING and nightly.RUNNING[-1].is_alive()):
        messages.error(request, _("This server makes none by itself: use the command."))
    else:
        nightly.RUNNING[-1].ask()
        messages.success(request, _("A backup is being made; look again in a minute."))
    return redirect("backups")
