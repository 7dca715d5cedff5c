"""What a part was set to at its adjusters: looked at before, and recorded."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from qa.actions.settings import Settings, record_settings
from qa.forms.settings import SettingsForm
from qa.queries.plans.setting_pages import settings_view
from qa.rules import overtaking, plan_records, planning, rigs
from shop.views.acting import attempt, posted

from .plans import back_to_joint, check_to_plan, unit_of


@require_http_methods(["GET", "HEAD", "POST"])
def set_part(request, uuid):
    """Say what was set, or see first what it should do; it opens the next fit-up."""
    check = check_to_plan(request, uuid, "cut parts")
    record = plan_records.newest_of(check)
    if record and not plan_records.standing(record):
        record = None
    worked = plan_records.worked_of(record) if record else planning.gathered(check)
    present = rigs.present_at(check.fit_up)
    holding = reverse("holding", args=[check.fit_up.joint.position_id])
    if not present:
        messages.info(request, _("Nothing that can be set is on record here yet."))
        return redirect(holding)
    overtaken = overtaking.warning(record, worked.changes) if record else ""
    form = SettingsForm(
        posted(request),
        present=present,
        unit=unit_of(request),
        asked=worked.asked_settings,
        overtaken=bool(overtaken),
    )
    seen = None
    if request.method == "POST" and form.is_valid():
        seen, done = _seen_or_done(request, form, worked, record)
        if done:
            messages.success(request, _("Recorded. Measure every station again."))
            return redirect(back_to_joint(check))
    context = {
        "form": form,
        "seen": seen,
        "check": check,
        "fit_up": check.fit_up,
        "live": worked.live or bool(record),
        "overtaken": overtaken,
        "record": record,
        "holding": holding,
        "back": back_to_joint(check),
    }
    return render(request, "qa/adjusters/set_part.html", context)


def _seen_or_done(request, form, worked, record):
    """(what it should do, whether it was recorded)."""
    try:
        changes = rigs.made(form.present, form.changes_nm, worked.joints, worked.around)
    except rigs.CannotBeSet as why:
        form.add_error(None, str(why))
        return None, False
    unit = form.unit_typed
    preview = settings_view(worked, form.present, form.changes_nm, changes, unit)
    if request.POST.get("do") == "see":
        return preview, False

    def act(note, reason="", **_data):
        return record_settings(
            by=request.user,
            checks=[joint.check for joint in worked.joints],
            made=Settings(form.settings_made(), changes.changes, changes.beside),
            plan=record,
            note=note,
            reason=reason,
        )

    done, _opened = attempt(form, act)
    return preview, done
